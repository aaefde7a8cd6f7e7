"""From received text to facts: the one function that reads all sheets of a book."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd

from kitting.calculation.questions import NOTE, Question
from kitting.calculation.sheets.all_sheets import RULES, SHEETS
from kitting.calculation.sheets.answers import Answered, apply_answers, settle_rows
from kitting.calculation.sheets.cross_checks import cross_check
from kitting.calculation.sheets.parsers import Setting
from kitting.calculation.sheets.policies import Policies, read_policies
from kitting.calculation.sheets.raw import RawBook, RawSheet, trimmed
from kitting.calculation.sheets.reading import SheetReading, is_formula_error
from kitting.calculation.sheets.stock_sheets import HOLD
from kitting.errors import Refusal


@dataclass(frozen=True)
class Book:
    """All facts of a planning book, with every doubt of reading.

    Args:
        frames: one frame a declared sheet, object columns named by field, and the int column ``row``. A cell is the
            value, None for blank, or a Missing where the cell is in doubt. The schedule keeps rows that can't be used,
            with bool ``usable`` and text ``unusable_why``; stock has bool ``held`` for pieces in a place of kind hold.
        policies: the owner's policies.
        rules: text frames of the ``rules ...`` sheets by table name, with the int column ``row``.
        questions: all doubts of reading, sorted.
        answers_used: the answers that settled a cell, as text by column.
        digest: digest of the received content.
    """

    frames: Mapping[str, pd.DataFrame]
    policies: Policies
    rules: Mapping[str, pd.DataFrame]
    questions: tuple[Question, ...]
    answers_used: tuple[Mapping[str, str], ...]
    digest: str


def read_book(raw: RawBook) -> Book:
    """Read all sheets: answers first, then policies, then every cell and every sense check.

    Raises:
        Refusal: a required sheet or column is missing (all missing ones are named), two sheets have one name, or a
            rule sheet has cells that failed.
    """
    answered = apply_answers(_by_name(raw))
    policies, readings = _read_all(answered)
    if answered.rows:
        answered = settle_rows(answered, _questions(readings))
        policies, readings = _read_all(answered)
    sheets = answered.sheets
    rules = {name.removeprefix(RULES): sheet for name, sheet in sheets.items() if name.startswith(RULES)}
    _require_sound_rules(rules.values())
    frames = {name: reading.frame() for name, reading in readings.items()}
    frames["stock"] = frames["stock"].assign(held=frames["stock"]["place_kind"] == HOLD)
    questions = set(_questions(readings))
    questions.update(raw.notes, answered.notes, _unused_sheets(sheets))
    questions.update(note for name, sheet in sheets.items() if name not in SHEETS for note in sheet.notes)
    return Book(
        frames=MappingProxyType(frames),
        policies=policies,
        rules=MappingProxyType({table: _text_frame(sheet) for table, sheet in rules.items()}),
        questions=tuple(sorted(questions)),
        answers_used=answered.used,
        digest=raw.digest,
    )


def _read_all(answered: Answered) -> tuple[Policies, Mapping[str, SheetReading]]:
    """Every declared sheet read and checked, by name; the policies first, because they say how dates are read."""
    given = answered.sheets
    policies_reading = SheetReading(SHEETS["policies"], given.get("policies"), Setting())
    policies = read_policies(policies_reading)
    setting = Setting(date_order=policies.date_order)
    readings = {"policies": policies_reading}
    for name, sheet in SHEETS.items():
        if name not in readings:
            readings[name] = SheetReading(sheet, given.get(name), setting, answered.kept.get(name, frozenset()))
    _require_all(readings)
    cross_check(readings)
    return policies, readings


def _questions(readings: Mapping[str, SheetReading]) -> Iterator[Question]:
    return (question for reading in readings.values() for question in reading.questions())


def _by_name(raw: RawBook) -> dict[str, RawSheet]:
    """The sheets that have headers, by name in lower case with blanks."""
    sheets: dict[str, RawSheet] = {}
    for given, sheet in raw.sheets.items():
        name = " ".join(given.replace("_", " ").split()).casefold()
        if name in sheets:
            raise Refusal("two-sheets-of-one-name", f"two sheets are called {name}; keep one", {"sheet": name})
        if sheet.headers:
            sheets[name] = sheet
    return sheets


def _require_sound_rules(rules: Iterable[RawSheet]) -> None:
    """Refuse a rule sheet with a cell that failed: a blank condition means any, so it can't just be left out."""
    for sheet in rules:
        doubts = [f"row {note.row}, {note.column}: {note.problem}" for note in sheet.notes if note.severity != NOTE]
        for at, header in enumerate(sheet.headers):
            texts = zip(sheet.cells.index, sheet.cells.iloc[:, at], strict=True)
            doubts += [f"row {row}, {header}: {text}" for row, text in texts if is_formula_error(trimmed(text))]
        headers = [trimmed(header).casefold() for header in sheet.headers if trimmed(header)]
        doubts += [f"the column {header} stands here twice" for header in set(headers) if headers.count(header) > 1]
        if doubts:
            message = f"sheet {sheet.name} can't be used: {'; '.join(sorted(doubts))}"
            raise Refusal("rules-in-doubt", message, {"sheet": sheet.name, "doubts": tuple(sorted(doubts))})


def _require_all(readings: Mapping[str, SheetReading]) -> None:
    sheets = [name for name, reading in readings.items() if reading.sheet.required and not reading.given]
    columns = [
        f"{label} (sheet {name})"
        for name, reading in readings.items()
        if reading.given
        for label in reading.missing_columns()
    ]
    if not sheets and not columns:
        return
    parts = [
        f"missing {what}: {', '.join(names)}" for what, names in (("sheets", sheets), ("columns", columns)) if names
    ]
    raise Refusal("missing-sheets-or-columns", "; ".join(parts), {"sheets": tuple(sheets), "columns": tuple(columns)})


def _unused_sheets(sheets: Mapping[str, RawSheet]) -> list[Question]:
    known = ", ".join(SHEETS)
    return [
        Question(name, 0, "", "", "unknown sheet, not used", f"the sheets are: {known}, rules ...", NOTE)
        for name in sheets
        if name not in SHEETS and not name.startswith(RULES)
    ]


def _text_frame(sheet: RawSheet) -> pd.DataFrame:
    texts = {
        trimmed(header): pd.Series([trimmed(text) for text in sheet.cells.iloc[:, at]], dtype=object)
        for at, header in enumerate(sheet.headers)
        if trimmed(header)
    }
    frame = pd.DataFrame(texts, dtype=object).assign(row=sheet.cells.index.to_numpy(dtype="int64"))
    return frame[(frame.drop(columns="row") != "").any(axis=1)].reset_index(drop=True)
