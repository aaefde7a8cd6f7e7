"""Answers that settled a doubt are kept: they hold for later files whose cells still read so."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import replace

import pandas as pd

from kitting.calculation.sheets.all_sheets import ANSWERS, SHEETS
from kitting.calculation.sheets.answers import KEEP, WHOLE_ROW
from kitting.calculation.sheets.headers import place_columns
from kitting.calculation.sheets.parsers import plain
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_sheet, trimmed
from kitting.models import Answer

_FIELDS = tuple(column.field for column in ANSWERS.columns)
_TELLING = ("sheet", "key", "column", "read", "value")  # the same answer by another person is no other answer
_BATCH = 1_000

Given = tuple[str, ...]


def with_kept_answers(raw: RawBook) -> RawBook:
    """Received sheets with the kept answers behind those that came with them; the digest stays that of the file."""
    kept = list(Answer.objects.order_by("pk").values_list(*_FIELDS))
    if not kept:
        return raw
    sheet = raw.sheets.get(ANSWERS.name, raw_sheet(ANSWERS.name, (column.header for column in ANSWERS.columns), ()))
    placed, _ = place_columns(ANSWERS, sheet)
    if len(placed) < len(ANSWERS.columns):
        return raw  # reading says which column is missing
    places = [placed[name].at for name in _FIELDS]
    given = {tuple(map(trimmed, row)) for row in sheet.cells[places].itertuples(index=False, name=None)}
    return replace(raw, sheets={**raw.sheets, ANSWERS.name: _grown(sheet, places, [a for a in kept if a not in given])})


def _grown(sheet: RawSheet, places: list[int], answers: Iterable[Given]) -> RawSheet:
    rows = []
    for answer in answers:
        cells = [""] * len(sheet.headers)
        for at, text in zip(places, answer, strict=True):
            cells[at] = text
        rows.append(cells)
    first = int(max(sheet.cells.index, default=1)) + 1
    more = raw_sheet(sheet.name, sheet.headers, rows, first).cells
    return replace(sheet, cells=pd.concat([sheet.cells, more]) if len(sheet.cells) else more)


def keep_answers(used: Iterable[Mapping[str, str]], schedule: pd.DataFrame) -> int:
    """Store the answers that were used and are not kept yet; how many those are.

    One that keeps a row of the schedule by its number is kept under the row's key: row numbers are those of one file.
    """
    keys = {
        f"row {row}": f"{job}/{run}" for row, job, run in zip(*map(schedule.get, ("row", "job", "run")), strict=True)
    }
    found = {}
    for answer in used:
        texts = {name: answer[name] for name in _FIELDS} | {"sheet": _sheet_name(answer["sheet"])}
        if texts["column"].casefold() == WHOLE_ROW:
            texts |= {"column": WHOLE_ROW, "value": texts["value"].casefold()}
            if texts["sheet"] == "schedule" and texts["value"] == KEEP:
                texts["key"] = keys.get(plain(texts["key"]).casefold(), plain(texts["key"]))
        digest = hashlib.sha256(json.dumps([texts[name] for name in _TELLING]).encode()).hexdigest()
        found[digest] = Answer(digest=digest, **texts)
    known = set(Answer.objects.values_list("digest", flat=True))
    new = [answer for digest, answer in found.items() if digest not in known]
    Answer.objects.bulk_create(new, batch_size=_BATCH)
    return len(new)


def _sheet_name(text: str) -> str:
    """The declared name of a sheet, however an answer writes it."""
    name = plain(text.replace("_", " ")).casefold()
    return name if name in SHEETS else text
