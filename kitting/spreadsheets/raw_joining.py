"""Adding rows that were made elsewhere to a sheet as received; the rows of the sheet stand as they are."""

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
    """The base sheet with rows added below.

    Args:
        name: name of a declared sheet.
        base: the sheet as received, if it was.
        rows: rows with all the same headers; where the base has another unit in a header, the added cell names its own.
        numbers: their numbers where the base has no rows; else, or without numbers, they go on from the last row.
    """
    titles = list(rows[0]) if rows else []
    headers = list(base.headers) if base else []
    width = len(headers)
    placed = [_placed(name, headers, title) for title in titles]
    blanks = [""] * len(headers)
    table = [[*cells, *blanks[width:]] for cells in base.cells.itertuples(index=False, name=None)] if base else []
    index = list(base.cells.index) if base else []
    following = count(max(index) + 1) if index else iter(numbers or count(_FIRST_ROW))
    for row, number in zip(rows, following, strict=False):
        cells = blanks.copy()
        for (at, unit), title in zip(placed, titles, strict=True):
            cells[at] = f"{row[title]} {unit}".rstrip() if row[title] else ""
        table.append(cells)
        index.append(number)
    frame = pd.DataFrame(table, index=index, columns=range(len(headers)), dtype=object)
    return RawSheet(name, tuple(headers), frame, base.notes if base else ())


def without_known(name: str, base: RawSheet | None, rows: Iterable[Row]) -> list[Row]:
    """The rows whose key does not stand in the base sheet."""
    if base is None:
        return list(rows)
    known = set(
        zip(*([_folded(text) for text in base.cells[at]] for at in _key_places(name, base.headers)), strict=True)
    )
    return [
        row
        for row in rows
        if tuple(_folded(list(row.values())[at]) for at in _key_places(name, list(row))) not in known
    ]


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


def _folded(text: str) -> str:
    return trimmed(text).casefold()
