"""Sheets as they were received: text only, with the row numbers that a person sees."""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from kitting.calculation.questions import Question

_PADDING = " \t\r\n\u00a0\u200b\ufeff"  # with no-break space, zero-width space and byte order mark
_CELL, _LINE, _SHEET = "\x1f", "\x1e", "\x1d"  # ASCII separators: they never stand in a cell
_MOST_CELLS = 14


@dataclass(frozen=True)
class RawSheet:
    """One sheet of text.

    Args:
        name: lower case, words separated by spaces, such as ``cable types``.
        headers: header text as read, one for each column of ``cells``.
        cells: frame of text, ``''`` for blank, columns numbered from 0, index = row number (the header is row 1).
        notes: what the file reader found: hidden rows, merged cells.
    """

    name: str
    headers: tuple[str, ...]
    cells: pd.DataFrame
    notes: tuple[Question, ...] = ()


@dataclass(frozen=True)
class RawBook:
    """All sheets received together, by name, with the digest of their content."""

    sheets: Mapping[str, RawSheet]
    digest: str
    notes: tuple[Question, ...] = ()


def raw_book(sheets: Iterable[RawSheet], notes: tuple[Question, ...] = ()) -> RawBook:
    """Put sheets together into a book and compute its digest."""
    by_name = {sheet.name: sheet for sheet in sheets}
    return RawBook(MappingProxyType(by_name), content_digest(by_name.values()), notes)


def raw_sheet(name: str, headers: Iterable[str], rows: Iterable[Iterable[str]], first_row: int = 2) -> RawSheet:
    """Build a sheet from rows of text; a short row is filled with blanks."""
    titles = tuple(headers)
    table = [(*cells, *[""] * (len(titles) - len(cells))) for cells in map(tuple, rows)]
    index = range(first_row, first_row + len(table))
    cells = pd.DataFrame(table, index=index, columns=range(len(titles)), dtype=object)
    return RawSheet(name, titles, cells)


def trimmed(text: str) -> str:
    """Text without blanks, no-break spaces or invisible marks around it."""
    return text.strip(_PADDING)


def cells_of_row(sheet: RawSheet | None, row: int) -> list[str]:
    """What stands in a row beside a doubtful cell, such as ``run: 2``, without blanks; [] without such a row."""
    if sheet is None or row not in sheet.cells.index:
        return []
    cells = zip(sheet.headers, map(str, sheet.cells.loc[row]), strict=True)
    return [f"{header}: {text}" for header, text in cells if text.strip()][:_MOST_CELLS]


def content_digest(sheets: Iterable[RawSheet]) -> str:
    """SHA-256 (hex) of what the sheets say; the order of sheets, columns and rows, and blank rows, don't matter."""
    whole = hashlib.sha256()
    for sheet in sorted(sheets, key=lambda one: one.name):
        whole.update(_sheet_text(sheet).encode("utf-8", "surrogatepass"))
    return whole.hexdigest()


def _sheet_text(sheet: RawSheet) -> str:
    order = sorted(range(len(sheet.headers)), key=lambda at: (trimmed(sheet.headers[at]), at))
    columns = [_trimmed_column(sheet, at) for at in order]
    rows = sorted(_CELL.join(row) for row in zip(*columns, strict=True) if any(row))
    header = _CELL.join(trimmed(sheet.headers[at]) for at in order)
    return _LINE.join((sheet.name, header, *rows)) + _SHEET


def _trimmed_column(sheet: RawSheet, at: int) -> list[str]:
    codes, distinct = pd.factorize(sheet.cells.iloc[:, at].to_numpy(dtype=object))
    texts = np.array([trimmed(text) for text in distinct], dtype=object)
    return list(texts[codes])
