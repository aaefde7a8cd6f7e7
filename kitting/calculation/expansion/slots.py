"""Rule hits at one slot, turned into templates of lines: what is needed, or why nobody can say."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitting.calculation.answers import CANT_TELL, CONFLICT, NO_RULE
from kitting.calculation.kinds import KINDS
from kitting.calculation.needs import Alternative, Match, Need
from kitting.calculation.quantities import PER_UNIT
from kitting.calculation.questions import Missing
from kitting.calculation.records import Fact
from kitting.calculation.rule_table import Rule, RuleTable, hits
from kitting.calculation.rule_table.rule import FREE_WAYS, NOTHING


@dataclass(frozen=True, slots=True)
class Given:
    """What the rules give of one kind at one slot; ``conflict`` holds both sides where equal rules disagree."""

    kind: str
    order: int
    quantity: Decimal | None
    free_ways: bool
    per: str
    fitted_by: str
    alternatives: tuple[Alternative, ...]
    conflict: str = ""


@dataclass(frozen=True, slots=True)
class Ruling:
    """The table's whole say: what it gives, what can't be told and why, and whether it spoke at all."""

    given: tuple[Given, ...]
    missing: tuple[Missing, ...]
    undecided: str
    silent: bool


@dataclass(frozen=True, slots=True)
class Template:
    """A line without its owner: equal facts make equal templates.

    ``answer`` is '' while the line is open, else can't tell, no rule or conflict. ``quantity`` is in thousandths of
    the unit, None where it is not known which kinds are needed; ``free_ways`` lets the junction decide it (``times``
    phases, ``cables`` taken ways on each). ``match`` and ``codes`` (stock codes in order of choice) come with fitting.
    """

    kind: str
    order: int
    quantity: int | None
    per: str
    need: Need | None
    answer: str
    sentence: str
    rule: str
    revision: str
    missing: tuple[Missing, ...] = ()
    times: int = 1
    cables: int = 1
    free_ways: bool = False
    match: Match | None = None
    codes: tuple[str, ...] = ()
    spare: bool = False


class Rules:
    """One table at work: rulings are worked out once for each distinct combination of the facts it reads."""

    def __init__(self, table: RuleTable, revision: str) -> None:
        self.table = table
        self.revision = revision
        self._rulings: dict[tuple[Fact, ...], Ruling] = {}

    def ruling(self, facts: Mapping[str, Fact]) -> Ruling:
        """What the table says about these facts."""
        key = tuple(facts.get(condition) for condition in self.table.conditions)
        ruling = self._rulings.get(key)
        if ruling is None:
            ruling = self._rulings[key] = self._rule({name: facts.get(name) for name in self.table.conditions})
        return ruling

    def _rule(self, facts: Mapping[str, Fact]) -> Ruling:
        found = hits(self.table, facts)
        missing = tuple(dict.fromkeys(one for possible in found.possible for one in possible.missing))
        undecided = ", ".join(dict.fromkeys(p.rule.kind for p in found.possible if p.rule.kind != NOTHING))
        silent = not found.definite and not found.possible
        return Ruling(_by_kind(found.definite, facts), missing, undecided, silent)

    def unruled(self, facts: Mapping[str, Fact]) -> str:
        """The sentence for a combination that no rule covers: the facts the table reads."""
        told = [f"{name} {_fact_text(facts[name])}" for name in self.table.conditions if facts.get(name) is not None]
        return f"no rule in {self.table.name} covers {', '.join(told)}"


def _fact_text(fact: Fact) -> str:
    return "not known" if isinstance(fact, Missing) else str(fact)


def _by_kind(rules: Sequence[Rule], facts: Mapping[str, Fact]) -> tuple[Given, ...]:
    grouped: dict[tuple[str, str], list[Rule]] = {}
    for rule in rules:
        if rule.kind != NOTHING:
            apart = rule.id if KINDS[rule.kind].several else ""
            grouped.setdefault((rule.kind, apart), []).append(rule)
    return tuple(_one_kind(kind, group, facts) for (kind, _), group in grouped.items())


def _shape(rule: Rule) -> tuple[Decimal | str, str, str]:
    return rule.quantity, rule.per, rule.fitted_by


def _one_kind(kind: str, rules: list[Rule], facts: Mapping[str, Fact]) -> Given:
    """Rules of different rank are alternatives, equal ones are one, and unequal ones of equal rank conflict."""
    ranked = sorted(rules, key=lambda rule: (rule.rank, rule.order))
    distinct: dict[tuple[object, ...], Rule] = {}
    for rule in ranked:
        distinct.setdefault((rule.rank, rule.says), rule)
    ranks = [rule.rank for rule in distinct.values()]
    shapes = {_shape(rule) for rule in distinct.values()}
    conflict = ""
    if len(ranks) != len(set(ranks)) or len(shapes) > 1:
        conflict = "; but ".join(rule.reason(facts) for rule in distinct.values())
    quantity, per, fitted_by = _shape(ranked[0])
    return Given(
        kind=kind,
        order=min(rule.order for rule in rules),
        quantity=quantity if isinstance(quantity, Decimal) else None,
        free_ways=quantity == FREE_WAYS,
        per=per,
        fitted_by=fitted_by,
        alternatives=tuple(
            Alternative(rule.rank, rule.limits, rule.id, rule.reason(facts)) for rule in distinct.values()
        ),
        conflict=conflict,
    )


def undecided_templates(rules: Rules, ruling: Ruling, facts: Mapping[str, Fact], *, silent_ok: bool) -> list[Template]:
    """The one line for a table that can't say (a fact is missing) or says nothing (no rule)."""
    table = rules.table.name
    if ruling.missing:
        why = "; ".join(dict.fromkeys(_told(missing) for missing in ruling.missing))
        sentence = f"can't tell which parts: {why}; it decides on {ruling.undecided or 'whether anything is needed'}"
        return [_open_end(table, CANT_TELL, sentence, rules.revision, ruling.missing)]
    if ruling.silent and not silent_ok:
        return [_open_end(table, NO_RULE, rules.unruled(facts), rules.revision, ())]
    return []


def _told(missing: Missing) -> str:
    """Why a fact is missing, with its name where the reason does not say it."""
    return missing.why if missing.fact in missing.why else f"{missing.fact}: {missing.why}"


def _open_end(table: str, answer: str, sentence: str, revision: str, missing: tuple[Missing, ...]) -> Template:
    return Template(table, 0, None, "", None, answer, sentence, "", revision, missing)


def conflict_template(table: str, sentence: str, revision: str) -> Template:
    """The line for a whole slot that two facts claim at once."""
    return _open_end(table, CONFLICT, sentence, revision, ())


def template_of(given: Given, need: Need, revision: str, *, phases: int, cables: int) -> Template:
    """The line that a given kind makes for an owner with so many phases (and cables on each, at an end or joint)."""
    times = phases * cables if given.per == "phase" else 1
    quantity = None if given.quantity is None else int(given.quantity * PER_UNIT) * times
    return Template(
        kind=given.kind,
        order=given.order,
        quantity=quantity,
        per=given.per,
        need=need,
        answer=CONFLICT if given.conflict else "",
        sentence=f"rules disagree: {given.conflict}" if given.conflict else "",
        rule=given.alternatives[0].rule,
        revision=revision,
        times=phases,
        cables=cables,
        free_ways=given.free_ways,
    )
