"""CSV files: UTF-8 (with or without a mark) or UTF-16 with a mark; commas, semicolons or tabs between the cells."""

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path

import numpy as np

from kitting.calculation.questions import ASK, NOTE, Question
from kitting.calculation.sheets.raw import RawSheet
from kitting.errors import Refusal
from kitting.spreadsheets.cell_columns import CellColumns
from kitting.spreadsheets.cell_text import clean_text
from kitting.spreadsheets.received_file import MEGABYTE, Progress, received_bytes
from kitting.spreadsheets.sheet_frames import HeaderRow, TextColumns, few_or_one, sheet_from_columns

LARGEST_CSV = 150 * MEGABYTE
_ROWS_AT_ONCE = 5_000
_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_QUOTED = re.compile(r'"(?:[^"]|"")*"')
_LINES_SEEN, _FEW = 20, 2
_HEADER_SEEN = 100_000  # characters among which the header row is looked for
_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


def read_csv_sheet(path: Path, progress: Progress | None = None, header_row: HeaderRow | None = None) -> RawSheet:
    """The sheet that a CSV file holds; its name is the file's without ``.csv``. Blank lines keep their row number.

    Raises:
        Refusal: those of ``received_bytes`` and ``sheet_from_columns``, and ``not-text``, ``wrong-encoding``,
            ``nul-bytes``, ``wrong-separator``, ``unbalanced-quotes``, ``empty-file``.
    """
    text = _decoded(path.name, received_bytes(path, LARGEST_CSV))
    separator = _separator(path.name, text)
    read = _cells(path.name, text, separator, progress)
    texts = [list(map(clean_text, map(str, read.distinct(at)))) for at in range(len(read.codes))]
    codes = [np.array(one, dtype=np.int32) for one in read.codes]
    sheet = sheet_from_columns(TextColumns(path.name, path.stem, codes, texts), header_row)
    if sheet is None:
        raise Refusal("empty-file", f"{path.name} holds no text, not even a header row.", {"file": path.name})
    said = f"{_SEPARATORS[separator]} separate the cells of {path.name}"
    notes = () if separator == "," else (Question(sheet.name, 0, "", "", said, "", NOTE),)
    long_rows = few_or_one(_long_rows(sheet), "rows have more cells than the header")
    return RawSheet(sheet.name, sheet.headers, sheet.cells, (*notes, *sheet.notes, *long_rows))


def _decoded(name: str, content: bytes) -> str:
    encoding = "utf-16" if content.startswith(_UTF_16) else "utf-8-sig"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as error:
        row = content.count(b"\n", 0, error.start) + 1
        wrong = content[error.start]
        raise Refusal(
            "wrong-encoding",
            f"{name} is not written in UTF-8: byte {error.start:,} (0x{wrong:02X}, in line {row:,}) is no letter; "
            "save it as CSV UTF-8.",
            {"file": name, "byte": error.start, "value": wrong, "row": row},
        ) from None
    if "\x00" in text:
        row = text.count("\n", 0, text.index("\x00")) + 1
        message = f"{name} holds a NUL character in line {row:,}; it is not a CSV file."
        raise Refusal("nul-bytes", message, {"file": name, "row": row})
    return text


def _separator(name: str, text: str) -> str:
    """The separator that stands most often in the first line, outside quotation marks; the comma where none does.

    A first line with hardly any is a title: then the one that stands equally often in most of the first lines.
    """
    lines = _QUOTED.sub("", text.lstrip()[:_HEADER_SEEN]).split("\n", _LINES_SEEN)[:_LINES_SEEN]
    header = lines[0]
    best = max(_SEPARATORS, key=header.count)
    if header.count(best) < _FEW:
        best = max(_SEPARATORS, key=lambda one: _regularity(lines, one))
        header = max(lines, key=lambda line: line.count(best) + line.count("|"))
    if best not in header and "|" in header:
        message = f"{name} separates its cells by |; commas, semicolons and tabs are read."
        raise Refusal("wrong-separator", message, {"file": name})
    return best


def _regularity(lines: Sequence[str], separator: str) -> int:
    """How often a separator stands in the lines that hold it equally often."""
    numbers = Counter(line.count(separator) for line in lines)
    return max(number * lines_with for number, lines_with in numbers.items())


def _cells(name: str, text: str, separator: str, progress: Progress | None) -> CellColumns:
    columns = CellColumns()
    lines = text.count("\n") + 1
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        while block := list(islice(rows, _ROWS_AT_ONCE)):
            columns.add(block)
            if progress is not None:
                progress(name, columns.rows, max(lines, columns.rows))
    except csv.Error:
        row = sum(1 for _ in _good_rows(text, separator)) + 1
        raise Refusal(
            "unbalanced-quotes",
            f"{name}: the quotation marks of row {row:,} don't match; a text in quotation marks ends before a "
            "separator, and a quotation mark inside it is written twice.",
            {"file": name, "row": row},
        ) from None
    return columns


def _long_rows(sheet: RawSheet) -> Iterator[Question]:
    """Rows with text beyond the last header: often a comma without quotation marks, so the cells are shifted."""
    width = max(at + 1 for at, header in enumerate((*sheet.headers, "")) if header or at == 0)
    beyond = (sheet.cells[list(range(width, len(sheet.headers)))] != "").any(axis=1)
    for row in sheet.cells.index[beyond]:
        text = next(filter(None, sheet.cells.loc[row, width:]))
        problem = f"the row has more cells than the header has columns ({width}); its cells may be shifted"
        suggestion = "put text that holds a separator in quotation marks"
        yield Question(sheet.name, int(row), "row", text, problem, suggestion, ASK)


def _good_rows(text: str, separator: str) -> Iterator[None]:
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    while True:
        try:
            next(rows)
        except (csv.Error, StopIteration):
            return
        yield None
