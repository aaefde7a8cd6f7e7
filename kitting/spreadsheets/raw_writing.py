"""Sheets of text back to files: a round trip changes nothing, row numbers included."""

from collections.abc import Iterator
from datetime import date, datetime, time
from decimal import Decimal
from itertools import chain
from pathlib import Path

import pandas as pd
from openpyxl import Workbook

from kitting.calculation.doubts import Doubt
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.headers import find_column
from kitting.calculation.sheets.parsers import Parser, Setting
from kitting.calculation.sheets.raw import RawBook, RawSheet
from kitting.spreadsheets.cell_text import cell_text
from kitting.spreadsheets.workbook_files import CellValue, refuse_what_no_workbook_holds, save_workbook, typed_cell
from kitting.spreadsheets.writing import csv_line

_HEADER_ROW = 1


def write_raw_book(raw: RawBook, path: Path) -> None:
    """Write a workbook (a name ending in .xlsx) or a folder of CSV files, which is made if it is not there.

    In a workbook a cell is a number or a date where its column is declared as one and the cell reads the same
    afterwards; everything else, above all codes and conductor sizes, is text.

    Raises:
        Refusal: ``sheet-name``, ``giant-text``.
    """
    if path.suffix.lower() == ".xlsx":
        _write_book(raw, path)
        return
    path.mkdir(parents=True, exist_ok=True)
    for sheet in raw.sheets.values():
        lines = map(csv_line, _rows(sheet))
        (path / f"{sheet.name.replace(' ', '_')}.csv").write_text("".join(lines), encoding="utf-8", newline="")


def declared_parsers(sheet: RawSheet) -> list[Parser | None]:
    """Parser that each column of a sheet is declared with; None for a column that is not declared."""
    declared = SHEETS.get(sheet.name)
    found = [find_column(declared, header) if declared else None for header in sheet.headers]
    return [column[0].parser if column else None for column in found]


def typed_value(text: str, parser: Parser | None) -> CellValue:
    """The number or date that a text is by its column's declaration, if it reads the same afterwards; else the text."""
    if not text or parser is None:
        return text
    try:
        parsed = parser.read(text, Setting("mm"))  # any unit: only the sort of the value matters
        value = Decimal(text) if isinstance(parsed, int | Decimal) else parsed
    except (Doubt, ArithmeticError):
        return text
    if isinstance(value, Decimal):
        return value if cell_text(float(value)) == text else text
    if isinstance(value, datetime) and value.time() == time():
        return text  # a workbook tells midnight of a day from the day alone by nothing but its form, which readers drop
    return value if isinstance(value, date) and cell_text(value) == text else text


def _rows(sheet: RawSheet) -> Iterator[tuple[str, ...]]:
    """Header and rows in the order of their numbers, with an empty row for each number that is not there."""
    yield sheet.headers
    at = _HEADER_ROW
    cells: pd.DataFrame = sheet.cells.sort_index(kind="stable")
    for row, *texts in cells.itertuples(name=None):
        yield from ((),) * (row - at - 1)
        yield tuple(texts)
        at = row


def _write_book(raw: RawBook, path: Path) -> None:
    for sheet in raw.sheets.values():
        refuse_what_no_workbook_holds(sheet.name, chain(sheet.headers, *(sheet.cells[at] for at in sheet.cells)))
    workbook = Workbook(write_only=True)
    for sheet in raw.sheets.values():
        target = workbook.create_sheet(sheet.name)
        target.freeze_panes = "A2"
        parsers = declared_parsers(sheet)
        rows = _rows(sheet)
        target.append([typed_cell(target, header) for header in next(rows)])
        for texts in rows:
            values = map(typed_value, texts, parsers)
            target.append([typed_cell(target, value) for value in values])
    save_workbook(workbook, path)
