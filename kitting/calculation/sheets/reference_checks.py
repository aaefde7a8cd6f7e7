"""What one sheet says about another: every code that is referred to must be declared, near names are asked."""

from collections.abc import Mapping
from dataclasses import dataclass

from kitting.calculation.questions import ASK, NOTE, REFUSE
from kitting.calculation.sheets.near_names import NearNames
from kitting.calculation.sheets.parsers import CellDoubt, did_you_mean
from kitting.calculation.sheets.reading import SheetReading

Readings = Mapping[str, SheetReading]


@dataclass(frozen=True, slots=True)
class _Reference:
    """A column that refers to the key column of another sheet."""

    sheet: str
    field: str
    to_sheet: str
    to_field: str


def _all_to(to_sheet: str, to_field: str, *columns: tuple[str, str]) -> tuple[_Reference, ...]:
    return tuple(_Reference(sheet, field, to_sheet, to_field) for sheet, field in columns)


_REFERENCES = (
    *_all_to("depots", "depot", ("transfers", "from_depot"), ("transfers", "to_depot"), ("jobs", "depot")),
    *_all_to("depots", "depot", ("levels", "depot"), ("stock", "depot"), ("orders", "depot"), ("pins", "depot")),
    *_all_to("depots", "depot", ("bag depots", "depot")),
    *_all_to("cable types", "cable_type", ("reels", "cable_type"), ("positions", "existing_cable_type")),
    *_all_to("cable types", "cable_type", ("schedule", "cable_type")),
    *_all_to("reels", "reel", ("schedule", "reels")),
    *_all_to("systems", "system", ("schedule", "system"), ("schedule", "system_after"), ("stand ins", "system")),
    *_all_to("jobs", "job", ("positions", "job"), ("schedule", "job"), ("stock", "job"), ("pins", "job")),
    *_all_to("jobs", "job", ("added lines", "job"), ("bag depots", "job")),
    *_all_to("positions", "structure", ("stock", "structure"), ("added lines", "structure")),
    *_all_to("positions", "structure", ("bag depots", "structure")),
)
_STOCK_CODES = (
    ("levels", "stock_code"),
    ("stock", "stock_code"),
    ("orders", "stock_code"),
    ("pins", "stock_code"),
    ("added lines", "stock_code"),
    ("stand ins", "wanted"),
    ("stand ins", "allowed"),
    ("items", "contains"),
)


NAMING_ITEMS = frozenset(sheet for sheet, _ in _STOCK_CODES)  # by old codes too


def referred_to(sheet: str) -> frozenset[str]:
    """The sheets whose keys a sheet names."""
    named = {one.to_sheet for one in _REFERENCES if one.sheet == sheet}
    items = {"items" for naming, _ in _STOCK_CODES if naming == sheet}
    ends = {"positions"} if sheet == "schedule" else set()
    return frozenset(named | items | ends)


def check_references(readings: Readings) -> None:
    """Ask about every reference to something that no sheet declares."""
    near: dict[tuple[str, str], NearNames] = {}
    for one in _REFERENCES:
        target = (one.to_sheet, one.to_field)
        names = {name for name in readings[one.to_sheet].values(one.to_field) if isinstance(name, str)}
        if target not in near:
            near[target] = NearNames(names)
        _check(readings[one.sheet], one.field, names, near[target], f"no {_what(one)} of this code is declared")
    _ask_about_spellings(readings["positions"], near["positions", "structure"])


def _what(one: _Reference) -> str:
    return one.to_field.replace("_", " ")


def _check(reading: SheetReading, field: str, names: set[str], near: NearNames, problem: str) -> None:
    unknown = {value: doubt for value in set(reading.values(field)) if (doubt := _doubt(value, names, near, problem))}
    for at, value in enumerate(reading.values(field)) if unknown else ():
        if value in unknown:
            reading.doubt(at, field, unknown[value])


def _doubt(value: object, names: set[str], near: NearNames, problem: str) -> CellDoubt | None:
    """The doubt about a code, or about the first code of a list, that is not among the names."""
    if isinstance(value, str):
        return None if value in names else _unknown(value, near, problem)
    codes = map(_code, value) if isinstance(value, tuple) else ()
    first = next((code for code in codes if code not in names), None)
    return None if first is None else _unknown(first, near, f"{first}: {problem}")


def _code(part: object) -> str:
    """The code in a list of codes or in contents, where a count stands beside it."""
    return str(part[0]) if isinstance(part, tuple) else str(part)


def _unknown(name: str, near: NearNames, problem: str) -> CellDoubt:
    likely = near.near(name)
    return CellDoubt(problem, did_you_mean(likely), ASK if likely else REFUSE)


def _ask_about_spellings(positions: SheetReading, structures: NearNames) -> None:
    """Note once for each group of structures that differ in spelling only."""
    groups = {name: group for group in structures.spelled_alike() for name in group}
    for at, name in enumerate(positions.values("structure")) if groups else ():
        if isinstance(name, str) and name in groups:
            others = " and ".join(other for other in groups[name] if other != name)
            problem = f"is spelled almost like {others}; each is taken for a place of its own"
            positions.doubt(at, "structure", CellDoubt(problem, "one place or several?", NOTE))
            for noted in groups[name]:
                del groups[noted]


def check_stock_codes(readings: Readings) -> None:
    """Read old codes as the item's own code; refuse a code that no item has, and an old code that two items claim."""
    items = readings["items"]
    codes = {code for code in items.values("stock_code") if isinstance(code, str)}
    current = _current_codes(items, codes)
    near = NearNames([*codes, *current])
    problem = "no item has this stock code"
    for sheet, field in _STOCK_CODES:
        reading = readings[sheet]
        _check(reading, field, codes | set(current), near, problem)
        values = reading.values(field)
        for at, value in enumerate(values) if current else ():
            if isinstance(value, str):
                values[at] = current.get(value, value)
            elif isinstance(value, tuple):
                values[at] = tuple((current.get(code, code), count) for code, count in value)


def _current_codes(items: SheetReading, codes: set[str]) -> dict[str, str]:
    """Stock code by old code; an old code that is also someone else's is asked about and left out."""
    owners: dict[str, list[int]] = {}
    for at, old_codes in enumerate(items.values("old_codes")):
        for old in old_codes if isinstance(old_codes, tuple) else ():
            owners.setdefault(old, []).append(at)
    own = items.values("stock_code")
    current = {}
    for old, places in owners.items():
        names = [str(own[at]) for at in places]
        if old not in codes and len(places) == 1:
            current[old] = names[0]
            continue
        holders = " and ".join([*names, *([f"item {old} itself"] if old in codes else [])])
        for at in places:
            items.doubt(at, "old_codes", CellDoubt(f"{old} is a code of {holders}", "leave it to one of them", REFUSE))
    return current


def drop_with_items(readings: Readings) -> None:
    """What names an item that can't be used counts for nothing; the question stands at the item."""
    items = readings["items"]
    items.mark_unusable()
    unusable = {items.values("stock_code")[at] for at in items.unusable}
    for sheet, field in _STOCK_CODES if unusable else ():
        reading = readings[sheet]
        for at, value in enumerate(reading.values(field)):
            if isinstance(value, str) and value in unusable:
                reading.unusable.setdefault(at, f"item {value} can't be used")
            elif isinstance(value, tuple) and not unusable.isdisjoint(map(_code, value)):
                reading.void(at, field, "it names an item that can't be used")
