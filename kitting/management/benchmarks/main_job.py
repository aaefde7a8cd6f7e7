"""The main job timed stage by stage, as ratios to reading the same sheets with pandas in the same process."""

import json
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

import pandas as pd

from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import raw_book
from kitting.management.benchmarks.main_job_data import AS_OF, made_up_book
from kitting.management.plan_run import TABLES
from kitting.spreadsheets.raw_writing import write_raw_book
from kitting.spreadsheets.reading import read_raw_book
from kitting.spreadsheets.writing import write_csv

BASELINE_SHEETS = ("schedule", "positions", "stock", "items")
_KIB_A_MIB = 1024


@dataclass(frozen=True, slots=True)
class Measured:
    """One size: seconds of each stage, of the baseline R, and the greatest memory of the process in MiB."""

    runs: int
    lines: int
    baseline: float
    read_csv: float
    check: float
    expansion: float
    promising: float
    tables: float
    write: float
    memory_mib: int

    @property
    def calculation(self) -> float:
        """Seconds of the calculation: expansion and fit, promising, tables."""
        return self.expansion + self.promising + self.tables


def measure(runs: int) -> Measured:
    """Plan a made-up book of so many runs and time the stages."""
    with tempfile.TemporaryDirectory() as aside:
        folder = Path(aside) / "sheets"
        write_raw_book(made_up_book(runs), folder)
        baseline = min(_timed(lambda: _baseline(folder)) for _ in range(3))
        start = perf_counter()
        raw = read_raw_book(folder)
        read = perf_counter()
        book = read_book(raw)
        checked = perf_counter()
        planned = plan(book, as_of=AS_OF)
        done = perf_counter()
        for name in TABLES:
            write_csv(getattr(planned, name), Path(aside) / f"{name}.csv")
        written = perf_counter()
    return Measured(
        runs=runs,
        lines=len(planned.requirements),
        baseline=baseline,
        read_csv=read - start,
        check=checked - read,
        expansion=planned.timings["expansion and fit"],
        promising=planned.timings["promising"],
        tables=planned.timings["tables"],
        write=written - done,
        memory_mib=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // _KIB_A_MIB,
    )


def _timed(action: Callable[[], None]) -> float:
    start = perf_counter()
    action()
    return perf_counter() - start


def _baseline(folder: Path) -> None:
    for name in BASELINE_SHEETS:
        pd.read_csv(folder / f"{name}.csv", low_memory=False)


def measure_apart(runs: int) -> Measured:
    """The same in a process of its own, so that its memory is its own."""
    code = (
        "import json, dataclasses\n"
        "from kitting.management.benchmarks.main_job import measure\n"
        f"print(json.dumps(dataclasses.asdict(measure({int(runs)}))))"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)  # noqa: S603 - our own code
    return Measured(**json.loads(done.stdout.splitlines()[-1]))


def workbook_seconds(runs: int) -> tuple[float, float]:
    """Seconds to read a workbook whose schedule has so many rows: raw, and with every cell checked."""
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
    heads = "runs,lines,R s,read,check,expand+fit,promise,tables,calc,calc/R,growth,write,lines/s,MiB"
    rows = [tuple(heads.split(","))]
    for place, one in enumerate(measured):
        growth = f"x{one.calculation / measured[place - 1].calculation:.1f}" if place else ""
        shares = (f"{part:.1f} ({part / one.calculation:.0%})" for part in (one.expansion, one.promising, one.tables))
        rows.append(
            (f"{one.runs:,}", f"{one.lines:,}", f"{one.baseline:.2f}", f"{one.read_csv:.1f}", f"{one.check:.1f}",
             *shares, f"{one.calculation:.1f}", f"{one.calculation / one.baseline:.0f}", growth, f"{one.write:.1f}",
             f"{one.lines / one.calculation:,.0f}", str(one.memory_mib))
        )  # fmt: skip
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join("  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in rows)
