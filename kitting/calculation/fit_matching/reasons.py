"""The one sentence of a match: what was chosen and why, or what is missing and what each value would choose."""

from collections.abc import Iterator, Sequence

from kitting.calculation.cable_geometry import Band
from kitting.calculation.conductor_sizes import ConductorSize
from kitting.calculation.fit_matching.checks import Standing, insulation_margin, jacket_margin, mcov_words
from kitting.calculation.fit_matching.parts import Barrel, Part
from kitting.calculation.fit_matching.results import CheckResult, worst
from kitting.calculation.fit_matching.survey import Judged
from kitting.calculation.fit_matching.wording import band_words, length_words, range_words
from kitting.calculation.needs import NearMiss, Need
from kitting.calculation.questions import Missing

MOST_TOLD = 3  # candidates told in one sentence


def chosen_sentence(standing: Standing, need: Need, refused: Judged | None) -> str:
    """Why this part serves: what it holds, takes and mates with, by how much, and the rule that asks for it."""
    part = standing.part
    told = [*_insulation(part, need), *_jacket(part, need), *_words(part, need)] or ["is the item named"]
    if refused is not None:
        told.append(f"not {refused[0].part.stock_code}: {worst(refused[1]).sentence}")
    if standing.alternative is not None:
        told.append(standing.alternative.sentence)
    return f"{part.stock_code} {'; '.join(told)}"


def _insulation(part: Part, need: Need) -> Iterator[str]:
    bands = [side.doi for side in need.sides if isinstance(side.doi, Band)]
    margin = insulation_margin(part, need) if bands else None
    if margin is not None:
        ranges = " and ".join(dict.fromkeys(range_words(*_ends(barrel)) for barrel in part.barrels))
        yield f"holds {_bands_words(bands)}: range {ranges}, margin {length_words(margin)}"


def _jacket(part: Part, need: Need) -> Iterator[str]:
    bands = [side.jacket for side in need.sides if isinstance(side.jacket, Band)]
    margin = jacket_margin(part, need) if bands else None
    if margin is not None:
        limits = range_words(part.jacket_low_nm, part.jacket_high_nm)
        yield f"holds a jacket of {_bands_words(bands)}: range {limits}, margin {length_words(margin)}"


def _ends(barrel: Barrel) -> tuple[int | None, int | None]:
    low, high = barrel.doi_low_nm, barrel.doi_high_nm
    return low if isinstance(low, int) else None, high if isinstance(high, int) else None


def _bands_words(bands: Sequence[Band]) -> str:
    return " and ".join(dict.fromkeys(band_words(band) for band in bands))


def _words(part: Part, need: Need) -> Iterator[str]:
    sizes = [
        f"{side.conductor_size}{f' {side.metal}' if isinstance(side.metal, str) else ''}"
        for side in need.sides
        if isinstance(side.conductor_size, ConductorSize)
    ]
    if sizes and part.barrels[0].sizes is not None:
        yield f"takes {' and '.join(dict.fromkeys(sizes))}"
    if part.mcov_kv is not None and not isinstance(part.mcov_kv, Missing) and need.mcov_kv is not None:
        wanted = need.mcov_kv
        if not isinstance(wanted, Missing):
            yield f"has MCOV {part.mcov_kv} kV for the {mcov_words(part.mcov_kv, wanted)} kV needed"
    if isinstance(need.interface, str) and part.interface is not None:
        yield f"mates with {need.interface}"
    if isinstance(need.class_kv, str) and part.classes_kv is not None:
        yield f"class {need.class_kv} kV"


def open_sentence(missing: Sequence[Missing], measured: Sequence[Missing], options: Sequence[str]) -> str:
    """Why nothing can be chosen yet: what is not known, what each possible value would choose, what to measure."""
    unknown = [f"{fact.fact} is not known ({fact.why})" for fact in missing]
    return "; ".join([*unknown, *options, *(f"measure the {fact.fact}: {fact.why}" for fact in measured)])


def measure_words(need: Need, over_what: str, told: Sequence[tuple[str, CheckResult]]) -> str:
    """Why the parts can't be told to fit, and for each which gauge reading would do."""
    facts = [side.doi if over_what == "insulation" else side.jacket for side in need.sides]
    bands = _bands_words([fact for fact in facts if isinstance(fact, Band)])
    codes = " and ".join(code for code, _ in told[:MOST_TOLD])
    readings = "; ".join(f"{code}: {result.sentence}" for code, result in told[:MOST_TOLD])
    return f"{codes} can't be told to hold {bands}; {readings}"


def option_words(answers: Sequence[tuple[str, str]]) -> str:
    """What each value of a missing fact would choose: ``small would choose BI35S; large would choose BI35L``."""
    labels: dict[str, list[str]] = {}
    for label, outcome in answers:
        labels.setdefault(outcome, []).append(label)
    return "; ".join(f"{' or '.join(said)} {outcome}" for outcome, said in labels.items())


def no_item_sentence(need: Need, misses: Sequence[NearMiss]) -> str:
    """That no item serves, and how the nearest ones miss."""
    rule = f" for {need.alternatives[0].sentence}" if need.alternatives else ""
    if not misses:
        return f"there is no {need.kind} on the items sheet{rule}"
    nearest = "; ".join(miss.sentence for miss in misses)
    return f"no {need.kind} serves; nearest, not approved: {nearest}{rule}"


def near_miss(standing: Standing, results: Sequence[CheckResult]) -> NearMiss:
    """An item that does not serve, with every check that fails; the first is the reason."""
    failing = [result for result in results if result.passed is False]
    told = ", and ".join(result.sentence for result in failing)
    code = standing.part.stock_code
    return NearMiss(code, failing[0].check, f"{code} {told}", tuple(result.check for result in failing))
