"""From columns of text to a sheet: header row, row numbers as a person sees them, and what must be said about both."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from openpyxl.utils import get_column_letter

from kitting.calculation.questions import NOTE, Question
from kitting.calculation.sheets.raw import RawSheet
from kitting.errors import Refusal
from kitting.spreadsheets.cell_text import LONGEST_TEXT

MOST_ROWS = 1_100_000
MOST_COLUMNS = 400
MOST_NOTES = 50  # of one sort on one sheet; more are said in one sentence

_FIRST_ROWS = 20  # rows with text among which a header is looked for
Codes = NDArray[np.int32]
FirstRows = Sequence[tuple[int, tuple[str, ...]]]
"""The first rows of a sheet that hold text, each with its number."""
HeaderRow = Callable[[str, FirstRows], int]
"""Says which row is the header, from the sheet's name and its first rows."""


@dataclass(frozen=True, slots=True)
class TextColumns:
    """Columns of one sheet from its first row on: distinct texts, and for every row the number of its text."""

    file: str
    name: str
    codes: Sequence[Codes]
    texts: Sequence[Sequence[str]]


def sheet_name(text: str) -> str:
    """Name of a sheet as declared: lower case, words separated by one space."""
    return " ".join(text.replace("_", " ").replace("-", " ").lower().split())


def sheet_from_columns(columns: TextColumns, header_row: HeaderRow | None = None) -> RawSheet | None:
    """The sheet, or None when no cell holds anything. The first row with text is the header unless another is named.

    Raises:
        Refusal: ``too-many-rows``, ``too-many-columns``, ``giant-text``.
    """
    _refuse_giants(columns)
    filled = [_is_filled(texts)[codes] for texts, codes in zip(columns.texts, columns.codes, strict=True)]
    width = max((at + 1 for at, cells in enumerate(filled) if cells.any()), default=0)
    if not width:
        return None
    rows = np.flatnonzero(np.logical_or.reduce(filled[:width]))
    _refuse_limits(columns, int(rows[-1]) + 1, width)
    table = np.empty((len(rows), width), dtype=object)
    for at in range(width):
        table[:, at] = np.array(columns.texts[at], dtype=object)[columns.codes[at][rows]]
    name = sheet_name(columns.name)
    head = 0
    if header_row is not None:
        first = [(int(row) + 1, tuple(table[at])) for at, row in enumerate(rows[:_FIRST_ROWS])]
        head = [row for row, _ in first].index(header_row(name, first))
    cells = pd.DataFrame(table[head + 1 :], index=rows[head + 1 :] + 1, columns=range(width), dtype=object)
    notes = _header_row_note(name, int(rows[head]) + 1, above=head)
    return RawSheet(name, tuple(table[head]), cells, notes)


def few_or_one(notes: Iterable[Question], problem: str) -> tuple[Question, ...]:
    """The notes; where they are too many to read, the first of them with their number and the problem in general."""
    several = tuple(notes)
    if len(several) <= MOST_NOTES:
        return several
    first = several[0]
    said = f"{len(several):,} {problem}, the first in row {first.row}"
    return (Question(first.sheet, first.row, first.column, first.read, said, first.suggestion, first.severity),)


def _is_filled(texts: Sequence[str]) -> NDArray[np.bool_]:
    return np.array([bool(text) for text in texts], dtype=np.bool_)


def _refuse_giants(columns: TextColumns) -> None:
    for at, texts in enumerate(columns.texts):
        code = next((code for code, text in enumerate(texts) if len(text) > LONGEST_TEXT), None)
        if code is not None:
            row = int(np.flatnonzero(columns.codes[at] == code)[0]) + 1
            raise _refusal(
                columns,
                "giant-text",
                f"cell {get_column_letter(at + 1)}{row} holds {len(texts[code]):,} characters; "
                f"a cell takes at most {LONGEST_TEXT:,}",
            )


def _refuse_limits(columns: TextColumns, height: int, width: int) -> None:
    if height > MOST_ROWS:
        raise _refusal(columns, "too-many-rows", f"has {height:,} rows; at most {MOST_ROWS:,} are read")
    if width > MOST_COLUMNS:
        raise _refusal(columns, "too-many-columns", f"has {width:,} columns; at most {MOST_COLUMNS} are read")


def _refusal(columns: TextColumns, code: str, what: str) -> Refusal:
    data = {"file": columns.file, "sheet": columns.name}
    return Refusal(code, f"{columns.file}, sheet {columns.name}: {what}.", data)


def _header_row_note(name: str, row: int, *, above: int) -> tuple[Question, ...]:
    if row == 1:
        return ()
    if above:
        problem = f"row {row} is the header; what stands above it is not read"
        return (Question(name, row, "", "", problem, "", NOTE),)
    problem = f"the rows above row {row} are blank, so row {row} is taken for the header"
    return (Question(name, row, "", "", problem, "start the sheet with its header", NOTE),)
