"""What sheets may say and records can't keep, as questions: so that the database never has to refuse it."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pandas as pd
from django.db import models

from inventory.models import OldCode
from kitting.calculation.questions import REFUSE, Question
from kitting.calculation.sheets.book import Book
from kitting.selectors.record_sheets import OLD_CODES, RECORDS, SheetRecords

_SHOWN = 60  # characters of a cell that a message repeats


def storage_questions(book: Book) -> list[Question]:
    """Cells that are too long or too exact for their records, and ways of a depot to itself."""
    found = [question for name, records in RECORDS.items() for question in _too_much(records, book.frames[name])]
    found += _long_old_codes(book.frames["items"])
    ways = book.frames["transfers"]
    for row, start, end in zip(ways["row"], ways["from_depot"], ways["to_depot"], strict=True):
        if start == end:
            problem = "a transfer leads to another depot"
            found.append(Question("transfers", row, "to", end, problem, "the other depot, or no row", REFUSE))
    return found


def _too_much(records: SheetRecords, frame: pd.DataFrame) -> Iterator[Question]:
    for column, kept, values in zip(
        records.columns, records.final_fields(), records.stored_columns(frame), strict=True
    ):
        problems = {value: problem for value in set(values) if (problem := _problem(kept, value))}
        for row, value in zip(frame["row"], values, strict=True) if problems else ():
            if value in problems:
                yield _question(records.sheet.name, row, column.label, str(value), *problems[value])


def _problem(kept: "models.Field[Any, Any]", value: object) -> tuple[str, str] | None:
    """What is wrong and what would be right, where a field can't keep a value."""
    if isinstance(value, str) and kept.max_length and len(value) > kept.max_length:
        return f"has {len(value)} characters, too many to be kept", f"at most {kept.max_length} characters"
    if isinstance(value, Decimal) and isinstance(kept, models.DecimalField):
        places = -int(value.normalize().as_tuple().exponent)
        if places > kept.decimal_places:
            return "is more exact than can be kept", f"at most {kept.decimal_places} decimals"
    return None


def _long_old_codes(items: pd.DataFrame) -> Iterator[Question]:
    most = OldCode._meta.get_field("code").max_length or 0  # noqa: SLF001 - Django's public way to a model's fields
    for row, codes in zip(items["row"], items[OLD_CODES], strict=True):
        for code in codes or ():
            if len(code) > most:
                problem = f"{code[:_SHOWN]} has {len(code)} characters, too many to be kept"
                yield _question("items", row, "old codes", code, problem, f"at most {most} characters")


def _question(sheet: str, row: int, label: str, read: str, problem: str, suggestion: str) -> Question:
    shown = read if len(read) <= _SHOWN else f"{read[:_SHOWN]}…"
    return Question(sheet, row, label, shown, problem, suggestion, REFUSE)
