"""Adding rows that were made elsewhere to a sheet as received; rows already there stand as they are."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import count

import pandas as pd

from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.headers import find_column
from kitting.calculation.sheets.raw import RawSheet, trimmed

_FIRST_ROW = 2

Row = Mapping[str, str]
"""Text of a row by header."""


def joined_sheet(name: str, base: RawSheet | None, rows: Sequence[Row], numbers: Iterable[int] = ()) -> RawSheet:
    """The base sheet with the rows added below; a row whose key stands in the base already is left out.

    Args:
        name: name of a declared sheet.
        base: the sheet as received, if it was.
        rows: rows with all the same headers.
        numbers: row numbers where the base has no rows; without them, or with such rows, numbers go on from the last.
    """
    titles = list(rows[0]) if rows else []
    headers = list(base.headers) if base else []
    placed = [_placed(name, headers, title) for title in titles]
    padding = [""] * (len(headers) - len(base.headers if base else ()))
    table = [[*cells, *padding] for cells in base.cells.itertuples(index=False, name=None)] if base else []
    index = list(base.cells.index) if base else []
    places = _key_places(name, headers)
    keys = {_key(cells, places) for cells in table}
    following = count(max(index) + 1) if index else iter(numbers or count(_FIRST_ROW))
    for row, number in zip(rows, following, strict=False):
        cells = [""] * len(headers)
        for (at, unit), title in zip(placed, titles, strict=True):
            cells[at] = f"{row[title]} {unit}".rstrip() if row[title] else ""
        if _key(cells, places) not in keys:
            table.append(cells)
            index.append(number)
    frame = pd.DataFrame(table, index=index, columns=range(len(headers)), dtype=object)
    return RawSheet(name, tuple(headers), frame, base.notes if base else ())


def _placed(name: str, headers: list[str], title: str) -> tuple[int, str]:
    """Place of a column among the headers, which grow where it is new, and the unit its cells must name themselves."""
    column, unit = find_column(SHEETS[name], title) or (None, None)
    for at, header in enumerate(headers):
        known, other = find_column(SHEETS[name], header) or (None, None)
        if known is not None and known == column:
            return at, "" if unit == other or unit is None else unit
    headers.append(title)
    return len(headers) - 1, ""


def _key_places(name: str, headers: Sequence[str]) -> list[int]:
    """Places of the key columns among the headers, in the order of their declaration."""
    places: dict[str, int] = {}
    for at, header in enumerate(headers):
        found = find_column(SHEETS[name], header)
        if found:
            places.setdefault(found[0].label, at)
    return [places[column.label] for column in SHEETS[name].key if column.label in places]


def _key(cells: Sequence[str], places: Iterable[int]) -> tuple[str, ...]:
    return tuple(trimmed(cells[at]).casefold() for at in places)
