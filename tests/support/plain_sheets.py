"""Sheets read plainly, apart from the package's own reading; the same sheets in another order; a plan as text."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from random import Random

import pandas as pd

from kitting.calculation.plan_result import Plan
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book

MM = {"mm": Decimal(1), "in": Decimal("25.4"), "mil": Decimal("0.0254")}
LENGTHS = re.compile(r"(?P<label>.*) \((?P<unit>mm|in|mil)\)")
TABLES = ("requirements", "promises", "shortages", "reorder", "refusals", "cures", "totals")

Row = dict[str, str]


def labels(sheet: RawSheet) -> list[str]:
    """Header labels without their units."""
    return [header.partition(" (")[0] for header in sheet.headers]


def plain_rows(raw: RawBook, sheet: str) -> list[Row]:
    """Rows of a sheet by label, as text; lengths in millimetres, exactly."""
    found = raw.sheets[sheet]
    columns = [_plain(header, found.cells[at]) for at, header in enumerate(found.headers)]
    return [dict(zip(labels(found), cells, strict=True)) for cells in zip(*columns, strict=True)]


def _plain(header: str, cells: "pd.Series[str]") -> list[str]:
    length = LENGTHS.fullmatch(header)
    return list(cells) if length is None else [in_mm(text, length["unit"]) for text in cells]


def in_mm(text: str, unit: str) -> str:
    """A length in the unit of its cell, else of its header, as text in millimetres."""
    if not text:
        return ""
    number, _, own = text.partition(" ")
    return f"{Decimal(number) * MM[own or unit]:f}"


def in_words(text: str) -> list[str]:
    """The parts of a cell that lists several."""
    return [part.strip() for part in text.split(";") if part.strip()]


def working_days_on(day: date, count: int, closed: set[str]) -> date:
    """So many working days later, or earlier where the count is below zero: a plain walk over the calendar."""
    while count:
        day += timedelta(days=1 if count > 0 else -1)
        if day.weekday() < 5 and day.isoformat() not in closed:
            count -= 1 if count > 0 else -1
    return day


def shuffled(raw: RawBook, seed: int, *, renumber: bool = False) -> RawBook:
    """Sheets, rows and columns in another order; rules stay as they are, because their order is what they say."""
    random = Random(seed)
    sheets = [
        sheet if sheet.name.startswith("rules ") else _mixed(sheet, random, renumber=renumber)
        for sheet in raw.sheets.values()
    ]
    return raw_book(random.sample(sheets, len(sheets)))


def _mixed(sheet: RawSheet, random: Random, *, renumber: bool) -> RawSheet:
    columns = random.sample(range(len(sheet.headers)), len(sheet.headers))
    found = sheet.cells[columns].set_axis(range(len(columns)), axis=1)
    found = found.loc[random.sample(list(found.index), len(found))]
    if renumber:
        found.index = pd.RangeIndex(2, len(found) + 2)
    return replace(sheet, headers=tuple(sheet.headers[at] for at in columns), cells=found)


def tables(plan: Plan) -> str:
    """All output tables as they are written."""
    return "\n".join(getattr(plan, name).to_csv(index=False) for name in TABLES)


def everything(plan: Plan) -> str:
    """The tables, the questions and the summary."""
    return "\n".join([tables(plan), *map(str, plan.questions), json.dumps(plan.summary, default=str)])
