"""Tables to files: CSV for programs, CSV that a person opens, and workbooks.

Frames hold text, ``int``, ``Decimal`` and dates; None is blank. A float is refused: lengths and quantities are exact.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from kitting.spreadsheets.workbook_files import CellValue, refuse_what_no_workbook_holds, save_workbook, typed_cell

PEOPLE_NOTE = "note: an apostrophe before = + - @ marks text that must not run as a formula"
_RUNS_AS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")  # the list of the OWASP page on CSV injection
_QUOTE_NEEDED = tuple(',;\t|"\r\n')  # with every separator that the reader knows, and the one that it refuses
_ROWS_AT_ONCE = 50_000
_WIDEST = 60  # characters
_NARROWEST = 6
_ROWS_MEASURED = 500
_BROKEN_INTO_LINES = Alignment(wrap_text=True, vertical="top")


@dataclass(frozen=True, slots=True)
class SheetContent:
    """One sheet of a workbook to be written.

    Args:
        frame: the table; its column names are the headers and state units.
        widths: widths in characters of columns whose width is not taken from their text.
        wrapped: columns whose text is broken into lines.
    """

    frame: pd.DataFrame
    widths: Mapping[str, int] | None = None
    wrapped: Collection[str] = ()


def value_text(value: object) -> str:
    """Text of a value as the files show it: plain decimals without trailing zeros, ISO dates, blank for None.

    Raises:
        TypeError: a float, or something else that is no cell.
    """
    if isinstance(value, str):
        return value
    if value is None or value is pd.NA or value is pd.NaT or value != value:  # noqa: PLR0124 - NaN is blank
        return ""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, int | np.integer):
        return str(int(value))
    if isinstance(value, Decimal):
        text = f"{value:f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
        return "0" if text == "-0" else text
    if isinstance(value, datetime):
        return value.isoformat(" ", "minutes")
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"a table holds text, whole numbers, decimals and dates, not {value!r}")


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    """Write a table that programs read: UTF-8, commas, one header row, text as it is."""
    with path.open("w", encoding="utf-8", newline="") as file:
        file.writelines(_csv_text(frame, value_text, "\n"))


def write_people_csv(frame: pd.DataFrame, path: Path) -> None:
    """Write a table that a person opens in a spreadsheet program: text that would run as a formula gets an apostrophe.

    A last column, blank below its header, says so. A mark at the start tells the program that the file is in UTF-8.
    """
    noted = frame.assign(**{PEOPLE_NOTE: ""})
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        file.writelines(_csv_text(noted, _harmless_text, "\r\n"))


def write_workbook(path: Path, sheets: Mapping[str, SheetContent]) -> None:
    """Write tables as sheets: text stays text, numbers stay numbers, the header is bold, stays in view and filters.

    Raises:
        Refusal: ``sheet-name``, ``giant-text``.
        TypeError: see ``value_text``.
    """
    tables = {name: list(_cell_rows(content.frame)) for name, content in sheets.items()}
    for name, rows in tables.items():
        refuse_what_no_workbook_holds(name, chain.from_iterable(rows))
    workbook = Workbook(write_only=True)
    for name, rows in tables.items():
        sheet = workbook.create_sheet(name)
        _set_view(sheet, sheets[name], rows)
        header = [typed_cell(sheet, title) for title in rows[0]]
        for cell in header:
            cell.font, cell.alignment = Font(bold=True), _BROKEN_INTO_LINES
        sheet.append(header)
        is_wrapped = [title in sheets[name].wrapped for title in rows[0]]
        for row in rows[1:]:
            cells = [typed_cell(sheet, value) for value in row]
            for cell, wrap in zip(cells, is_wrapped, strict=True):
                if wrap:
                    cell.alignment = _BROKEN_INTO_LINES
            sheet.append(cells)
    save_workbook(workbook, path)


def _cell_rows(frame: pd.DataFrame) -> Iterator[list[CellValue]]:
    yield [str(title) for title in frame.columns]
    yield from ([_cell_value(value) for value in row] for row in frame.itertuples(index=False, name=None))


def _harmless_text(value: object) -> str:
    text = value_text(value)
    return f"'{text}" if isinstance(value, str) and text.startswith(_RUNS_AS_FORMULA) else text


def csv_line(cells: Iterable[str]) -> str:
    """One line of CSV; one blank cell is written as a pair of quotation marks, no cell as an empty line."""
    texts = [_quoted(text) for text in cells]
    return (",".join(texts) if texts != [""] else '""') + "\n"


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if _needs_quotes(text) else text


def _needs_quotes(text: str) -> bool:
    return any(mark in text for mark in _QUOTE_NEEDED)


class _Written(dict[object, str]):
    """Text of each distinct value, quoted where CSV asks for it."""

    def __init__(self, text_of: Callable[[object], str]) -> None:
        super().__init__()
        self._text_of = text_of

    def __missing__(self, value: object) -> str:
        self[value] = text = _quoted(self._text_of(value))
        return text


def _csv_text(frame: pd.DataFrame, text_of: Callable[[object], str], line_end: str) -> Iterator[str]:
    titles = _Written(text_of)
    yield ",".join(titles[str(title)] for title in frame.columns) + line_end
    columns = [_column_texts(frame.iloc[:, at], text_of) for at in range(frame.shape[1])]
    for start in range(0, len(frame), _ROWS_AT_ONCE):
        block = [texts[start : start + _ROWS_AT_ONCE] for texts in columns]
        rows = map(",".join, zip(*block, strict=True)) if len(block) > 1 else (text or '""' for text in block[0])
        yield line_end.join(rows) + line_end


def _column_texts(column: "pd.Series[Any]", text_of: Callable[[object], str]) -> list[str]:
    """Texts of a column, each distinct value written once: most columns of a plan repeat few values."""
    written = _Written(text_of)
    if isinstance(column.dtype, pd.CategoricalDtype):
        texts = [written[value] for value in column.cat.categories] + [""]
        return [texts[code] for code in column.cat.codes]
    values = column.tolist()
    types = set(map(type, values))
    if types == {str} and text_of is value_text and not _needs_quotes("".join(values)):
        return values
    if bool in types:  # True and 1 would be one key
        values = [value_text(value) if isinstance(value, bool) else value for value in values]
    return list(map(written.__getitem__, values))


def _cell_value(value: object) -> CellValue:
    if isinstance(value, np.integer):
        return int(value)
    if isinstance(value, int | Decimal | date) and not isinstance(value, bool):
        return value
    return value_text(value)


def _set_view(sheet: Worksheet, content: SheetContent, rows: Sequence[Sequence[CellValue]]) -> None:
    sheet.freeze_panes = "A2"
    sheet.auto_filter.ref = f"A1:{get_column_letter(max(1, len(rows[0])))}{len(rows)}"
    for at, title in enumerate(rows[0]):
        longest = max(len(value_text(row[at])) for row in rows[:_ROWS_MEASURED])
        given = (content.widths or {}).get(str(title))
        sheet.column_dimensions[get_column_letter(at + 1)].width = given or min(max(longest + 2, _NARROWEST), _WIDEST)
