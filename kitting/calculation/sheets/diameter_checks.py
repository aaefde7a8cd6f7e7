"""Sense checks on diameters: order of the ends, jacket over insulation, width of a range, reel against type."""

from collections.abc import Iterator
from fractions import Fraction

from kitting.calculation.cable_geometry import GAUGE, Band, possible_dois
from kitting.calculation.conductor_sizes import ConductorSize
from kitting.calculation.lengths import NM_PER_IN, NM_PER_MM, both
from kitting.calculation.questions import ASK, NOTE, REFUSE
from kitting.calculation.sheets.parsers import CellDoubt
from kitting.calculation.sheets.reading import SheetReading

_PAIRS = (("doi_low_nm", "doi_high_nm"), ("doi_low_2_nm", "doi_high_2_nm"), ("jacket_low_nm", "jacket_high_nm"))
_WIDEST_RANGE_NM = 20 * NM_PER_MM  # no housing takes a wider span of cables (common practice)
_REEL_DISAGREES = Fraction(5, 100)
_NEAR_BUILD_NM = 3 * NM_PER_IN // 100  # published cable tables meet the calculation within 0.03 in


def check_order(reading: SheetReading) -> None:
    """Refuse a smallest diameter above the greatest."""
    for low, high in _PAIRS:
        if low in reading.placed:
            _check_order(reading, low, high)


def check_widths(items: SheetReading) -> None:
    """Ask about a range that is wider than that of any housing."""
    for low, high in _PAIRS[:2]:
        _check_width(items, low, high)


def check_build(cables: SheetReading) -> None:
    """Ask about a diameter over insulation that neither its jacket nor its conductor and wall can have."""
    _check_jacket(cables)
    _check_build(cables)


def fill_gauge_readings(reels: SheetReading) -> None:
    """Take a gauge reading that is given once for both ends of the band."""
    lows, highs = reels.values("doi_low_nm"), reels.values("doi_high_nm")
    for at, origin in enumerate(reels.values("origin")):
        if origin == GAUGE and None in (lows[at], highs[at]):
            lows[at] = highs[at] = lows[at] if highs[at] is None else highs[at]


def _both_ends(reading: SheetReading, low: str, high: str) -> Iterator[tuple[int, int, int]]:
    for at, (least, most) in enumerate(zip(reading.values(low), reading.values(high), strict=True)):
        if isinstance(least, int) and isinstance(most, int):
            yield at, least, most


def _check_order(reading: SheetReading, low: str, high: str) -> None:
    for at, least, most in _both_ends(reading, low, high):
        if least > most:
            labels = reading.sheet.by_field[low].label, reading.sheet.by_field[high].label
            problem = f"{labels[0]} {both(least)} is more than {labels[1]} {both(most)}"
            reading.doubt(at, low, CellDoubt(problem, "the smaller one first", REFUSE), high)


def _check_width(items: SheetReading, low: str, high: str) -> None:
    for at, least, most in _both_ends(items, low, high):
        if most - least > _WIDEST_RANGE_NM:
            problem = f"the range {both(least)} to {both(most)} is wider than 20 mm"
            items.doubt(at, high, CellDoubt(problem, "check the unit", ASK), low)


def _check_jacket(reading: SheetReading) -> None:
    if "jacket_low_nm" not in reading.placed and "jacket_high_nm" not in reading.placed:
        return
    jackets = list(zip(reading.values("jacket_low_nm"), reading.values("jacket_high_nm"), strict=True))
    for field in ("doi_low_nm", "doi_high_nm"):
        for at, doi in enumerate(reading.values(field)):
            known = [end for end in jackets[at] if isinstance(end, int)]
            if not isinstance(doi, int) or not known:
                continue
            if doi in known:
                reading.doubt(at, field, CellDoubt("same as jacket diameter: over what?", "over insulation?", ASK))
            elif doi >= min(known):
                problem = f"{both(doi)} over insulation is not less than {both(min(known))} over the jacket"
                reading.doubt(at, field, CellDoubt(problem, "check both columns", REFUSE))


def _check_build(reading: SheetReading) -> None:
    """Note a diameter that the conductor, shields and wall of its own row can't give (ICEA S-94-649 limits)."""
    bands: dict[tuple[ConductorSize, int, str | None, str | None], tuple[Band, ...]] = {}
    fields = ("conductor_size", "wall_nm", "doi_low_nm", "doi_high_nm", "strand", "metal")
    for at, (size, wall, low, high, strand, metal) in enumerate(zip(*map(reading.values, fields), strict=True)):
        ends = [end for end in (low, high) if isinstance(end, int)]
        if not isinstance(size, ConductorSize) or not isinstance(wall, int) or not ends:
            continue
        build = (size, wall, _text(strand), _text(metal))
        if build not in bands:
            bands[build] = _bands(*build)
        for band in bands[build]:
            least, most = (band.low_nm or 0) - _NEAR_BUILD_NM, (band.high_nm or max(ends)) + _NEAR_BUILD_NM
            if max(ends) < least or min(ends) > most:
                problem = f"conductor, shield and wall of this row give {both(least)} to {both(most)} over insulation"
                reading.doubt(at, "doi_low_nm", CellDoubt(problem, "check size, wall and diameter", NOTE))


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _bands(size: ConductorSize, wall_nm: int, strand: str | None, metal: str | None) -> tuple[Band, ...]:
    possible = possible_dois(
        size=size, strand=strand, wall_nm=wall_nm, cable_class_kv=None, insulation_level=None, metal=metal
    )
    return tuple(band for _, band in possible)


def check_reels(reels: SheetReading, types: SheetReading) -> None:
    """Note a reel whose diameters are not those of its cable type."""
    bands = {
        name: (low, high)
        for name, low, high in zip(*map(types.values, ("cable_type", "doi_low_nm", "doi_high_nm")), strict=True)
        if isinstance(name, str) and isinstance(low, int) and isinstance(high, int)
    }
    for at, name in enumerate(reels.values("cable_type")):
        if name not in bands:
            continue
        low, high = bands[name]
        for field in ("doi_low_nm", "doi_high_nm"):
            doi = reels.values(field)[at]
            if isinstance(doi, int) and not low * (1 - _REEL_DISAGREES) <= doi <= high * (1 + _REEL_DISAGREES):
                problem = f"reel disagrees with type {name} ({both(low)} to {both(high)}) by more than 5 %"
                reels.doubt(at, field, CellDoubt(problem, "measure again or change type", NOTE))
                break
