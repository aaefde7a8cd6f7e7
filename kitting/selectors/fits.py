"""The diameters that decide whether a chosen part fits, from a plan's lines and the items."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import zip_longest

from inventory.models import Item
from jobs.models import CableType
from kitting.calculation.cable_geometry import CABLE_TYPE, Band
from kitting.calculation.lengths import mm_text, parse_length
from kitting.models import Policy

INSULATION, JACKET = "insulation", "jacket"
_SIDES = "; "  # between the two cables of a joint


@dataclass(frozen=True, slots=True)
class FitFacts:
    """A part's range (nm, ends included) over insulation or jacket, and the cable's band."""

    over_what: str
    part: tuple[int, int]
    band: Band


def fit_facts(lines: Iterable[Mapping[str, str]]) -> dict[str, list[FitFacts]]:
    """By line: what its fit is judged by, a side of a joint each, where a part is fitted by a diameter; one query."""
    wanted = [line for line in lines if line["stock_code"]]
    items = {
        item.stock_code: item for item in Item.objects.filter(stock_code__in={one["stock_code"] for one in wanted})
    }
    found = {}
    for line in wanted:
        item = items.get(line["stock_code"])
        facts = [*_facts(item, line)] if item else []
        if facts:
            found[line["line"]] = facts
    return found


def bands_of(cable_type: CableType) -> dict[str, str]:
    """The bands of a cable type as a plan's line says them, '' for what the books don't know."""
    sides = {"doi": (cable_type.doi_low_nm, cable_type.doi_high_nm),
             "jacket": (cable_type.jacket_low_nm, cable_type.jacket_high_nm)}  # fmt: skip
    found = {
        f"{name}_{end}_mm": "" if nm is None else mm_text(nm)
        for name, ends in sides.items()
        for end, nm in zip(("low", "high"), ends, strict=True)
    }
    return {**found, "doi_origin": CABLE_TYPE}


def _facts(item: Item, line: Mapping[str, str]) -> Iterator[FitFacts]:
    insulation, jacket = (item.doi_low_nm, item.doi_high_nm), (item.jacket_low_nm, item.jacket_high_nm)
    for over_what, part, name in ((INSULATION, insulation, "doi"), (JACKET, jacket, "jacket")):
        low, high = part
        if low is None or high is None or not line[f"{name}_low_mm"]:
            continue
        lows, highs = line[f"{name}_low_mm"].split(_SIDES), line[f"{name}_high_mm"].split(_SIDES)
        ends = zip_longest(lows, highs, fillvalue=min(lows, highs, key=len)[-1])  # what is alike is named once
        origins = line["doi_origin"].split(_SIDES) if over_what == INSULATION else [CABLE_TYPE]
        for at, (lowest, highest) in enumerate(ends):
            second = over_what == INSULATION and at and item.doi_low_2_nm is not None and item.doi_high_2_nm is not None
            span = (item.doi_low_2_nm or 0, item.doi_high_2_nm or 0) if second else (low, high)
            origin = origins[at] if at < len(origins) else origins[0]
            yield FitFacts(over_what, span, Band(_length(lowest), _length(highest), origin))
        return


def _length(text: str) -> int | None:
    return parse_length(text, "mm") if text else None


def estimates_policy() -> str:
    """What the owner wants of a band that is only calculated."""
    kept = Policy.objects.filter(policy="estimates").values_list("value", flat=True).first()
    return kept or "accept"
