"""Sense checks on items, stock and orders: facts that a kind needs, contents, whole pieces, levels."""

from collections.abc import Iterator, Mapping

from kitting.calculation.kinds import KINDS
from kitting.calculation.quantities import PER_UNIT
from kitting.calculation.questions import ASK, NOTE, REFUSE, Question
from kitting.calculation.sheets.parsers import CellDoubt
from kitting.calculation.sheets.reading import SheetReading

_CUT_TO_LENGTH = frozenset({"ft", "m"})  # stock units of which a part can be issued
_COUNTED = {
    "stock": ("stock_code", ("quantity",)),
    "orders": ("stock_code", ("quantity",)),
    "pins": ("stock_code", ("quantity",)),
    "added lines": ("stock_code", ("quantity",)),
    "stand ins": ("allowed", ("max_quantity",)),
    "levels": ("stock_code", ("minimum", "maximum", "reserve_floor")),
    "items": ("stock_code", ("per_purchase_unit", "minimum_order", "order_multiple")),
}


def check_selectable(items: SheetReading) -> None:
    """Note the facts without which no rule may choose an item of its kind."""
    for at, kind in enumerate(items.values("kind")):
        required = KINDS[kind].required if isinstance(kind, str) else ()
        lacking = [field for field in required if items.values(field)[at] is None]
        if lacking:
            labels = ", ".join(items.sheet.by_field[field].label for field in lacking)
            items.doubt(at, lacking[0], CellDoubt(f"not selectable: {labels} missing", "", NOTE))


def check_contents(items: SheetReading) -> None:
    """Refuse contents that lead back to the item itself."""
    codes, contents = items.values("stock_code"), items.values("contains")
    inside = {
        code: [part for part, _ in parts]
        for code, parts in zip(codes, contents, strict=True)
        if isinstance(code, str) and isinstance(parts, tuple)
    }
    for at, code in enumerate(codes):
        loop = _way_back(code, inside) if code in inside else None
        if loop:
            problem = " contains ".join(loop)
            items.doubt(at, "contains", CellDoubt(problem, "a set can't be inside itself", REFUSE))


def _way_back(start: str, inside: Mapping[str, list[str]]) -> list[str] | None:
    """The shortest chain of contents from a code back to it."""
    ways = [[start]]
    seen = set()
    for way in ways:
        for part in inside.get(way[-1], ()):
            if part == start:
                return [*way, part]
            if part not in seen:
                seen.add(part)
                ways.append([*way, part])
    return None


def check_quantities(reading: SheetReading, items: SheetReading) -> None:
    """Refuse a part of a piece: only what is cut to length comes in fractions."""
    units = dict(zip(items.values("stock_code"), items.values("stock_unit"), strict=True))
    code_field, fields = _COUNTED[reading.sheet.name]
    for field in fields:
        for at, quantity in _fractions(reading, field):
            unit = units.get(reading.values(code_field)[at])
            if isinstance(unit, str) and unit not in _CUT_TO_LENGTH and quantity:
                doubt = CellDoubt(f"is a fraction of what is counted in {unit}", "a whole number", REFUSE)
                reading.doubt(at, field, doubt)


def _fractions(reading: SheetReading, field: str) -> Iterator[tuple[int, int]]:
    for at, quantity in enumerate(reading.values(field)):
        if isinstance(quantity, int) and quantity % PER_UNIT:
            yield at, quantity


def check_levels(levels: SheetReading) -> None:
    """Refuse a maximum below the minimum."""
    for at, (least, most) in enumerate(zip(levels.values("minimum"), levels.values("maximum"), strict=True)):
        if isinstance(least, int) and isinstance(most, int) and most < least:
            doubt = CellDoubt(f"max is less than min ({levels.texts('minimum')[at]})", "min first, then max", REFUSE)
            levels.doubt(at, "maximum", doubt)


def check_places(stock: SheetReading) -> None:
    """Ask what kind of place a piece lies in: only pieces in some kinds are free for planned work."""
    column = stock.sheet.by_field["place_kind"]
    if stock.given and "place_kind" not in stock.placed:
        problem = "the column is not there, so no piece is free"
        stock.say(Question(stock.sheet.name, 1, column.label, "", problem, column.parser.words, ASK))
        stock.unusable |= dict.fromkeys(range(len(stock)), problem)
        return
    for at, kind in enumerate(stock.values("place_kind")):
        if kind is None:
            stock.doubt(at, "place_kind", CellDoubt("blank: free or not?", column.parser.words))


def check_repeated_stock(stock: SheetReading) -> None:
    """Note a stock row that equals another in every cell; both are counted."""
    first: dict[tuple[object, ...], int] = {}
    for at, cells in enumerate(zip(*map(stock.values, stock.sheet.by_field), strict=True)):
        original = first.setdefault(cells, at)
        if original != at:
            problem = f"row {stock.rows[at]} equals row {stock.rows[original]}; both are counted"
            stock.note_row(at, str(cells[0]), CellDoubt(problem, "drop one if it was copied", NOTE))
