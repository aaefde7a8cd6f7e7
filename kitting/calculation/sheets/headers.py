"""Finding our columns among the headers of a received sheet."""

import re
from dataclasses import dataclass
from difflib import get_close_matches

from kitting.calculation.questions import NOTE, REFUSE, Question
from kitting.calculation.sheets.columns import Column, Sheet
from kitting.calculation.sheets.parsers import did_you_mean, loose
from kitting.calculation.sheets.raw import RawSheet, trimmed

_BRACKETED = re.compile(r"(.*?)[\s_]*[(\[]([^()\[\]]*)[)\]]")
UNKNOWN = "unknown column, not used"
_HEADER_ROW = 1
_LONGEST = 200  # characters; no header of ours comes near


@dataclass(frozen=True, slots=True)
class Placed:
    """A declared column that was found: its place among the sheet's columns and the unit its header names."""

    column: Column
    at: int
    unit: str | None


def find_column(sheet: Sheet, header: str) -> tuple[Column, str | None] | None:
    """The declared column that a header means, with the unit it names; None if it means none of them.

    ``DOI low (in)``, ``doi_low_mm`` and ``Doi  Low`` all mean the column ``DOI low``.
    """
    return _meaning(sheet, trimmed(header)) if len(header) <= _LONGEST else None


def _meaning(sheet: Sheet, header: str) -> tuple[Column, str | None] | None:
    whole = sheet.by_name.get(loose(re.sub(r"[()\[\]]", " ", header)))
    if whole is not None:
        return whole, None
    bracketed = _BRACKETED.fullmatch(header)
    name, _, last = re.sub(r"[\s_]+", " ", header).rpartition(" ")
    for label, unit in ([bracketed.groups()] if bracketed else []) + [(name, last)]:
        column = sheet.by_name.get(loose(label))
        known = column.parser.units.get(unit.strip().casefold()) if column else None
        if column and known:
            return column, known
    return None


def place_columns(sheet: Sheet, raw: RawSheet) -> tuple[dict[str, Placed], tuple[Question, ...]]:
    """Place each declared column by field; what could not be placed is reported, never used."""
    placed: dict[str, Placed] = {}
    questions = []
    for at, header in enumerate(map(trimmed, raw.headers)):
        found = find_column(sheet, header)
        if found is None:
            if header:  # cells under a blank header are the file reader's to report: the row may be shifted
                questions.append(_unknown(sheet, header))
            continue
        column, unit = found
        if column.field in placed:
            problem = f"the column {column.label} stands here twice; this one is not used"
            questions.append(
                Question(sheet.name, _HEADER_ROW, header, header, problem, "keep one of the two columns", REFUSE)
            )
            continue
        placed[column.field] = Placed(column, at, unit)
    return placed, tuple(questions)


def _unknown(sheet: Sheet, header: str) -> Question:
    labels = {loose(column.label): column.label for column in sheet.columns}
    near = [labels[key] for key in get_close_matches(loose(header[:_LONGEST]), labels, n=3, cutoff=0.7)]
    return Question(sheet.name, _HEADER_ROW, header, header, UNKNOWN, did_you_mean(near), NOTE)


def column_letters(at: int) -> str:
    """Letters of a spreadsheet column: 0 -> ``A``, 26 -> ``AA``."""
    letters = ""
    at += 1
    while at:
        at, rest = divmod(at - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
