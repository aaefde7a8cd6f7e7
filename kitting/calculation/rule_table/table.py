"""Decision tables and three-valued hits (hit policies unique and collect of DMN)."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from kitting.calculation.questions import Missing
from kitting.calculation.rule_table.cell_tests import YES_NO, CellTest, Fact
from kitting.calculation.rule_table.rule import Rule
from kitting.calculation.rule_table.vocabulary import Condition, TableForm


@dataclass(frozen=True, slots=True)
class PossibleHit:
    """A rule that hits or not, depending on facts that are missing."""

    rule: Rule
    missing: tuple[Missing, ...]


@dataclass(frozen=True, slots=True)
class Hits:
    """What a table says of one set of facts.

    Args:
        definite: rules whose every test is met, in table order.
        possible: rules of which no test fails and at least one is not known, in table order.
        conflict: in a unique table the definite hits, if there are two or more: none of them counts.
    """

    definite: tuple[Rule, ...]
    possible: tuple[PossibleHit, ...]
    conflict: tuple[Rule, ...] = ()


@dataclass(frozen=True)
class RuleTable:
    """A decision table.

    Args:
        form: its hit policy and vocabulary.
        conditions: facts that it has a column for.
        rules: its rows in order.
        revision: ``default 1`` or ``owner`` and a digest of the content.
    """

    form: TableForm
    conditions: tuple[str, ...]
    rules: tuple[Rule, ...]
    revision: str

    @property
    def name(self) -> str:
        """The table's name: ``end accessories``."""
        return self.form.name

    @property
    def hit_policy(self) -> str:
        """``unique`` or ``collect``."""
        return "unique" if self.form.unique else "collect"

    def condition(self, name: str) -> Condition:
        """The vocabulary of one of its conditions."""
        return self.form.conditions[name]

    @cached_property
    def columns(self) -> tuple["RuleColumn", ...]:
        """The conditions that at least one rule tests."""
        tested = {name for rule in self.rules for name, _ in rule.checks}
        return tuple(
            RuleColumn(name, tuple(rule.tests[name] for rule in self.rules))
            for name in self.conditions
            if name in tested
        )


@dataclass(frozen=True, slots=True)
class RuleColumn:
    """One condition's cells down the table; sets of rules are the bits of an integer, bit 0 the first rule.

    ``seen`` keeps the answer for each given fact, so that a table is asked hundreds of thousands of times at the cost
    of a look-up a column.
    """

    name: str
    tests: tuple[CellTest, ...]
    seen: dict[Fact, int] = field(default_factory=dict, repr=False, compare=False)
    indifferent: int = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "indifferent", bits(test.anything for test in self.tests))

    def answer(self, fact: Fact) -> tuple[int, int]:
        """The rules whose cell the fact surely meets, and those whose cell it meets or may meet."""
        if isinstance(fact, Missing):
            return self._answer_of_missing(fact)
        key = YES_NO[fact] if isinstance(fact, bool) else fact
        met = self.seen.get(key)
        if met is None:
            met = self.seen[key] = bits(test.met(key) is True for test in self.tests)
        return met, met

    def _answer_of_missing(self, fact: Missing) -> tuple[int, int]:
        if not fact.options:
            return self.indifferent, (1 << len(self.tests)) - 1
        answers = [test.met(fact) for test in self.tests]
        return bits(met is True for met in answers), bits(met is not False for met in answers)


def bits(answers: Iterable[bool]) -> int:
    """The integer whose bits are the answers, the first one lowest."""
    return sum(1 << place for place, answer in enumerate(answers) if answer)


def hits(table: RuleTable, facts: Mapping[str, Fact]) -> Hits:
    """What the table says of the facts.

    A rule that one test rules out is out, whatever else is missing; a fact that no rule tests is not asked.

    Args:
        table: the table.
        facts: at least the facts that the table's rules test.

    Raises:
        KeyError: a fact that a rule tests is not among the facts.
    """
    definite = not_ruled_out = (1 << len(table.rules)) - 1
    for column in table.columns:
        surely, maybe = column.answer(facts[column.name])
        definite &= surely
        not_ruled_out &= maybe
    sure = _rules_of(table, definite)
    possible = tuple(
        PossibleHit(rule, _missing_for(rule, facts)) for rule in _rules_of(table, not_ruled_out & ~definite)
    )
    return Hits(sure, possible, sure if table.form.unique and len(sure) > 1 else ())


def _rules_of(table: RuleTable, chosen: int) -> tuple[Rule, ...]:
    found = []
    while chosen:
        lowest = chosen & -chosen
        found.append(table.rules[lowest.bit_length() - 1])
        chosen ^= lowest
    return tuple(found)


def _missing_for(rule: Rule, facts: Mapping[str, Fact]) -> tuple[Missing, ...]:
    found = ((facts[name], test) for name, test in rule.checks)
    return tuple(fact for fact, test in found if isinstance(fact, Missing) and test.met(fact) is None)
