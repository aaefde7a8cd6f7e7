"""Reading one sheet column by column: each distinct text is parsed once, each doubtful cell gets one question."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from kitting.calculation.doubts import Doubt
from kitting.calculation.questions import NOTE, REFUSE, Missing, Question
from kitting.calculation.sheets.columns import Column, Rows, Sheet
from kitting.calculation.sheets.headers import Placed, column_letters, find_column, place_columns
from kitting.calculation.sheets.parsers import TEXT, CellDoubt, Setting
from kitting.calculation.sheets.raw import RawSheet, trimmed
from kitting.calculation.sheets.trade_parsers import graded

Objects = npt.NDArray[np.object_]

_FORMULA_ERRORS = frozenset(
    {"#N/A", "#REF!", "#VALUE!", "#NAME?", "#DIV/0!", "#NULL!", "#NUM!", "#SPILL!", "#CALC!", "#GETTING_DATA"}
)
_LONGEST = 2_000  # characters of a cell that is not free text
_SHOWN = 60  # characters of a cell that a message repeats


class FormulaError(CellDoubt):
    """A formula that failed: the file holds its error text in place of a value."""

    def __init__(self) -> None:
        super().__init__("a formula error", "the value itself", REFUSE)


@dataclass(frozen=True, slots=True)
class Cells:
    """One column of a sheet: parsed values and trimmed texts."""

    values: Objects
    texts: Objects


@dataclass(frozen=True, slots=True)
class _Texts:
    """The distinct texts of a column, and for each row which of them it holds."""

    codes: npt.NDArray[np.intp]
    distinct: Objects


class SheetReading:
    """One sheet while it is being read: parsed values by field, and the questions so far.

    ``rows`` holds the row numbers that a person sees. Checks call ``doubt`` for a cell and ``doubt_row`` for a row;
    a cell keeps its first question. ``kept`` are the rows that an answer keeps whatever is asked about the whole row.
    """

    def __init__(
        self, sheet: Sheet, raw: RawSheet | None, setting: Setting, kept: frozenset[int] = frozenset()
    ) -> None:
        self.sheet = sheet
        self.given = raw is not None
        self._kept = kept
        self.placed: dict[str, Placed] = {}
        self._questions: dict[tuple[int, str], Question] = {}
        self._loose: list[Question] = []
        self.unusable: dict[int, str] = {}
        self._in_doubt: dict[str, set[int]] = {column.field: set() for column in sheet.columns}
        self.rows: npt.NDArray[np.int64] = np.empty(0, dtype=np.int64)
        texts: dict[str, _Texts] = {}
        if raw is not None:
            self.placed, unplaced = place_columns(sheet, raw)
            self._loose += unplaced
            self.rows, texts = _distinct_texts(raw, self.placed)
        self._columns = {column.field: self._read(column, texts.get(column.field), setting) for column in sheet.columns}
        for note in raw.notes if raw is not None else ():
            self._take_note(note)

    def __len__(self) -> int:
        return len(self.rows)

    def values(self, field: str) -> Objects:
        """Parsed values of a column; None is blank, Missing is in doubt."""
        return self._columns[field].values

    def texts(self, field: str) -> Objects:
        """Trimmed texts of a column as read."""
        return self._columns[field].texts

    def questions(self) -> Iterator[Question]:
        """All questions so far, in no order."""
        yield from self._questions.values()
        yield from self._loose

    def missing_columns(self) -> tuple[str, ...]:
        """Labels of required columns that the sheet does not have."""
        needed = (column for column in self.sheet.columns if column.required)
        return tuple(column.label for column in needed if column.field not in self.placed)

    def doubt(self, at: int, field: str, doubt: Doubt, *also: str) -> None:
        """Ask about the cell of a column in the row at place ``at``; unless it is a note, its value is not used.

        ``also`` names other columns of the row whose values are in doubt with it.
        """
        column, text = self.sheet.by_field[field], str(self.texts(field)[at])
        told = graded(doubt)
        self._ask(at, column.label, text, told)
        if told.severity != NOTE:
            for name in (field, *also):
                self._put(at, name, missing(self.sheet, self.sheet.by_field[name], text, told))

    def doubt_row(self, at: int, read: str, doubt: CellDoubt) -> None:
        """Ask about a whole row; it is not used until an answer keeps it."""
        if int(self.rows[at]) not in self._kept:
            self.refuse_row(at, read, doubt)

    def note_row(self, at: int, read: str, doubt: CellDoubt) -> None:
        """Say something about a whole row that is used all the same."""
        self._ask(at, "row", read, doubt)

    def refuse_row(self, at: int, read: str, doubt: CellDoubt) -> None:
        """Ask about a whole row that no answer can keep as it is."""
        self._ask(at, "row", read, doubt)
        self.unusable.setdefault(at, doubt.problem)

    def say(self, question: Question) -> None:
        """Add a question about the sheet as a whole."""
        self._loose.append(question)

    def void(self, at: int, field: str, why: str) -> None:
        """Put a cell in doubt that another row's question speaks of."""
        column = self.sheet.by_field[field]
        self._put(at, field, Missing(column.label, why, self.sheet.name, column.label, asked=True))

    def mark_unusable(self) -> None:
        """Mark the rows that a doubtful cell makes useless."""
        for field in self._deciding():
            for at in sorted(self._in_doubt[field]):
                self.unusable.setdefault(at, self._why(at, field))

    def frame(self) -> pd.DataFrame:
        """The parsed rows as a frame of objects, with the row numbers in ``row``.

        Rows that can't be used are left out or, where the sheet marks them, kept with ``usable`` and ``unusable_why``.
        """
        cells = np.column_stack([column.values for column in self._columns.values()])
        frame = pd.DataFrame(cells, columns=list(self._columns), dtype=object).assign(row=self.rows)
        self.mark_unusable()
        usable = np.ones(len(self), dtype=bool)
        usable[list(self.unusable)] = False
        if self.sheet.rows is Rows.MARKED:
            why = [self.unusable.get(at, "") for at in range(len(self))]
            return frame.assign(usable=usable, unusable_why=pd.Series(why, dtype=object))
        return frame[usable].reset_index(drop=True)

    def _why(self, at: int, field: str) -> str:
        column = self.sheet.by_field[field]
        question = self._questions.get((int(self.rows[at]), column.label))
        return f"{column.label} {question.read}: {question.problem}" if question else f"{column.label} is in doubt"

    def _deciding(self) -> tuple[str, ...]:
        """Fields whose doubt drops the row."""
        rows = self.sheet.rows
        return tuple(
            column.field
            for column in self.sheet.columns
            if rows is Rows.WHOLE or column.key or (column.required and rows is not Rows.KEPT)
        )

    def _read(self, column: Column, texts: _Texts | None, setting: Setting) -> Cells:
        if texts is None:
            return Cells(np.full(len(self), column.blank, dtype=object), np.full(len(self), "", dtype=object))
        placed = self.placed[column.field]
        known = np.empty(len(texts.distinct), dtype=object)
        doubts: dict[int, CellDoubt] = {}
        for code, text in enumerate(texts.distinct):
            try:
                known[code] = _parsed(column, text, Setting(placed.unit, setting.date_order))
            except Doubt as doubt:
                doubts[code] = graded(doubt)
                known[code] = missing(self.sheet, column, text, doubts[code])
        for at in np.flatnonzero(np.isin(texts.codes, list(doubts))) if doubts else ():
            code = int(texts.codes[at])
            self._in_doubt[column.field].add(int(at))
            self._ask(int(at), column.label, texts.distinct[code], doubts[code], placed.at)
        return Cells(known[texts.codes], texts.distinct[texts.codes])

    def _put(self, at: int, field: str, fact: Missing) -> None:
        self._columns[field].values[at] = fact
        self._in_doubt[field].add(at)

    def _take_note(self, note: Question) -> None:
        """Take a note of the file reader; what it asks about is in doubt, unless an answer has filled the cell."""
        at = int(np.searchsorted(self.rows, note.row))
        if note.severity == NOTE or at == len(self) or self.rows[at] != note.row:
            self._loose.append(note)
            return
        doubt = CellDoubt(note.problem, note.suggestion, note.severity)
        found = find_column(self.sheet, note.column)
        if found is None:
            self.doubt_row(at, note.read, doubt)
        elif self.texts(found[0].field)[at] == note.read:
            self.doubt(at, found[0].field, doubt)

    def _ask(self, at: int, label: str, text: str, doubt: CellDoubt, column_at: int | None = None) -> None:
        row = int(self.rows[at])
        problem = doubt.problem
        if isinstance(doubt, FormulaError) and column_at is not None:
            problem = f"{problem} in cell {column_letters(column_at)}{row}"
        question = Question(self.sheet.name, row, label, text, problem, doubt.suggestion, doubt.severity)
        standing = self._questions.get((row, label))
        if standing is None or (standing.severity == NOTE and doubt.severity != NOTE):
            self._questions[row, label] = question


def is_formula_error(text: str) -> bool:
    """Whether a cell's text is what a spreadsheet shows where a formula failed."""
    return text.upper() in _FORMULA_ERRORS


def _parsed(column: Column, text: str, setting: Setting) -> object:
    if not text:
        if column.required:
            raise CellDoubt("blank, and it must be given", column.parser.words, REFUSE)
        return column.blank
    if is_formula_error(text):
        raise FormulaError
    if len(text) > _LONGEST and column.parser is not TEXT:
        raise CellDoubt("is too long for this column", "", REFUSE)
    value = column.parser.read(text, setting)
    if column.rule is not None and not column.rule(value):
        raise CellDoubt(column.message, "", REFUSE)
    return value


def missing(sheet: Sheet, column: Column, text: str, doubt: CellDoubt) -> Missing:
    """What stands in the frame for a doubtful cell; equal for equal text, whatever the row."""
    shown = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"
    why = f"the cell reads {shown} and is in doubt" if text else "the cell is blank"
    return Missing(column.label, why, sheet.name, column.label, asked=True, options=doubt.options)


def _distinct_texts(raw: RawSheet, placed: dict[str, Placed]) -> tuple[npt.NDArray[np.int64], dict[str, _Texts]]:
    """Row numbers in rising order and the distinct trimmed texts by field, without rows that are blank throughout."""
    cells = raw.cells.to_numpy(dtype=object)
    order = np.argsort(raw.cells.index.to_numpy(dtype=np.int64), kind="stable")
    filled = np.zeros(len(order), dtype=bool)
    found = {}
    for field, place in placed.items():
        codes, uniques = pd.factorize(cells[order, place.at])
        distinct = np.array([trimmed(text) for text in uniques], dtype=object)
        found[field] = _Texts(codes, distinct)
        filled |= (distinct != "")[codes] if len(distinct) else False
    rows = raw.cells.index.to_numpy(dtype=np.int64)[order][filled]
    return rows, {field: _Texts(texts.codes[filled], texts.distinct) for field, texts in found.items()}
