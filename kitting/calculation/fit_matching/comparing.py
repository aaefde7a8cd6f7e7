"""A part beside the one that it would stand in for, check by check: same, better, worse, or failing.

Ranges, sizes and lists are compared as what they take: more is better, less is worse, nothing in common fails unless
the need itself has been judged. Of two arresters that are both enough, the one of lower MCOV protects better.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from kitting.calculation.conductor_sizes import SIZES, SizeSet
from kitting.calculation.fit_matching.checks import LOADBREAK_DUTIES, judge, stand
from kitting.calculation.fit_matching.parts import Barrel, Length, Part, Texts
from kitting.calculation.fit_matching.results import (
    ACTIVE,
    CLASS,
    CONDUCTOR,
    CURRENT,
    INSULATION,
    INTERFACE,
    JACKET,
    KIND,
    MCOV,
    PHASES,
    RULE,
    CheckResult,
)
from kitting.calculation.fit_matching.stand_ins import higher_class_may_serve
from kitting.calculation.fit_matching.wording import range_words
from kitting.calculation.needs import Need
from kitting.calculation.questions import Missing

SAME, BETTER, WORSE, FAILS, UNKNOWN = "same", "better", "worse", "fails", "can't tell"
APART = "apart"  # nothing in common: a failure, unless the need was judged by itself
CONTENTS, UNIT = "what comes with it", "unit of count"
_WORST_FIRST = (APART, UNKNOWN, WORSE, BETTER, SAME)


@dataclass(frozen=True, slots=True)
class FactBeside:
    """One check: the wanted part's fact, the stand-in's, and the verdict (SAME, BETTER, WORSE, FAILS or UNKNOWN)."""

    check: str
    wanted: str
    stand_in: str
    verdict: str
    sentence: str = ""

    @property
    def forbids(self) -> bool:
        """Whether nobody may approve it: the check fails, or a fact must be known first."""
        return self.verdict in (FAILS, UNKNOWN)


def compare_parts(
    wanted: Part, stand_in: Part, need: Need, *, at_a_line: bool, estimates: str
) -> tuple[FactBeside, ...]:
    """All checks in their order, then what comes with the part and how it is counted.

    Args:
        wanted: the part that serves.
        stand_in: the part that would be taken instead.
        need: what a line asks, or what the wanted part serves (``need_of_part``).
        at_a_line: whether the need is a line's, with its cables.
        estimates: the policy, as in ``fit``.
    """
    results = {one.check: one for one in judge(stand(stand_in, need, named=True), need, estimates=estimates)}
    orders = {
        ACTIVE: SAME,
        KIND: SAME if wanted.kind == stand_in.kind else APART,
        INTERFACE: _worst([_taken(_one(a), _one(b)) for a, b in _interfaces(wanted, stand_in)]),
        CLASS: _taken(wanted.classes_kv, stand_in.classes_kv),
        CURRENT: _worst([_most(wanted.current_a, stand_in.current_a), _duty(wanted, stand_in)]),
        PHASES: _most(_grade(wanted.phase_to_phase), _grade(stand_in.phase_to_phase)),
        MCOV: _least(wanted.mcov_kv, stand_in.mcov_kv),
        CONDUCTOR: _worst([_conductors(wanted, stand_in), _taken(wanted.strand, stand_in.strand)]),
        INSULATION: _barrels(wanted, stand_in),
        JACKET: _worst([_spans(_jacket(wanted), _jacket(stand_in)), _taken(wanted.shield, stand_in.shield)]),
        RULE: SAME,
    }
    facts = [
        FactBeside(check, _words(wanted, check), _words(stand_in, check), *_verdict(results[check], order, at_a_line))
        for check, order in orders.items()
    ]
    if higher_class_may_serve(stand_in, need):
        facts = [_with_higher_class(fact) for fact in facts]
    return *facts, _contents(wanted, stand_in), _unit(wanted, stand_in)


def need_of_part(part: Part, *, class_kv: str | None, mcov_kv: Decimal | Missing | None) -> Need:
    """What a part serves, where no line is named: its own facts, on a system of this class and least MCOV."""
    classes = part.classes_kv if isinstance(part.classes_kv, tuple) else ()
    own_class = part.classes_kv if isinstance(part.classes_kv, Missing) else max(classes, key=_voltage, default=None)
    return Need(
        kind=part.kind,
        class_kv=class_kv if class_kv in classes else own_class,
        interface=part.interface,
        gives_interface=part.gives_interface,
        current_a=part.current_a,
        switching=part.switching,
        between_phases=part.phase_to_phase is True,
        mcov_kv=None if part.mcov_kv is None else mcov_kv or part.mcov_kv,
    )


def _voltage(class_kv: str) -> Decimal:
    return Decimal("".join(letter for letter in class_kv.partition("(")[2] or class_kv if letter in "0123456789."))


def _verdict(result: CheckResult, order: str, at_a_line: bool) -> tuple[str, str]:
    if result.check == RULE and result.passed is False:
        return WORSE, f"{result.sentence}; an approval sets that aside"
    if result.passed is not True:
        return (FAILS if result.passed is False else UNKNOWN), result.sentence
    if order == APART:
        return (WORSE, "") if at_a_line else (FAILS, "it takes nothing that the wanted part takes")
    return order, ""


def _with_higher_class(fact: FactBeside) -> FactBeside:
    if fact.check != CLASS or fact.verdict != FAILS:
        return fact
    return FactBeside(CLASS, fact.wanted, fact.stand_in, BETTER, "a higher class, and no interface is involved")


def _worst(orders: Iterable[str]) -> str:
    found = set(orders)
    return next((order for order in _WORST_FIRST if order in found), SAME)


def _taken(wanted: Texts, given: Texts) -> str:
    """Two lists of what is taken; None takes anything."""
    if isinstance(wanted, Missing) or isinstance(given, Missing):
        return UNKNOWN
    if wanted is None or given is None:
        return SAME if wanted == given else BETTER if given is None else WORSE
    return _sets(frozenset(wanted), frozenset(given))


def _sets(wanted: frozenset[Any], given: frozenset[Any]) -> str:
    if wanted == given:
        return SAME
    if wanted < given:
        return BETTER
    return WORSE if wanted & given else APART


def _one(text: str | Missing | None) -> Texts:
    return (text,) if isinstance(text, str) else text


def _interfaces(wanted: Part, given: Part) -> tuple[tuple[Any, Any], ...]:
    return (wanted.interface, given.interface), (wanted.gives_interface, given.gives_interface)


def _most(wanted: Any, given: Any) -> str:
    """Two numbers of which the greater is better; a blank one says nothing."""
    if isinstance(wanted, Missing) or isinstance(given, Missing):
        return UNKNOWN
    if wanted is None or given is None or wanted == given:
        return SAME
    return BETTER if given > wanted else WORSE


def _least(wanted: Any, given: Any) -> str:
    return {BETTER: WORSE, WORSE: BETTER}.get(found := _most(wanted, given), found)


def _duty(wanted: Part, given: Part) -> str:
    if wanted.switching == given.switching:
        return SAME
    return BETTER if given.switching in LOADBREAK_DUTIES and wanted.switching not in LOADBREAK_DUTIES else WORSE


def _grade(duty: bool | Missing | None) -> int | Missing | None:
    return duty if isinstance(duty, Missing) or duty is None else int(duty)


def _conductors(wanted: Part, given: Part) -> str:
    if len(wanted.barrels) != len(given.barrels):
        return WORSE
    pairs = list(zip(wanted.barrels, given.barrels, strict=True))
    sizes = [_taken(_sizes(one), _sizes(other)) for one, other in pairs]
    return _worst([*sizes, *(_taken(one.metals, other.metals) for one, other in pairs)])


def _sizes(barrel: Barrel) -> Texts:
    sizes = barrel.sizes
    return tuple(str(size) for size in SIZES if sizes.holds(size)) if isinstance(sizes, SizeSet) else sizes


def _barrels(wanted: Part, given: Part) -> str:
    if len(wanted.barrels) != len(given.barrels):
        return WORSE
    pairs = zip(wanted.barrels, given.barrels, strict=True)
    return _worst(
        _spans((one.doi_low_nm, one.doi_high_nm), (other.doi_low_nm, other.doi_high_nm)) for one, other in pairs
    )


def _jacket(part: Part) -> tuple[Length, Length]:
    return part.jacket_low_nm, part.jacket_high_nm


def _spans(wanted: tuple[Length, Length], given: tuple[Length, Length]) -> str:
    """Two ranges of diameters, ends included; an end that is None is open."""
    if any(isinstance(end, Missing) for end in (*wanted, *given)):
        return UNKNOWN
    (low, high), (own_low, own_high) = _ends(wanted), _ends(given)
    if (low, high) == (own_low, own_high):
        return SAME
    if own_low <= low and high <= own_high:
        return BETTER
    return WORSE if own_low <= high and low <= own_high else APART


def _ends(span: tuple[Any, Any]) -> tuple[int, int]:
    return -(2**62) if span[0] is None else span[0], 2**62 if span[1] is None else span[1]


def _contents(wanted: Part, given: Part) -> FactBeside:
    told = [part.facts["contains"] or () for part in (wanted, given)]
    own, other = ("; ".join(f"{count} {code}" for code, count in held) or "nothing else" for held in told)
    order = _sets(*(frozenset(held) for held in told))
    return FactBeside(CONTENTS, own, other, WORSE if order == APART else order)


def _unit(wanted: Part, given: Part) -> FactBeside:
    own, other = (str(part.facts["stock_unit"] or "ea") for part in (wanted, given))
    if own == other:
        return FactBeside(UNIT, own, other, SAME)
    return FactBeside(UNIT, own, other, FAILS, f"is counted in {other}, not in {own}")


def _words(part: Part, check: str) -> str:
    """The part's fact of one check; '' where it has none."""
    told: dict[str, tuple[Any, ...]] = {
        ACTIVE: (part.state or "active", *(f"{fact} missing" for fact in part.lacking)),
        KIND: (part.kind,),
        INTERFACE: (part.interface, part.gives_interface and f"gives {part.gives_interface}"),
        CLASS: (_listed(part.classes_kv, " kV"),),
        CURRENT: (None if part.current_a is None else f"{part.current_a} A", part.switching),
        PHASES: ({True: "between phases", False: "line to earth only"}.get(part.phase_to_phase, part.phase_to_phase),),  # type: ignore[arg-type]  # a missing fact is no key
        MCOV: (None if part.mcov_kv is None else f"{part.mcov_kv} kV",),
        CONDUCTOR: (*(_conductor_words(barrel) for barrel in part.barrels), _listed(part.strand)),
        INSULATION: tuple(_range(barrel.doi_low_nm, barrel.doi_high_nm) for barrel in part.barrels),
        JACKET: (_range(*_jacket(part)), _listed(part.shield)),
    }
    return ", ".join(
        "in doubt" if isinstance(one, Missing) else str(one) for one in told.get(check, ()) if one is not None
    )


def _listed(texts: Texts, unit: str = "") -> str | Missing | None:
    return f"{' or '.join(texts)}{unit}" if isinstance(texts, tuple) else texts


def _conductor_words(barrel: Barrel) -> str | Missing | None:
    if isinstance(barrel.sizes, Missing) or isinstance(barrel.metals, Missing):
        return barrel.sizes if isinstance(barrel.sizes, Missing) else barrel.metals  # type: ignore[return-value]
    told = [str(barrel.sizes) if barrel.sizes else "", " or ".join(barrel.metals or ())]
    return " ".join(filter(None, told)) or None


def _range(low: Length, high: Length) -> str | Missing | None:
    for end in (low, high):
        if isinstance(end, Missing):
            return end
    return None if low is high is None else range_words(low, high)
