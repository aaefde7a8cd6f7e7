"""Received planning sheets, from a workbook or from a folder of CSV files, as sheets of text.

Nothing that comes from outside is trusted: what can't be read is refused in words, and the process stays unharmed.
"""

from collections.abc import Iterable
from pathlib import Path

from kitting.calculation.questions import NOTE, Question
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book
from kitting.errors import Refusal
from kitting.spreadsheets.csv_reader import read_csv_sheet
from kitting.spreadsheets.received_file import Progress
from kitting.spreadsheets.sheet_frames import HeaderRow
from kitting.spreadsheets.workbook_reader import read_workbook

_MOST_FILES = 200


def read_raw_book(path: Path, progress: Progress | None = None, header_row: HeaderRow | None = None) -> RawBook:
    """Every sheet of a workbook, or of a folder of CSV files with the sheets' names (``cable_types.csv``).

    Args:
        path: a workbook (.xlsx), or the folder.
        progress: called with sheet or file, rows read and rows in all; what it raises ends the reading.
        header_row: says which row of a sheet is its header; without it the first with text is.

    Raises:
        Refusal: the input can't be read; nothing of it is used then.
    """
    if path.is_dir():
        return _read_folder(path, progress, header_row)
    if path.suffix.lower() == ".csv":
        message = f"{path.name} is one sheet; give the folder that holds the CSV files, or a workbook."
        raise Refusal("one-csv-file", message, {"file": path.name})
    sheets, notes = read_workbook(path, progress, header_row)
    return _book(path.name, sheets, notes)


def _read_folder(folder: Path, progress: Progress | None, header_row: HeaderRow | None) -> RawBook:
    entries = sorted(entry for entry in folder.iterdir() if not entry.name.startswith("."))
    files = [entry for entry in entries if entry.suffix.lower() == ".csv"]
    if not files:
        message = f"The folder {folder.name} holds no CSV file; give a workbook by its own name."
        raise Refusal("no-sheets", message, {"folder": folder.name})
    if len(files) > _MOST_FILES:
        message = f"The folder {folder.name} holds {len(files):,} CSV files; {_MOST_FILES} sheets are the most."
        raise Refusal("too-many-parts", message, {"folder": folder.name})
    others = [_not_read(entry) for entry in entries if entry not in files]
    return _book(folder.name, [read_csv_sheet(file, progress, header_row) for file in files], others)


def _not_read(entry: Path) -> Question:
    problem = f"{entry.name} is not a CSV file and was not read"
    return Question("", 0, "", entry.name, problem, "move it elsewhere", NOTE)


def _book(source: str, sheets: Iterable[RawSheet], notes: Iterable[Question]) -> RawBook:
    names: set[str] = set()
    for sheet in sheets:
        if sheet.name in names:
            message = f"{source} holds two sheets named {sheet.name!r} (capitals and underscores make no difference)."
            raise Refusal("sheet-twice", message, {"file": source, "sheet": sheet.name})
        names.add(sheet.name)
    return raw_book(sheets, tuple(notes))
