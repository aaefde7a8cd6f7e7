"""The main job timed stage by stage, as ratios to reading the same sheets with pandas in the same process.

Stages and baseline are told in processor seconds, so that other work on the machine counts as little as it can; what a
person waits for, the calculation as a whole and the reading of a workbook, in seconds on the wall.
"""

import json
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter, process_time

import pandas as pd

from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import raw_book
from kitting.management.benchmarks.main_job_data import AS_OF, made_up_book
from kitting.management.in_columns import in_columns
from kitting.management.plan_run import TABLES
from kitting.spreadsheets.raw_writing import write_raw_book
from kitting.spreadsheets.reading import read_raw_book
from kitting.spreadsheets.writing import write_csv

BASELINE_SHEETS = ("schedule", "positions", "stock", "items")
_KIB_A_MIB = 1024


@dataclass(frozen=True, slots=True)
class Measured:
    """One size: processor seconds of each stage and of the baseline R; ``wall``: the calculation as waited for."""

    runs: int
    lines: int
    baseline: float
    read_csv: float
    check: float
    expansion: float
    promising: float
    tables: float
    wall: float
    write: float
    memory_mib: int

    @property
    def calculation(self) -> float:
        """Processor seconds of the calculation: expansion and fit, promising, tables."""
        return self.expansion + self.promising + self.tables


def measure(runs: int) -> Measured:
    """Plan a made-up book of so many runs and time the stages."""
    with tempfile.TemporaryDirectory() as aside:
        folder = Path(aside) / "sheets"
        write_raw_book(made_up_book(runs), folder)
        baseline = min(_timed(lambda: _baseline(folder)) for _ in range(3))
        clock = _Clock()
        raw = read_raw_book(folder)
        clock.done("read")
        book = read_book(raw)
        clock.done("check")
        planned = plan(book, as_of=AS_OF, progress=clock.done)
        clock.done("end")
        for name in TABLES:
            write_csv(getattr(planned, name), Path(aside) / f"{name}.csv")
        clock.done("write")
    return Measured(
        runs=runs,
        lines=len(planned.requirements),
        baseline=baseline,
        read_csv=clock.seconds["read"],
        check=clock.seconds["check"],
        expansion=clock.seconds["expansion and fit"],
        promising=clock.seconds["promising"],
        tables=clock.seconds["tables"],
        wall=sum(planned.timings.values()),
        write=clock.seconds["write"],
        memory_mib=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // _KIB_A_MIB,
    )


class _Clock:
    """Processor seconds of each stage."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._last = process_time()

    def done(self, stage: str) -> None:
        now = process_time()
        self.seconds[stage] = now - self._last
        self._last = now


def _timed(action: Callable[[], None]) -> float:
    start = process_time()
    action()
    return process_time() - start


def _baseline(folder: Path) -> None:
    for name in BASELINE_SHEETS:
        pd.read_csv(folder / f"{name}.csv", low_memory=False)


def measure_apart(runs: int) -> Measured:
    """The same in a process of its own, so that its memory is its own."""
    code = (
        "import json, dataclasses, django\ndjango.setup()\n"
        "from kitting.management.benchmarks.main_job import measure\n"
        f"print(json.dumps(dataclasses.asdict(measure({int(runs)}))))"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)  # noqa: S603 - our own code
    return Measured(**json.loads(done.stdout.splitlines()[-1]))


def workbook_seconds(runs: int) -> tuple[float, float]:
    """Seconds on the wall to read a workbook whose schedule has so many rows: raw, and with every cell checked."""
    made = made_up_book(runs)
    with tempfile.TemporaryDirectory() as aside:
        schedule = Path(aside) / "schedule.xlsx"
        write_raw_book(raw_book([made.sheets["schedule"]]), schedule)
        start = perf_counter()
        read = read_raw_book(schedule)
        raw = perf_counter() - start
        whole = raw_book([*(sheet for name, sheet in made.sheets.items() if name != "schedule"), *read.sheets.values()])
        start = perf_counter()
        read_book(whole)
        return raw, raw + perf_counter() - start


def table_text(measured: list[Measured]) -> str:
    """The figures as a table for a person: seconds, share of the calculation, ratio to the baseline, growth."""
    heads = "runs,lines,R s,read,check,expand+fit,promise,tables,calc,calc/R,growth,wall,write,lines/s,MiB"
    rows = [tuple(heads.split(","))]
    for place, one in enumerate(measured):
        growth = f"x{one.calculation / measured[place - 1].calculation:.1f}" if place else ""
        shares = (f"{part:.1f} ({part / one.calculation:.0%})" for part in (one.expansion, one.promising, one.tables))
        rows.append(
            (f"{one.runs:,}", f"{one.lines:,}", f"{one.baseline:.2f}", f"{one.read_csv:.1f}", f"{one.check:.1f}",
             *shares, f"{one.calculation:.1f}", f"{one.calculation / one.baseline:.0f}", growth, f"{one.wall:.1f}",
             f"{one.write:.1f}", f"{one.lines / one.calculation:,.0f}", str(one.memory_mib))
        )  # fmt: skip
    return in_columns(rows, figures=True)
