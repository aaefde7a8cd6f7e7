"""Workbooks: checked first, opened by a child process with limits, joined with what a search of the parts found."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Timer
from typing import Any

import numpy as np

from kitting.calculation.questions import NOTE, Question
from kitting.calculation.sheets.raw import RawSheet
from kitting.errors import Refusal
from kitting.spreadsheets.received_file import MEGABYTE, Progress, received_bytes
from kitting.spreadsheets.sheet_frames import Codes, HeaderRow, TextColumns, sheet_from_columns
from kitting.spreadsheets.workbook_notes import Rectangle, sheet_notes
from kitting.spreadsheets.workbook_package import LARGEST_WORKBOOK, WorkbookPackage
from kitting.spreadsheets.workbook_traces import Address, workbook_traces

DEADLINE_SECONDS = 180
_LEAST_MEMORY, _MOST_MEMORY = 512 * MEGABYTE, 2_000 * MEGABYTE
_MEMORY_PER_BYTE = 20  # of the unpacked parts; sheets of real plans need less than half
_CHILD = "kitting.spreadsheets.workbook_child"
_HOME = str(Path(__file__).parents[2])


def read_workbook(
    path: Path, progress: Progress | None = None, header_row: HeaderRow | None = None
) -> tuple[list[RawSheet], list[Question]]:
    """Sheets of a workbook in its order, and notes about the workbook as a whole; sheets without text are left out.

    Raises:
        Refusal: those of ``received_bytes``, ``WorkbookPackage``, ``workbook_traces`` and ``sheet_from_columns``, and
            ``workbook-too-slow``, ``workbook-too-heavy``.
    """
    package = WorkbookPackage(path.name, received_bytes(path, LARGEST_WORKBOOK))
    with _Child(package) as child:  # both work at once: the child reads the values while the parts are searched
        traces = workbook_traces(package)
        received = list(child.sheets(progress))
    sheets, notes = [], []
    for one in received:
        trace = traces.get(one.name)
        columns = TextColumns(path.name, one.name, one.codes, one.texts)
        sheet = sheet_from_columns(_with_errors(columns, trace.errors if trace else {}), header_row)
        if sheet is None:
            notes.append(Question(one.name, 0, "", "", "the sheet is empty and was left out", "", NOTE))
        else:
            said = sheet_notes(sheet, trace, is_hidden=one.is_hidden, merged=one.merged)
            sheets.append(RawSheet(sheet.name, sheet.headers, sheet.cells, (*sheet.notes, *said)))
    return sheets, notes


def _with_errors(columns: TextColumns, errors: dict[Address, str]) -> TextColumns:
    """Columns with the text of error cells, which the child's reader leaves blank."""
    if not errors:
        return columns
    height = max([row for row, _ in errors] + [len(given) for given in columns.codes])
    width = max([column for _, column in errors] + [len(columns.codes)])
    codes = [np.zeros(height, dtype=np.int32) for _ in range(width)]
    for at, given in enumerate(columns.codes):
        codes[at][: len(given)] = given
    texts = [*map(list, columns.texts), *([""] for _ in range(width - len(columns.texts)))]
    for (row, column), text in errors.items():
        codes[column - 1][row - 1] = len(texts[column - 1])
        texts[column - 1].append(text)
    return TextColumns(columns.file, columns.name, codes, texts)


@dataclass(frozen=True, slots=True)
class _Received:
    """One sheet as the child sent it."""

    name: str
    is_hidden: bool
    merged: list[Rectangle]
    codes: list[Codes]
    texts: list[list[str]]


class _Child:
    """The child process while it reads one workbook; it never outlives the ``with`` block."""

    def __init__(self, package: WorkbookPackage) -> None:
        self._package = package
        self._is_late = False
        memory = min(_LEAST_MEMORY + _MEMORY_PER_BYTE * package.unpacked, _MOST_MEMORY)
        paths = filter(None, (_HOME, os.environ.get("PYTHONPATH")))
        self._process = subprocess.Popen(  # noqa: S603 - our own module, no shell
            [sys.executable, "-P", "-m", _CHILD, str(memory)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        )
        self._timer = Timer(DEADLINE_SECONDS, self._stop_late)

    def __enter__(self) -> "_Child":
        self._timer.start()
        stdin = self._process.stdin
        if stdin is not None:
            with suppress(BrokenPipeError), stdin:  # a child that died early is noticed when nothing comes back
                stdin.write(self._package.content)
        return self

    def __exit__(self, *_: object) -> None:
        self._timer.cancel()
        self._process.kill()
        if self._process.stdout is not None:
            self._process.stdout.close()
        self._process.wait()

    def sheets(self, progress: Progress | None) -> Iterator[_Received]:
        """Sheets as they arrive.

        Raises:
            Refusal: ``damaged-workbook``, ``workbook-too-slow``, ``workbook-too-heavy``.
        """
        out = self._process.stdout
        while out is not None:
            line = out.readline()
            message: dict[str, Any] = json.loads(line) if line.endswith(b"\n") else {"refused": "nothing"}
            if "refused" in message:
                raise self._refusal(message["refused"], message.get("why", ""))
            if "end" in message:
                return
            if "read" in message:
                if progress is not None:
                    progress(message["sheet"], message["read"], message["of"])
                continue
            size = 4 * message["rows"]
            codes = [np.frombuffer(out.read(size), dtype=np.int32) for _ in message["columns"]]
            if any(len(one) != message["rows"] for one in codes):
                raise self._refusal("nothing", "")
            merged = [Rectangle(*corners) for corners in message["merged"]]
            yield _Received(message["sheet"], message["is_hidden"], merged, codes, message["columns"])

    def _stop_late(self) -> None:
        self._is_late = True
        self._process.kill()

    def _refusal(self, what: str, why: str) -> Refusal:
        name = self._package.name
        if what == "damaged":
            return Refusal("damaged-workbook", f"{name} is damaged: {why}.", {"file": name})
        if self._is_late:
            said = f"{name} was not read within {DEADLINE_SECONDS} seconds, so reading was stopped."
            return Refusal("workbook-too-slow", said, {"file": name})
        said = f"{name} needs more memory or time than reading a workbook is given, so reading was stopped."
        return Refusal("workbook-too-heavy", said, {"file": name})
