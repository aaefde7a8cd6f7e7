"""The checks of one part against one need, in the order in which their failing is the reason.

Everything but the diameters is judged once for many needs (``stand``); the diameters then decide (``judge``).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from itertools import product

from kitting.calculation.cable_geometry import Band
from kitting.calculation.conductor_sizes import ConductorSize, SizeSet
from kitting.calculation.fit_matching.fits import DOES_NOT_FIT, FITS, fit
from kitting.calculation.fit_matching.parts import Barrel, Length, Part
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
    MILLIONTHS,
    PHASES,
    RULE,
    CheckResult,
    checked,
    failed,
    passed,
    unknown,
    worst,
)
from kitting.calculation.fit_matching.wording import misfit_words
from kitting.calculation.needs import Alternative, Need, Side
from kitting.calculation.questions import Missing

ACTIVE_STATE = "active"
LOADBREAK_DUTIES = frozenset({"loadbreak", "fused loadbreak"})
STOCK_CODE_FIELD = "stock_code"


@dataclass(frozen=True, slots=True)
class Standing:
    """A part judged on everything but diameters.

    Args:
        part: the part.
        before: results of the checks that come before the cable.
        conductor: conductor size and metal; None for a stepped part, which is judged opening by opening.
        shield: the cable's shield.
        rule: whether a rule lets the part serve.
        alternative: the first such rule; None where none does, or none is needed.
    """

    part: Part
    before: tuple[CheckResult, ...]
    conductor: CheckResult | None
    shield: CheckResult
    rule: CheckResult
    alternative: Alternative | None

    @property
    def results(self) -> Iterator[CheckResult]:
        """All results that are known without the diameters."""
        yield from self.before
        if self.conductor is not None:
            yield self.conductor
        yield self.shield
        yield self.rule


def stand(part: Part, need: Need, *, named: bool) -> Standing:
    """Judge a part on everything but diameters; ``named`` says that a person named the stock code."""
    rule, alternative = _rule(part, need, named=named)
    return Standing(
        part=part,
        before=(
            _active(part),
            _kind(part, need),
            _interface(part, need),
            _voltage_class(part, need),
            _current(part, need),
            _between_phases(part, need),
            _mcov(part, need),
        ),
        conductor=None if part.stepped else worst([_conductor(part, part.barrels[0], side) for side in _sides(need)]),
        shield=worst([_shield(part, side) for side in _sides(need)]),
        rule=rule,
        alternative=alternative,
    )


def judge(standing: Standing, need: Need, *, estimates: str) -> tuple[CheckResult, ...]:
    """All checks of a part in their order, the diameters included."""
    part, sides = standing.part, _sides(need)
    conductor = standing.conductor
    if conductor is None:
        conductor, insulation = _stepped(part, sides, estimates)
    else:
        insulation = worst([_insulation(part.barrels[0], side, estimates) for side in sides])
    jackets = [_jacket(part, side, estimates) for side in sides]
    return *standing.before, conductor, insulation, worst([standing.shield, *jackets]), standing.rule


def _sides(need: Need) -> tuple[Side, ...]:
    return need.sides or (Side(),)


def _active(part: Part) -> CheckResult:
    if part.state is not None and part.state != ACTIVE_STATE:
        state = "in doubt whether it is active" if isinstance(part.state, Missing) else part.state
        return failed(ACTIVE, f"is {state}")
    if part.lacking:
        return failed(ACTIVE, f"is not selectable: {', '.join(part.lacking)} missing")
    return passed(ACTIVE)


def _kind(part: Part, need: Need) -> CheckResult:
    return passed(KIND) if part.kind == need.kind else failed(KIND, f"is a {part.kind}, not a {need.kind}")


def _interface(part: Part, need: Need) -> CheckResult:
    def mates(wanted: str) -> CheckResult:
        if isinstance(part.interface, Missing):
            return unknown(INTERFACE, part.interface)
        if part.interface in {None, wanted}:
            return passed(INTERFACE)
        return failed(INTERFACE, f"interface {part.interface} does not mate with {wanted}")

    def gives(wanted: str) -> CheckResult:
        if isinstance(part.gives_interface, Missing):
            return unknown(INTERFACE, part.gives_interface)
        if part.gives_interface in {None, wanted}:
            return passed(INTERFACE)
        return failed(INTERFACE, f"gives interface {part.gives_interface}, where {wanted} is needed")

    return worst([checked(INTERFACE, need.interface, mates), checked(INTERFACE, need.gives_interface, gives)])


def _voltage_class(part: Part, need: Need) -> CheckResult:
    def serves(wanted: str) -> CheckResult:
        if isinstance(part.classes_kv, Missing):
            return unknown(CLASS, part.classes_kv)
        if part.classes_kv is None or wanted in part.classes_kv:
            return passed(CLASS)
        return failed(CLASS, f"class {' or '.join(part.classes_kv)} kV is not the {wanted} kV needed")

    return checked(CLASS, need.class_kv, serves)


def _current(part: Part, need: Need) -> CheckResult:
    def carries(wanted: int) -> CheckResult:
        if isinstance(part.current_a, Missing):
            return unknown(CURRENT, part.current_a)
        if part.current_a is None or part.current_a >= wanted:
            return passed(CURRENT)
        return failed(
            CURRENT,
            f"carries {part.current_a} A, where {wanted} A is needed",
            (wanted - part.current_a) * MILLIONTHS // wanted,
        )

    def switches(wanted: str) -> CheckResult:
        if isinstance(part.switching, Missing):
            return unknown(CURRENT, part.switching)
        if wanted not in LOADBREAK_DUTIES or part.switching is None or part.switching in LOADBREAK_DUTIES:
            return passed(CURRENT)
        return failed(CURRENT, f"is {part.switching}, where {wanted} duty is needed")

    return worst([checked(CURRENT, need.current_a, carries), checked(CURRENT, need.switching, switches)])


def _between_phases(part: Part, need: Need) -> CheckResult:
    if not need.between_phases or part.phase_to_phase is True:
        return passed(PHASES)
    if part.phase_to_phase is False:
        return failed(PHASES, "is for line-to-earth duty only, not between phases")
    if isinstance(part.phase_to_phase, Missing):
        return unknown(PHASES, part.phase_to_phase)
    if not part.separable:
        return passed(PHASES)
    why = f"phase to phase of {part.stock_code} is not given"
    return unknown(PHASES, Missing("phase to phase", why, "items", "phase to phase", part.row))


def _mcov(part: Part, need: Need) -> CheckResult:
    def enough(wanted: Decimal) -> CheckResult:
        if isinstance(part.mcov_kv, Missing):
            return unknown(MCOV, part.mcov_kv)
        if part.mcov_kv is None or part.mcov_kv >= wanted:
            return passed(MCOV)
        gap = int((wanted - part.mcov_kv) * MILLIONTHS / wanted)
        return failed(MCOV, f"MCOV {part.mcov_kv} kV is below the {mcov_words(part.mcov_kv, wanted)} kV needed", gap)

    return checked(MCOV, need.mcov_kv, enough)


def mcov_words(given: Decimal, wanted: Decimal) -> str:
    """The need to two decimals, or to as many as tell it from what the part has."""
    for decimals in range(2, 10):
        rounding = ROUND_HALF_UP if given < wanted else ROUND_FLOOR
        shown = wanted.quantize(Decimal(1).scaleb(-decimals), rounding=rounding if decimals > 2 else ROUND_HALF_UP)
        if given == wanted or shown != given:
            break
    return f"{shown.normalize():f}"


def _conductor(part: Part, barrel: Barrel, side: Side) -> CheckResult:
    def size(wanted: ConductorSize) -> CheckResult:
        if isinstance(barrel.sizes, Missing):
            return unknown(CONDUCTOR, barrel.sizes)
        if barrel.sizes is None or barrel.sizes.holds(wanted):
            return passed(CONDUCTOR)
        return failed(CONDUCTOR, f"size {wanted} is not {_sizes_words(barrel.sizes)}", _area_gap(wanted, barrel.sizes))

    return worst(
        [
            checked(CONDUCTOR, side.conductor_size if barrel.sizes is not None else None, size),
            _listed(CONDUCTOR, barrel.metals, side.metal, "conductor metal"),
            _listed(CONDUCTOR, part.strand, side.strand, "strand"),
        ]
    )


def _sizes_words(sizes: SizeSet) -> str:
    if len(sizes.spans) > 1 or sizes.spans[0][0] != sizes.spans[0][1]:
        return f"among {sizes}"
    only = sizes.spans[0][0]
    return str(only) if only.family == "mm2" else f"{only} ({only.area_mm2.quantize(Decimal('0.1'))} mm2)"


def _area_gap(wanted: ConductorSize, sizes: SizeSet) -> int:
    gap = min(abs(end.area_mm2 - wanted.area_mm2) for span in sizes.spans for end in span)
    return int(gap * MILLIONTHS / wanted.area_mm2)


def _listed(check: str, taken: tuple[str, ...] | Missing | None, fact: str | Missing | None, what: str) -> CheckResult:
    """Whether a fact of the cable is among those the part takes; a part that lists none doesn't read it."""
    if taken is None or fact is None:
        return passed(check)
    if isinstance(taken, Missing):
        return unknown(check, taken)
    words = f"takes {what} {' or '.join(taken)}"
    return checked(
        check, fact, lambda given: passed(check) if given in taken else failed(check, f"{words}, not {given}")
    )


def _shield(part: Part, side: Side) -> CheckResult:
    return _listed(JACKET, part.shield, side.shield, "shield")


def _insulation(barrel: Barrel, side: Side, estimates: str) -> CheckResult:
    return _diameter(INSULATION, side.doi, (barrel.doi_low_nm, barrel.doi_high_nm), "insulation", estimates)


def _jacket(part: Part, side: Side, estimates: str) -> CheckResult:
    return _diameter(JACKET, side.jacket, (part.jacket_low_nm, part.jacket_high_nm), "jacket", estimates)


def _diameter(
    check: str, fact: Band | Missing | None, limits: tuple[Length, Length], over_what: str, estimates: str
) -> CheckResult:
    low, high = limits
    if low is high is None:
        return passed(check)

    def fits(band: Band) -> CheckResult:
        if isinstance(low, Missing) or isinstance(high, Missing):
            return unknown(check, low if isinstance(low, Missing) else high)  # type: ignore[arg-type]
        found = fit(band, low, high, estimates=estimates)
        if found.state == FITS:
            return passed(check)
        words = misfit_words(found, over_what)
        if found.state == DOES_NOT_FIT:
            gap = found.too_small_nm or found.too_large_nm
            return failed(check, words, gap * MILLIONTHS // ((band.low_nm if found.too_small_nm else low) or 1))
        return CheckResult(check, None, words)

    return checked(check, fact, fits)


def _stepped(part: Part, sides: tuple[Side, ...], estimates: str) -> tuple[CheckResult, CheckResult]:
    """Conductor and insulation of a part with two openings, in the orientation that suits it best."""
    ways = [
        (
            worst([_conductor(part, barrel, side) for barrel, side in way]),
            worst([_insulation(barrel, side, estimates) for barrel, side in way]),
        )
        for way in _ways(part, sides)
    ]
    return min(ways, key=_badness)


def _ways(part: Part, sides: tuple[Side, ...]) -> list[list[tuple[Barrel, Side]]]:
    """How the sides may lie in the openings. Each opening takes at least one side.

    A single side of a part with two openings stands for both sides of a joint between equal cables.
    """
    if len(sides) < len(part.barrels):
        sides = sides * len(part.barrels)
    places = range(len(part.barrels))
    return [
        [(part.barrels[place], side) for place, side in zip(way, sides, strict=True)]
        for way in product(places, repeat=len(sides))
        if set(way) == set(places)
    ]


def insulation_margin(part: Part, need: Need) -> int | None:
    """The smallest side by which the cables lie inside the part's range over the insulation, in nanometres.

    In the orientation of a stepped part that leaves the largest; None where the part has no range or none is read.
    """
    margins = []
    for way in _ways(part, _sides(need)):
        if part.stepped and any(_conductor(part, barrel, side).passed is not True for barrel, side in way):
            continue
        smallest = [_side_margin(side.doi, barrel.doi_low_nm, barrel.doi_high_nm) for barrel, side in way]
        margins.append(min((each for each in smallest if each is not None), default=None))
    return max((each for each in margins if each is not None), default=None)


def jacket_margin(part: Part, need: Need) -> int | None:
    """The smallest side by which the jackets lie inside the part's range, in nanometres; None where none is read."""
    margins = [_side_margin(side.jacket, part.jacket_low_nm, part.jacket_high_nm) for side in need.sides]
    return min((each for each in margins if each is not None), default=None)


def fit_margin(part: Part, need: Need) -> int | None:
    """The smaller of the margins over insulation and jacket, in nanometres; None where no diameter is read."""
    margins = (insulation_margin(part, need), jacket_margin(part, need))
    return min((each for each in margins if each is not None), default=None)


def _side_margin(fact: Band | Missing | None, low: Length, high: Length) -> int | None:
    if not isinstance(fact, Band) or fact.low_nm is None or fact.high_nm is None:
        return None
    sides = [fact.low_nm - low] if isinstance(low, int) else []
    if isinstance(high, int):
        sides.append(high - fact.high_nm)
    return min(sides, default=None)


def _badness(results: tuple[CheckResult, ...]) -> tuple[int, int, int]:
    """How bad an orientation is: checks that fail, checks that are not known, how far off."""
    return (
        sum(result.passed is False for result in results),
        sum(result.passed is None for result in results),
        sum(result.gap for result in results),
    )


def _rule(part: Part, need: Need, *, named: bool) -> tuple[CheckResult, Alternative | None]:
    """The first rule that lets the part serve. A complete set is taken only when its stock code is named."""
    if part.contains and not named:
        alternatives = [alternative for alternative in need.alternatives if _names(alternative, part)]
        if not alternatives:
            return failed(RULE, "is a complete set, taken only where a rule or a pin names it"), None
    else:
        alternatives = list(need.alternatives)
    if not alternatives:
        return passed(RULE), None
    for alternative in alternatives:
        if not alternative.limits.failed_by(part.facts):
            return passed(RULE), alternative
    first = alternatives[0]
    limits = " and ".join(limit.words() for limit in first.limits.failed_by(part.facts))
    return failed(RULE, f"is not {limits}, as rule {first.rule} asks"), None


def _names(alternative: Alternative, part: Part) -> bool:
    return any(
        limit.field == STOCK_CODE_FIELD and not limit.test.negated and limit.met_by(part.facts)
        for limit in alternative.limits.tests
    )
