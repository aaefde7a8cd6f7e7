"""Conductor sizes as names with a true area: AWG and kcmil (ASTM B258) and mm2 (IEC 60228).

A size of one family is never taken for a size of the other, however near the areas: 95 mm2 is not 4/0 (107.2 mm2).
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType

from kitting.calculation.doubts import Doubt
from kitting.calculation.published_tables import table_rows

AWG = "AWG"
KCMIL = "kcmil"
MM2 = "mm2"


class SizeDoubt(Doubt):
    """A conductor size, or a list of sizes, that can't be read as one."""


@dataclass(frozen=True, slots=True)
class ConductorSize:
    """One conductor size; ``area_mm2`` is its area of metal. Sizes sort by series, then area."""

    name: str
    family: str
    area_mm2: Decimal

    @property
    def series(self) -> str:
        """``AWG/kcmil`` or ``mm2``: areas are compared only inside one series."""
        return MM2 if self.family == MM2 else f"{AWG}/{KCMIL}"

    def __str__(self) -> str:
        return f"{self.name} {self.family}"

    def __lt__(self, other: "ConductorSize") -> bool:
        return (self.series, self.area_mm2) < (other.series, other.area_mm2)


SIZES: tuple[ConductorSize, ...] = tuple(
    ConductorSize(row["size"], row["family"], Decimal(row["area_mm2"])) for row in table_rows("conductor_sizes")
)
_BY_NAME: Mapping[tuple[str, str], ConductorSize] = MappingProxyType({(size.family, size.name): size for size in SIZES})
_AUGHTS: Mapping[str, str] = MappingProxyType({"0": "1/0", "00": "2/0", "000": "3/0", "0000": "4/0"})
_UNITS: Mapping[str, str] = MappingProxyType({"awg": AWG, "#": AWG, "kcmil": KCMIL, "mcm": KCMIL, "mm2": MM2})
_LONGEST_TEXT = 40
_SIZE = re.compile(
    r"(?P<cores>(?:[1-9] ?x ?){0,2})(?P<mark># ?|no\.? ?)?(?P<number>[0-9]+/0|[0-9]+(?:\.[0-9]+)?)"
    r"(?:/(?P<screen>[1-9][0-9]*))?[ -]?(?P<unit>awg|kcmil|mcm|mm2)?"
)
_SQUARE_MM = re.compile("sq[.]? ?mm|mm\\^2|mm\N{SUPERSCRIPT TWO}|mm sq[.]?")
_CIRCULAR_MILS = re.compile(r"(?P<kcmil>[0-9]{1,4}|[0-9],[0-9]{3})[, ]?000(?: ?(?:cm|cmil|circular mils))?")

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = f"(?P<month>{'|'.join(_MONTHS)})"
_TIME = r"(?:[ t][0-9:]+)?"
_DATES = tuple(
    re.compile(pattern)
    for pattern in (
        rf"(?P<year>[0-9]{{4}})-(?P<a>[0-9]{{2}})-(?P<b>[0-9]{{2}}){_TIME}",
        rf"(?P<a>[0-9]{{1,2}})[/.-](?P<b>[0-9]{{1,2}})[/.-](?P<year>[0-9]{{4}}|[0-9]{{2}}){_TIME}",
        rf"(?P<a>[0-9]{{1,2}})[ -]{_MONTH}(?:[ -](?P<year>[0-9]{{4}}|[0-9]{{2}}))?",
        rf"{_MONTH}[ -](?P<year>[0-9]{{4}}|[0-9]{{2}})",
    )
)
_AUGHT_SERIALS: Mapping[str, str] = MappingProxyType(
    {"36526": "1/0", "36557": "2/0", "36586": "3/0", "36617": "4/0"}  # day counts of 2000-01-01 to 2000-04-01
)


def parse_size(text: str) -> ConductorSize:
    """Read one conductor size in any trade spelling.

    Taken: ``1/0``, ``#1/0``, ``1/0 AWG``, ``2``, ``500 MCM``, ``500 kcmil``, ``350``, ``95 mm2``, ``3x95``,
    ``1x95/16 mm2``. A bare number is AWG up to 8 and kcmil from 250 up, as North American schedules write it; a bare
    number that is only a metric size is asked.

    Raises:
        SizeDoubt: a date where a size should be, an ambiguous or unknown size, or other text beside it.
    """
    cleaned = _clean(text)
    if len(cleaned) > _LONGEST_TEXT:
        raise SizeDoubt("too long to be a conductor size")
    _refuse_dates(cleaned)
    match = _SIZE.fullmatch(cleaned)
    if match is None:
        raise _not_a_size(cleaned)
    unit = match["unit"] or ("#" if match["mark"] else None)
    if match["screen"] and (unit not in {None, "mm2"} or not (match["cores"] or unit)):
        raise SizeDoubt(f"{cleaned} is not a conductor size")
    if unit is None:
        return _bare_size(match["number"], has_cores=bool(match["cores"] or match["screen"]))
    return _named_size(match["number"], _UNITS[unit])


def _clean(text: str) -> str:
    spaced = " ".join(text.replace("\u00a0", " ").replace("\N{MULTIPLICATION SIGN}", "x").lower().split())
    whole = re.sub(r"\.0+(?![0-9])", "", spaced.replace(" /", "/").replace("/ ", "/"))
    return _SQUARE_MM.sub("mm2", whole)


def _named_size(number: str, family: str) -> ConductorSize:
    name = _AUGHTS.get(number, number) if family == AWG else number
    found = _BY_NAME.get((family, name))
    if found is not None:
        return found
    for size in SIZES:
        same_name = size.family != family and size.name == name and family != MM2
        same_area = family == MM2 and size.family != MM2 and size.area_mm2 == Decimal(name.split("/")[0])
        if same_name or same_area:
            raise SizeDoubt(f"there is no size {number} {family}: {size}?", str(size))
    raise SizeDoubt(f"there is no size {number} {family} in the tables (8 AWG to 2000 kcmil, 16 to 1000 mm2)")


def _bare_size(number: str, *, has_cores: bool) -> ConductorSize:
    if number == "0":
        raise SizeDoubt("0 may be 1/0, or 2/0 to 4/0 that lost its zeros as a number", "1/0")
    name = _AUGHTS.get(number, number)
    north_american = _BY_NAME.get((AWG, name)) or _BY_NAME.get((KCMIL, name))
    metric = _BY_NAME.get((MM2, name))
    if has_cores and north_american is not None and metric is not None:
        raise SizeDoubt(f"{number} may be mm2 or kcmil", str(metric))
    if has_cores and metric is not None:
        return metric
    if north_american is not None:
        return north_american
    if metric is not None:
        raise SizeDoubt(f"{number} without a unit: mm2?", str(metric))
    raise SizeDoubt(f"{number} is not a conductor size of the tables (8 AWG to 2000 kcmil, 16 to 1000 mm2)")


def _not_a_size(text: str) -> SizeDoubt:
    circular_mils = _CIRCULAR_MILS.fullmatch(text)
    if circular_mils is not None:
        size = _BY_NAME.get((KCMIL, circular_mils["kcmil"].replace(",", "")))
        if size is not None:
            return SizeDoubt(f"circular mils, {size}?", str(size))
    words = text.split()
    for count in range(len(words) - 1, 0, -1):
        beginning = " ".join(words[:count])
        if _SIZE.fullmatch(beginning) is not None:
            return SizeDoubt(f"more than a conductor size: {' '.join(words[count:])}", str(parse_size(beginning)))
    return SizeDoubt("not a conductor size" if text else "blank, not a conductor size")


def _refuse_dates(text: str) -> None:
    if text in _AUGHT_SERIALS:
        raise _damaged(_AUGHT_SERIALS[text])
    for pattern in _DATES:
        match = pattern.fullmatch(text)
        if match is not None:
            raise _damaged(_size_before_damage(match.groupdict()))


def _size_before_damage(date: Mapping[str, str | None]) -> str:
    """``1/0`` typed into a sheet becomes the first day of January 2000, ``2/0`` of February 2000, and so on."""
    numbers = [int(part) for part in (date.get("a"), date.get("b")) if part is not None]
    month = date.get("month")
    if month is not None:
        numbers.append(_MONTHS.index(month) + 1)
    others = [number for number in numbers if number != 1] or [1]
    year_fits = date.get("year") in {None, "00", "2000"}
    if not year_fits or len(others) > 1 or f"{others[0]}/0" not in _AUGHTS.values():
        return ""
    return f"{others[0]}/0"


def _damaged(size: str) -> SizeDoubt:
    if not size:
        return SizeDoubt("a date, not a conductor size")
    return SizeDoubt(f"looks like {size} damaged by the spreadsheet", size)


@dataclass(frozen=True, slots=True)
class SizeSet:
    """The sizes that a connector takes: spans of one series each; a single size is a span with equal ends."""

    spans: tuple[tuple[ConductorSize, ConductorSize], ...]

    def holds(self, size: ConductorSize) -> bool:
        """Whether the size lies in a span of its own series, ends included."""
        return any(
            smallest.series == size.series and smallest.area_mm2 <= size.area_mm2 <= largest.area_mm2
            for smallest, largest in self.spans
        )

    def __str__(self) -> str:
        return "; ".join(
            str(smallest) if smallest == largest else f"{smallest}..{largest}" for smallest, largest in self.spans
        )


def parse_size_set(text: str) -> SizeSet:
    """Read the sizes that an item takes: ``1/0; 2/0``, ``2 AWG..4/0``, ``50..150 mm2``.

    Raises:
        SizeDoubt: a size that can't be read, a span between families, or one that runs backwards.
    """
    parts = [part.strip() for part in re.split(r"[;,]", text) if part.strip()]
    if not parts:
        raise SizeDoubt("blank, not a conductor size")
    return SizeSet(tuple(_span(part) for part in parts))


def _span(text: str) -> tuple[ConductorSize, ConductorSize]:
    ends = [end.strip() for end in text.split("..")]
    if len(ends) == 1:
        size = parse_size(text)
        return size, size
    if len(ends) > 2:
        raise SizeDoubt(f"{text} is not a span of two sizes")
    largest = parse_size(ends[1])
    metric = largest.family == MM2 and ends[0].replace(".", "").isdigit()
    smallest = parse_size(f"{ends[0]} {MM2}" if metric else ends[0])
    if smallest.series != largest.series:
        raise SizeDoubt(f"{text} runs from {smallest.family} to {largest.family}; they are not compared")
    if largest < smallest:
        raise SizeDoubt(f"{text} runs backwards", f"{largest}..{smallest}")
    return smallest, largest
