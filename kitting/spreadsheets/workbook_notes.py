"""What is said about a sheet of a workbook beside its values: they are read all the same, and the person is told."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

from openpyxl.utils import get_column_letter

from kitting.calculation.questions import ASK, NOTE, Question
from kitting.calculation.sheets.raw import RawSheet
from kitting.spreadsheets.sheet_frames import few_or_one
from kitting.spreadsheets.workbook_traces import SheetTraces


@dataclass(frozen=True, slots=True)
class Rectangle:
    """Merged cells: first and last row and column, counted from 0."""

    top: int
    left: int
    bottom: int
    right: int

    def __str__(self) -> str:
        first = f"{get_column_letter(self.left + 1)}{self.top + 1}"
        return f"{first}:{get_column_letter(self.right + 1)}{self.bottom + 1}"


def sheet_notes(
    sheet: RawSheet, traces: SheetTraces | None, *, is_hidden: bool, merged: Iterable[Rectangle]
) -> tuple[Question, ...]:
    """Notes about a hidden sheet, hidden rows and columns, merged cells; questions about formulas without a value."""
    notes: tuple[Question, ...] = ()
    if is_hidden:
        show = "show the sheet, or delete it"
        notes = (Question(sheet.name, 0, "", "", "the sheet is hidden; it was read", show, NOTE),)
    notes += few_or_one(_merged(sheet, merged), "groups of cells are merged")
    if traces is None:
        return notes
    return (
        *notes,
        *few_or_one(_hidden_rows(sheet, traces), "groups of rows are hidden; they were read"),
        *_hidden_columns(sheet, traces),
        *few_or_one(_uncalculated(sheet, traces), "formulas have no saved value"),
    )


def _merged(sheet: RawSheet, merged: Iterable[Rectangle]) -> Iterator[Question]:
    for cells in merged:
        if cells.left < len(sheet.headers):
            problem = f"the cells {cells} are merged: only the first of them holds the text"
            unmerge = "unmerge them and write the text in every cell that it is for"
            yield Question(sheet.name, cells.top + 1, sheet.headers[cells.left], "", problem, unmerge, NOTE)


def _hidden_rows(sheet: RawSheet, traces: SheetTraces) -> Iterator[Question]:
    present = set(sheet.cells.index)
    hidden = sorted(row for row in traces.hidden_rows if row in present)
    for _, group in groupby(enumerate(hidden), key=lambda pair: pair[1] - pair[0]):
        rows = [row for _, row in group]
        several = f"rows {rows[0]} to {rows[-1]} are hidden; they were read"
        problem = several if len(rows) > 1 else f"row {rows[0]} is hidden; it was read"
        yield Question(sheet.name, rows[0], "", "", problem, "show what counts, delete what does not", NOTE)


def _hidden_columns(sheet: RawSheet, traces: SheetTraces) -> Iterator[Question]:
    for column in traces.hidden_columns:
        if column <= len(sheet.headers):
            problem = f"column {get_column_letter(column)} is hidden; it was read"
            header = sheet.headers[column - 1]
            yield Question(sheet.name, 1, header, header, problem, "show the column, or delete it", NOTE)


def _uncalculated(sheet: RawSheet, traces: SheetTraces) -> Iterator[Question]:
    for row, column in traces.uncalculated:
        if column <= len(sheet.headers):
            problem = "holds a formula that was never calculated, so the cell reads blank"
            write = "open the file in the spreadsheet program and save it, or write the value"
            yield Question(sheet.name, row, sheet.headers[column - 1], "", problem, write, ASK)
