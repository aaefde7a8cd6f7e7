"""The child process that opens a workbook: values in, text out.

It runs with limits on memory and processor time, because a small file can ask a reader for any amount of either. The
workbook comes on standard input; answers go to standard output as lines of JSON, each sheet followed by its columns'
codes as binary integers. Only text, numbers and lists travel back. To start fast, nothing here imports more than the
standard library and the reader.
"""

import gc
import io
import json
import sys
from itertools import islice
from types import ModuleType
from typing import BinaryIO

from python_calamine import CalamineError, CalamineSheet, CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

from kitting.spreadsheets.cell_columns import CellColumns
from kitting.spreadsheets.cell_text import cell_text

resource: ModuleType | None
try:
    import resource
except ImportError:  # a system without these limits: the search of the parts and the deadline still guard
    resource = None

PROCESSOR_SECONDS = 90
MOST_CELLS = 60_000_000  # in the rectangle from A1 to the last cell
_ROWS_AT_ONCE = 5_000


def main() -> None:
    """Read the workbook on standard input and answer on standard output; the argument is the memory in bytes."""
    _set_limits(int(sys.argv[1]))
    gc.disable()  # millions of short-lived rows and no cycles among them
    out = sys.stdout.buffer
    try:
        with CalamineWorkbook.from_filelike(io.BytesIO(sys.stdin.buffer.read())) as book:
            for at, sheet in enumerate(book.sheets_metadata):
                if sheet.typ == SheetTypeEnum.WorkSheet:
                    _send_sheet(out, book.get_sheet_by_index(at), is_hidden=sheet.visible != SheetVisibleEnum.Visible)
        _send(out, {"end": True})
    except CalamineError as error:
        _send(out, {"refused": "damaged", "why": str(error)})
    except MemoryError:
        _send(out, {"refused": "memory"})


def _set_limits(memory_bytes: int) -> None:
    if resource is not None:
        resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
        resource.setrlimit(resource.RLIMIT_CPU, (PROCESSOR_SECONDS, PROCESSOR_SECONDS))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _send(out: BinaryIO, message: dict[str, object]) -> None:
    out.write(json.dumps(message).encode() + b"\n")
    out.flush()


def _send_sheet(out: BinaryIO, sheet: CalamineSheet, *, is_hidden: bool) -> None:
    height, width = (sheet.end[0] + 1, sheet.end[1] + 1) if sheet.end else (0, 0)
    if height * width > MOST_CELLS:
        _send(out, {"refused": "memory"})
        sys.exit()
    columns = CellColumns()
    rows = iter(sheet.iter_rows())
    while block := list(islice(rows, _ROWS_AT_ONCE)):
        columns.add(block)
        _send(out, {"sheet": sheet.name, "read": columns.rows, "of": height})
    texts = [[cell_text(value) for value in columns.distinct(at)] for at in range(len(columns.codes))]
    merged = [[*first, *last] for first, last in sheet.merged_cell_ranges or ()]
    _send(
        out,
        {"sheet": sheet.name, "is_hidden": is_hidden, "rows": columns.rows, "merged": merged, "columns": texts},
    )
    out.writelines(codes.tobytes() for codes in columns.codes)
    out.flush()


if __name__ == "__main__":
    main()
