"""The questions as a workbook: a list of all, and the sheets they are about with the doubtful cells marked."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.worksheet import Worksheet

from kitting.calculation.questions import NOTE, Question
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.headers import find_column
from kitting.calculation.sheets.raw import RawBook, RawSheet
from kitting.spreadsheets.cell_text import LONGEST_TEXT
from kitting.spreadsheets.raw_writing import declared_parsers, typed_value
from kitting.spreadsheets.workbook_files import CellValue, refuse_what_no_workbook_holds, save_workbook, typed_cell

MOST_ROWS_COPIED = 5_000
MOST_COMMENTS = 1_000  # on one sheet; the message stands in the last column as well
MOST_LISTED = 50_000
_INDEX = "questions"
_INDEX_WIDTHS = {
    "sheet": 16,
    "row": 7,
    "column": 18,
    "cell": 8,
    "read": 24,
    "problem": 60,
    "suggestion": 44,
    "severity": 9,
}
_BOLD, _TOP = Font(bold=True), Alignment(vertical="top", wrap_text=True)
_THICK = Side(style="thick", color="000000")
_MARKED_BORDER = Border(left=_THICK, right=_THICK, top=_THICK, bottom=_THICK)  # seen in a grey print too
_MARKED_FILL = PatternFill("solid", start_color="FFF2CC")
_ROW_HEADER, _DOUBT_HEADER = "row in your sheet", "doubts in this row"

Doubts = Mapping[int, Sequence[Question]]
"""Questions by row number."""


def write_questions_workbook(path: Path, raw: RawBook, questions: Iterable[Question]) -> None:
    """Write the list of questions, and a copy of each sheet that has doubtful rows.

    A sheet of up to 5,000 rows is copied whole, every row under its own number. Of a longer one only the rows with
    doubts are copied, with their number in the first column. Doubtful cells have a thick border, a fill and a comment,
    and the last column says what the doubts are. Notes are listed only.

    Raises:
        Refusal: ``sheet-name``.
    """
    listed = list(questions)
    doubts = _doubts_by_sheet(raw, listed)
    copies = {name: _Copy(raw.sheets[name], by_row) for name, by_row in doubts.items()}
    for name in copies:
        refuse_what_no_workbook_holds(name, ())
    workbook = Workbook(write_only=True)
    _write_index(workbook.create_sheet(_INDEX), listed, copies)
    for name, copy in copies.items():
        copy.write(workbook.create_sheet(name))
    save_workbook(workbook, path)


def _doubts_by_sheet(raw: RawBook, questions: Iterable[Question]) -> dict[str, Doubts]:
    doubts: dict[str, dict[int, list[Question]]] = defaultdict(lambda: defaultdict(list))
    present = {name: frozenset(sheet.cells.index) for name, sheet in raw.sheets.items()}
    for question in questions:
        if question.severity != NOTE and question.row in present.get(question.sheet, ()):
            doubts[question.sheet][question.row].append(question)
    return {name: doubts[name] for name in raw.sheets if name in doubts and name != _INDEX}


class _Copy:
    """The copy of one sheet: which rows it has, where each stands, and what is said about it."""

    def __init__(self, sheet: RawSheet, doubts: Doubts) -> None:
        self._sheet, self._doubts = sheet, doubts
        self._is_whole = len(sheet.cells) <= MOST_ROWS_COPIED
        rows = sorted(sheet.cells.index) if self._is_whole else sorted(doubts)[:MOST_ROWS_COPIED]
        self._place = {row: row if self._is_whole else at for at, row in enumerate(rows, start=2)}
        self._shift = 0 if self._is_whole else 1
        self._columns = _columns_by_label(sheet)
        self._parsers = declared_parsers(sheet)
        self._elsewhere = -self._shift  # a question about a whole row marks the cell with its number, or the first
        self._comments = 0

    def cell_name(self, question: Question) -> str:
        """Where the question's cell stands in the copy; blank if it is not there."""
        place = self._place.get(question.row) if question.row in self._doubts else None
        if place is None:
            return ""
        at = self._columns.get(question.column, self._elsewhere)
        return f"{get_column_letter(at + self._shift + 1)}{place}"

    def write(self, target: Worksheet) -> None:
        """Write header and rows, each row in its place."""
        target.freeze_panes = "A2"
        headers = [_ROW_HEADER] * self._shift + [*self._sheet.headers, _DOUBT_HEADER]
        target.column_dimensions[get_column_letter(len(headers))].width = 70
        target.append([_styled(typed_cell(target, header), font=_BOLD) for header in headers])
        written = 1
        for row, place in self._place.items():
            for _ in range(place - written - 1):
                target.append([])
            target.append(list(self._cells(target, row)))
            written = place

    def _cells(self, target: Worksheet, row: int) -> Iterator[Cell]:
        by_column: dict[int, list[Question]] = defaultdict(list)
        for question in self._doubts.get(row, ()):
            by_column[self._columns.get(question.column, self._elsewhere)].append(question)
        if self._shift:
            yield self._marked(typed_cell(target, row), by_column.get(-1, ()))
        for at, text in enumerate(self._sheet.cells.loc[row]):
            value: CellValue = text if at in by_column else typed_value(text, self._parsers[at])
            yield self._marked(typed_cell(target, value), by_column.get(at, ()))
        said = [f"► {_sentence(question)}" for several in by_column.values() for question in several]
        yield _styled(typed_cell(target, "\n".join(said)[:LONGEST_TEXT]), font=_BOLD)

    def _marked(self, cell: Cell, questions: Sequence[Question]) -> Cell:
        if questions:
            cell.fill, cell.border = _MARKED_FILL, _MARKED_BORDER
            self._comments += 1
            if self._comments <= MOST_COMMENTS:
                cell.comment = Comment("\n".join(map(_sentence, questions)), "", width=320, height=120)
        return cell


def _columns_by_label(sheet: RawSheet) -> dict[str, int]:
    """Place of each column by its header, its declared label and its letters: a question may name it by any of them."""
    declared = SHEETS.get(sheet.name)
    places: dict[str, int] = {}
    for at, header in enumerate(sheet.headers):
        found = find_column(declared, header) if declared else None
        for label in (found[0].label if found else header, header):
            places.setdefault(label, at)
    return {get_column_letter(at + 1): at for at in range(len(sheet.headers))} | places


def _sentence(question: Question) -> str:
    end = f"; {question.suggestion}" if question.suggestion else ""
    return f"{question.column}: {question.problem}{end}"


def _styled(cell: Cell, font: Font | None = None) -> Cell:
    cell.alignment = _TOP
    if font is not None:
        cell.font = font
    return cell


def _write_index(target: Worksheet, questions: Sequence[Question], copies: Mapping[str, _Copy]) -> None:
    target.freeze_panes = "A2"
    for at, width in enumerate(_INDEX_WIDTHS.values(), start=1):
        target.column_dimensions[get_column_letter(at)].width = width
    target.append([_styled(typed_cell(target, title), font=_BOLD) for title in _INDEX_WIDTHS])
    for place, question in enumerate(questions[:MOST_LISTED], start=2):
        target.append(_index_row(target, place, question, copies.get(question.sheet)))
    if len(questions) > MOST_LISTED:
        rest = len(questions) - MOST_LISTED
        target.append([typed_cell(target, f"{rest:,} more questions stand in questions.csv only")])


def _index_row(target: Worksheet, place: int, question: Question, copy: _Copy | None) -> list[Cell]:
    name = copy.cell_name(question) if copy else ""
    link = typed_cell(target, name)
    if name:
        reference = f"{get_column_letter(list(_INDEX_WIDTHS).index('cell') + 1)}{place}"
        link.hyperlink = Hyperlink(ref=reference, location=f"'{question.sheet}'!{name}")
        link.font = Font(underline="single")
    values = (question.read, question.problem, question.suggestion, question.severity)
    before = (question.sheet, question.row or None, question.column)
    return [
        *(_styled(typed_cell(target, value)) for value in before),
        link,
        *(_styled(typed_cell(target, value)) for value in values),
    ]
