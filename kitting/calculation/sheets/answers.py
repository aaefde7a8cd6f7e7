"""Answers to earlier questions, put into the received text before it is read."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace

import pandas as pd

from kitting.calculation.questions import NOTE, Question
from kitting.calculation.sheets.all_sheets import ANSWERS, SHEETS
from kitting.calculation.sheets.columns import Column, Sheet
from kitting.calculation.sheets.headers import find_column, place_columns
from kitting.calculation.sheets.parsers import plain
from kitting.calculation.sheets.raw import RawSheet, trimmed

BLANK = "(blank)"
WHOLE_ROW = "row"
KEEP, DROP = "keep", "drop"
_ROW_KEY = re.compile(r"row\s+([0-9]{1,9})", re.IGNORECASE)
_BARE_NUMBER = re.compile(r"[0-9./ ]+")


@dataclass(frozen=True, slots=True)
class RowAnswer:
    """An answer that keeps or drops a whole row; ``at`` is its own row on the answers sheet."""

    at: int
    answer: Mapping[str, str]
    sheet: str
    row: int
    drops: bool


@dataclass(frozen=True, slots=True)
class Answered:
    """The sheets with the answers put in.

    Args:
        sheets: the sheets as they now read, by name.
        rows: answers about whole rows, to be settled once it is known which rows are in doubt.
        kept: numbers of the rows that an answer keeps, by sheet.
        used: the answers used, each with its row on the answers sheet, in that order of use.
        notes: what is said about the answers not used.
    """

    sheets: Mapping[str, RawSheet]
    rows: tuple[RowAnswer, ...] = ()
    kept: Mapping[str, frozenset[int]] = field(default_factory=dict)
    used: tuple[Mapping[str, str], ...] = ()
    notes: tuple[Question, ...] = ()


class _NotUsed(Exception):  # noqa: N818 - it ends in a note, not in a failure
    """An answer that can't be used; the message says why, ``column`` on which cell of the answer that shows."""

    def __init__(self, column: str, problem: str, suggestion: str = "") -> None:
        super().__init__(problem)
        self.column, self.problem, self.suggestion = column, problem, suggestion


def apply_answers(sheets: Mapping[str, RawSheet]) -> Answered:
    """Put every answer that still holds into its cell, in the order in which they were given.

    An answer holds only while the cell reads what it read when the answer was given; any other is left out with a note.
    Without a name or a day it is not used at all. Answers about whole rows are only found, see ``settle_rows``.
    """
    if ANSWERS.name not in sheets:
        return Answered(sheets)
    tables: dict[str, _Table] = {}
    rows, used, notes = [], [], []
    for at, answer in sorted(_answers(sheets[ANSWERS.name]), key=lambda one: (one[1]["on"], one[0])):
        if not all(answer[name] for name in ("sheet", "key", "column", "value", "by", "on")):
            continue  # reading the answers sheet asks about the blank cell
        try:
            table = _table(answer, sheets, tables)
            if answer["column"].casefold() == WHOLE_ROW:
                rows.append(_row_answer(at, answer, table))
            else:
                _write(answer, table)
                used.append(answer)
        except _NotUsed as no:
            notes.append(_note(at, answer, no))
    answered = {name: table.sheet() for name, table in tables.items()}
    return Answered({**sheets, **answered}, tuple(rows), {}, tuple(used), tuple(notes))


def settle_rows(answered: Answered, questions: Iterable[Question]) -> Answered:
    """Keep or drop the rows that answers speak of, as far as those rows are in doubt.

    Args:
        answered: what ``apply_answers`` gave.
        questions: what reading the sheets asks before any row is kept or dropped.
    """
    doubts: dict[tuple[str, int], list[Question]] = defaultdict(list)
    for question in questions:
        if question.severity != NOTE:
            doubts[question.sheet, question.row].append(question)
    kept: dict[str, frozenset[int]] = {}
    dropped: dict[str, set[int]] = defaultdict(set)
    used, notes = list(answered.used), list(answered.notes)
    for one in answered.rows:
        try:
            _check_row_answer(one, doubts[one.sheet, one.row])
        except _NotUsed as no:
            notes.append(_note(one.at, one.answer, no))
            continue
        used.append(one.answer)
        if one.drops:
            dropped[one.sheet].add(one.row)
        else:
            kept[one.sheet] = kept.get(one.sheet, frozenset()) | {one.row}
    left = {name: _without(answered.sheets[name], rows) for name, rows in dropped.items()}
    return Answered({**answered.sheets, **left}, (), kept, tuple(used), tuple(notes))


def _check_row_answer(one: RowAnswer, doubts: Sequence[Question]) -> None:
    read = "" if one.answer["read"] == BLANK else one.answer["read"]
    whole = [doubt for doubt in doubts if doubt.column in {WHOLE_ROW, ""}]
    if read and read not in {doubt.read for doubt in whole}:
        raise _NotUsed("read", "no question about the row reads so now")
    if not (doubts if one.drops else whole):
        raise _NotUsed("key", "the row is in no doubt")


def _without(sheet: RawSheet, rows: Set[int]) -> RawSheet:
    notes = tuple(note for note in sheet.notes if note.row not in rows)
    return replace(sheet, cells=sheet.cells.drop(index=list(rows)), notes=notes)


def _note(at: int, answer: Mapping[str, str], no: "_NotUsed") -> Question:
    problem = f"{no.problem}; the answer is not used"
    return Question(ANSWERS.name, at, no.column, answer[no.column], problem, no.suggestion, NOTE)


def _answers(sheet: RawSheet) -> Iterator[tuple[int, dict[str, str]]]:
    placed, _ = place_columns(ANSWERS, sheet)
    for row, cells in zip(sheet.cells.index, sheet.cells.itertuples(index=False, name=None), strict=True):
        answer = {
            column.field: trimmed(cells[placed[column.field].at]) if column.field in placed else ""
            for column in ANSWERS.columns
        }
        if any(answer.values()):
            yield int(row), answer


def _table(answer: Mapping[str, str], sheets: Mapping[str, RawSheet], tables: dict[str, "_Table"]) -> "_Table":
    name = plain(answer["sheet"].replace("_", " ")).casefold()
    if name not in SHEETS or name not in sheets or name == ANSWERS.name:
        raise _NotUsed("sheet", f"there is no sheet {answer['sheet']} to answer")
    if name not in tables:
        tables[name] = _Table(SHEETS[name], sheets[name])
    return tables[name]


def _write(answer: Mapping[str, str], table: "_Table") -> None:
    row = table.row(answer["key"])
    found = find_column(table.declared, answer["column"])
    if found is None:
        raise _NotUsed("column", f"sheet {table.declared.name} has no column {answer['column']}")
    column, unit = found
    now = table.text(row, column)
    if now != ("" if answer["read"] == BLANK else answer["read"]):
        raise _NotUsed("read", f"the cell now reads {now or BLANK}", "answer again if there is still a doubt")
    value = "" if answer["value"] == BLANK else answer["value"]
    table.write(row, column, f"{value} {unit}" if unit and _BARE_NUMBER.fullmatch(value) else value)


def _row_answer(at: int, answer: Mapping[str, str], table: "_Table") -> RowAnswer:
    choice = answer["value"].casefold()
    if choice not in {KEEP, DROP}:
        raise _NotUsed("value", "a row is kept or dropped", f"{KEEP} or {DROP}")
    return RowAnswer(at, answer, table.declared.name, table.row(answer["key"]), drops=choice == DROP)


class _Table:
    """A received sheet whose cells are being changed by answers."""

    def __init__(self, declared: Sheet, raw: RawSheet) -> None:
        self.declared = declared
        self._raw = raw
        self._headers = list(raw.headers)
        self._cells = raw.cells.astype(object)
        self._places = {name: placed.at for name, placed in place_columns(declared, raw)[0].items()}
        self._rows = self._rows_by_key()
        self._written: set[tuple[int, str]] = set()

    def _rows_by_key(self) -> Mapping[str, list[int]]:
        places = [self._places.get(column.field) for column in self.declared.key]
        rows: dict[str, list[int]] = defaultdict(list)
        if places and None not in places:
            keys = zip(*(self._cells[place] for place in places), strict=True)
            for row, key in zip(self._cells.index, keys, strict=True):
                rows["/".join(plain(trimmed(text)) for text in key)].append(int(row))
        return rows

    def row(self, key: str) -> int:
        """Row number of the one row that a key means; ``row 7`` means that row whatever its key."""
        by_number = _ROW_KEY.fullmatch(key)
        rows = self._rows.get(plain(key), [])
        if by_number is not None and not rows:
            rows = [int(by_number[1])]
        rows = [row for row in rows if row in self._cells.index]
        if not rows:
            raise _NotUsed("key", f"sheet {self.declared.name} has no row {key}")
        if len(rows) > 1:
            raise _NotUsed("key", f"{key} stands in rows {' and '.join(map(str, rows))}", f"row {rows[-1]}?")
        return rows[0]

    def text(self, row: int, column: Column) -> str:
        """Trimmed text of a cell; blank where the sheet lacks the column."""
        place = self._places.get(column.field)
        return "" if place is None else trimmed(str(self._cells.at[row, place]))

    def write(self, row: int, column: Column, text: str) -> None:
        """Put text into a cell; a column that the sheet lacks is added."""
        if column.field not in self._places:
            self._places[column.field] = len(self._headers)
            self._headers.append(column.label)
            self._cells[len(self._headers) - 1] = pd.Series("", index=self._cells.index, dtype=object)
        self._cells.at[row, self._places[column.field]] = text
        self._written.add((row, column.field))

    def sheet(self) -> RawSheet:
        """The sheet as it now reads; what the file reader asked about a cell that was written is answered."""
        notes = tuple(note for note in self._raw.notes if note.severity == NOTE or not self._is_written(note))
        return replace(self._raw, headers=tuple(self._headers), cells=self._cells, notes=notes)

    def _is_written(self, note: Question) -> bool:
        found = find_column(self.declared, note.column)
        return found is not None and (note.row, found[0].field) in self._written
