"""Answers to earlier questions, put into the received text before it is read."""

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

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
class Answered:
    """The sheets with the answers put in, the rows that an answer keeps, the answers used, and notes on the others."""

    sheets: dict[str, RawSheet]
    kept: dict[str, frozenset[int]] = field(default_factory=lambda: defaultdict(frozenset))
    used: list[Mapping[str, str]] = field(default_factory=list)
    notes: list[Question] = field(default_factory=list)


class _NotUsed(Exception):  # noqa: N818 - it ends in a note, not in a failure
    """An answer that can't be used; the message says why, ``column`` on which cell of the answer that shows."""

    def __init__(self, column: str, problem: str, suggestion: str = "") -> None:
        super().__init__(problem)
        self.column, self.problem, self.suggestion = column, problem, suggestion


def apply_answers(sheets: Mapping[str, RawSheet]) -> Answered:
    """Put every answer that still holds into its cell, in the order in which they were given.

    An answer holds only while the cell reads what it read when the answer was given; any other is left out with a note.
    Without a name or a day it is not used at all.
    """
    answered = Answered(dict(sheets))
    if ANSWERS.name not in sheets:
        return answered
    tables: dict[str, _Table] = {}
    for row, answer in sorted(_answers(sheets[ANSWERS.name]), key=lambda one: (one[1]["on"], one[0])):
        if not all(answer[name] for name in ("sheet", "key", "column", "value", "by", "on")):
            continue  # reading the answers sheet asks about the blank cell
        try:
            _apply(answer, answered, tables)
        except _NotUsed as no:
            read = answer[no.column]
            problem = f"{no.problem}; the answer is not used"
            answered.notes.append(Question(ANSWERS.name, row, no.column, read, problem, no.suggestion, NOTE))
        else:
            answered.used.append(answer)
    for name, table in tables.items():
        answered.sheets[name] = table.sheet()
    return answered


def _answers(sheet: RawSheet) -> Iterator[tuple[int, dict[str, str]]]:
    placed, _ = place_columns(ANSWERS, sheet)
    for row, cells in zip(sheet.cells.index, sheet.cells.itertuples(index=False, name=None), strict=True):
        answer = {
            column.field: trimmed(cells[placed[column.field].at]) if column.field in placed else ""
            for column in ANSWERS.columns
        }
        if any(answer.values()):
            yield int(row), answer


def _apply(answer: Mapping[str, str], answered: Answered, tables: dict[str, "_Table"]) -> None:
    name = plain(answer["sheet"].replace("_", " ")).casefold()
    if name not in SHEETS or name not in answered.sheets or name == ANSWERS.name:
        raise _NotUsed("sheet", f"there is no sheet {answer['sheet']} to answer")
    table = tables.setdefault(name, _Table(SHEETS[name], answered.sheets[name]))
    row = table.row(answer["key"])
    if answer["column"].casefold() == WHOLE_ROW:
        _keep_or_drop(answer, table, row, answered)
        return
    found = find_column(table.declared, answer["column"])
    if found is None:
        raise _NotUsed("column", f"sheet {name} has no column {answer['column']}")
    column, unit = found
    now = table.text(row, column)
    if now != ("" if answer["read"] == BLANK else answer["read"]):
        raise _NotUsed("read", f"the cell now reads {now or BLANK}", "answer again if there is still a doubt")
    value = "" if answer["value"] == BLANK else answer["value"]
    table.write(row, column, f"{value} {unit}" if unit and _BARE_NUMBER.fullmatch(value) else value)


def _keep_or_drop(answer: Mapping[str, str], table: "_Table", row: int, answered: Answered) -> None:
    choice = answer["value"].casefold()
    if choice == KEEP:
        answered.kept[table.declared.name] |= {row}
    elif choice == DROP:
        table.drop(row)
    else:
        raise _NotUsed("value", "a row is kept or dropped", f"{KEEP} or {DROP}")


class _Table:
    """A received sheet whose cells are being changed by answers."""

    def __init__(self, declared: Sheet, raw: RawSheet) -> None:
        self.declared = declared
        self._raw = raw
        self._headers = list(raw.headers)
        self._cells = raw.cells.astype(object)
        self._places = {name: placed.at for name, placed in place_columns(declared, raw)[0].items()}
        self._rows = self._rows_by_key()
        self._dropped: set[int] = set()

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

    def drop(self, row: int) -> None:
        """Leave a row out."""
        self._cells = self._cells.drop(index=row)
        self._dropped.add(row)

    def sheet(self) -> RawSheet:
        """The sheet as it now reads."""
        notes = tuple(note for note in self._raw.notes if note.row not in self._dropped)
        return RawSheet(self._raw.name, tuple(self._headers), self._cells, notes)
