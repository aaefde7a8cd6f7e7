"""Workbooks that we write: every text stays text, and the same content gives the same bytes."""

import io
import re
import zipfile
from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

from openpyxl import Workbook
from openpyxl.cell import Cell, WriteOnlyCell
from openpyxl.worksheet.worksheet import Worksheet

from kitting.errors import Refusal
from kitting.spreadsheets.cell_text import LONGEST_TEXT, clean_text

LONGEST_SHEET_NAME = 31  # characters; the limit of spreadsheet programs
_LOOKS_ESCAPED = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
_FORBIDDEN_IN_NAME = re.compile(r"[\[\]:*?/\\]")
_EARLIEST = (1980, 1, 1, 0, 0, 0)  # of an entry in a zip archive
_NO_MOMENT = datetime(2000, 1, 1)
_MODIFIED = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*")

CellValue = str | int | Decimal | date | datetime | None


def typed_cell(sheet: Worksheet, value: CellValue) -> Cell:
    """A cell that holds a text as text, even ``=1+1``, and a number as a number; texts are checked before."""
    cell: Cell = WriteOnlyCell(sheet)
    if isinstance(value, str):
        cell.value = _LOOKS_ESCAPED.sub("_x005F_", clean_text(value)) or None
        cell.data_type = "s" if cell.value is not None else "n"
    else:
        cell.value = value
        if isinstance(value, datetime):
            cell.number_format = "yyyy-mm-dd hh:mm"
        elif isinstance(value, date):
            cell.number_format = "yyyy-mm-dd"
    return cell


def refuse_what_no_workbook_holds(name: str, values: Iterable[CellValue]) -> None:
    """Check the name of a sheet and its texts before anything is written.

    Raises:
        Refusal: ``sheet-name``, ``giant-text``.
    """
    if not name or len(name) > LONGEST_SHEET_NAME or _FORBIDDEN_IN_NAME.search(name) or name.strip("'") != name:
        message = (
            f"A workbook can't have a sheet named {name!r}: 1 to {LONGEST_SHEET_NAME} characters, none of []:*?/\\."
        )
        raise Refusal("sheet-name", message, {"sheet": name})
    longest = max((len(value) for value in values if isinstance(value, str)), default=0)
    if longest > LONGEST_TEXT:
        message = f"Sheet {name}: a text of {longest:,} characters does not go into a cell ({LONGEST_TEXT:,} at most)."
        raise Refusal("giant-text", message, {"sheet": name, "length": longest})


def save_workbook(workbook: Workbook, path: Path) -> None:
    """Save with fixed moments inside, so that equal content gives equal bytes."""
    workbook.properties.creator = ""
    workbook.properties.created = _NO_MOMENT
    saved = io.BytesIO()
    workbook.save(saved)
    with zipfile.ZipFile(saved) as parts, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for part in parts.namelist():
            content = parts.read(part)
            if part == "docProps/core.xml":
                content = _MODIFIED.sub(rb"\g<1>" + f"{_NO_MOMENT:%Y-%m-%dT%H:%M:%SZ}".encode(), content)
            entry = zipfile.ZipInfo(part, _EARLIEST)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, content)
