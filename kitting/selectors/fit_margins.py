"""How well an installed part fits, and by what: the gauge reading taken then, or what the plan worked out."""

from collections.abc import Mapping
from dataclasses import dataclass

from inventory.models import Item
from kitting.calculation.cable_geometry import GAUGE, Band
from kitting.calculation.doubts import Doubt
from kitting.calculation.fit_matching.fits import FITS, fit
from kitting.calculation.lengths import both, mm_text, parse_length
from kitting.errors import Refusal
from kitting.models import BagEntry
from kitting.selectors.stock_search import ranges_over_insulation

LEAST, MOST = "0.3 in", "3 in"  # what cables of medium voltage measure over insulation (common practice)
MARGIN, TOO_SMALL, TOO_LARGE = "measured margin mm", "measured too small mm", "measured too large mm"
_ORIGINS = {GAUGE: "from the reel's gauge reading", "maker": "from the maker's sheet of the reel"}
_TABLE = "from the table"


@dataclass(frozen=True, slots=True)
class FitMargin:
    """How well a part fits, in words with both units ('' where nobody knows), and whether it was found not to fit."""

    words: str
    is_outside: bool = False


def measured_fit(item: Item, gauge: str) -> dict[str, str]:
    """What a gauge reading says of a part, as facts to keep beside the reading: one exact length in mm.

    Nothing where there is no reading, or the part is not fitted by the diameter over insulation. Of a part with two
    ranges the reading doesn't say which side it is of, so nothing either.

    Raises:
        Refusal: ``no-gauge-reading``: it can't be read, or no cable measures so.
    """
    if not gauge.strip():
        return {}
    spans = {*ranges_over_insulation(item)}
    nm = _read(gauge, is_over_insulation=bool(spans))
    if len(spans) != 1:
        return {}
    (low, high) = spans.pop()
    found = fit(Band(nm, nm, GAUGE), low, high, estimates="accept")
    if found.state == FITS:
        return {MARGIN: mm_text(found.margin_nm or 0)}
    return {TOO_SMALL: mm_text(found.too_small_nm)} if found.too_small_nm else {TOO_LARGE: mm_text(found.too_large_nm)}


def _read(gauge: str, *, is_over_insulation: bool) -> int:
    try:
        nm = parse_length(gauge, None)
    except Doubt as doubt:
        close = f": {doubt.suggestion}?" if doubt.suggestion else ", such as 0.845 in or 21.46 mm"
        message = f"GAUGE READING: {gauge!r} is {doubt.problem}; write it with its unit{close}"
        raise Refusal("no-gauge-reading", message, {"read": gauge}) from None
    least, most = parse_length(LEAST, None), parse_length(MOST, None)
    if is_over_insulation and not least <= nm <= most:
        message = f"GAUGE READING: {both(nm)} is outside {both(least)} to {both(most)}: check the unit."
        raise Refusal("no-gauge-reading", message, {"read": gauge})
    return nm


def fit_margin(entry: BagEntry) -> FitMargin:
    """How well the pieces of an installed entry fit.

    The plan's margin is of the stock code that its line chose: of another part it says nothing.
    """
    facts, planned = entry.facts, entry.line.facts
    if facts.get(MARGIN):
        return FitMargin(f"margin {_both(facts[MARGIN])}, measured")
    for name, side in ((TOO_SMALL, "too small"), (TOO_LARGE, "too large")):
        if facts.get(name):
            return FitMargin(f"DOES NOT FIT, {side} by {_both(facts[name])}, measured", is_outside=True)
    margin = planned.get("margin_mm", "")
    if not margin or planned.get("stock_code") != entry.lot.item.stock_code:
        return FitMargin("")
    return FitMargin(f"margin {_both(margin)}, {_origin(planned)}")


def _origin(planned: Mapping[str, str]) -> str:
    """Where the diameter came from that the plan used; a jacket's only stands in the table of cable types."""
    return _ORIGINS.get(planned.get("doi_origin", ""), _TABLE) if planned.get("doi_low_mm") else _TABLE


def _both(mm: str) -> str:
    return both(parse_length(mm, "mm"))
