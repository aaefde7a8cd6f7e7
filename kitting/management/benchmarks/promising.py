"""Promising timed against a plain line-by-line greedy (G) and pandas reading the same rows from CSV (R)."""

import json
import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from io import StringIO
from pathlib import Path
from time import process_time

import pandas as pd

from kitting.calculation.promising import promise
from kitting.calculation.promising.eligibility import eligibility
from kitting.calculation.promising.model import Allocation, Promised
from kitting.calculation.promising.promise import without_looking_for_rings
from kitting.calculation.promising.strict_order import StrictOrder
from kitting.calculation.sheets.raw import raw_book
from kitting.management.benchmarks.main_job_data import made_up_book
from kitting.management.benchmarks.promising_data import (
    BUILDS,
    CONDUCTORS,
    DATED,
    DEPOTS,
    FIRST_DAY,
    KINDS,
    NOISE,
    ON_ORDER,
    PIECE,
    SHARE,
    SHARED,
    SIZES,
    STOCK,
    YEAR,
    MadeUp,
    compressed,
    line_by_line,
    made_up,
)
from kitting.management.in_columns import in_columns
from kitting.spreadsheets.raw_writing import write_raw_book
from kitting.spreadsheets.reading import read_raw_book

_KIB_A_MIB = 1024


@dataclass(frozen=True, slots=True)
class Measured:
    """One instance: what is in it, processor seconds, complete kits and pieces short of both ways, memory in MiB.

    ``memory_mib`` is the most of the whole process, ``more_mib`` what promising adds to the most before it.
    """

    name: str
    jobs: int
    runs: int
    lines: int
    baseline: float
    greedy: float
    strict: float
    whole: float
    greedy_kits: int
    strict_kits: int
    greedy_short: int
    strict_short: int
    memory_mib: int
    more_mib: int


# What a table shows of an instance: head and text. A further measure adds its columns at the end.
COLUMNS: tuple[tuple[str, Callable[[Measured], str]], ...] = (
    ("instance", lambda one: one.name),
    ("jobs", lambda one: f"{one.jobs:,}"),
    ("lines", lambda one: f"{one.lines:,}"),
    ("R s", lambda one: f"{one.baseline:.3f}"),
    ("G s", lambda one: f"{one.greedy:.3f}"),
    ("strict s", lambda one: f"{one.strict:.2f}"),
    ("strict/G", lambda one: f"{one.strict / one.greedy:.1f}"),
    ("whole s", lambda one: f"{one.whole:.2f}"),
    ("whole/R", lambda one: f"{one.whole / one.baseline:.0f}"),
    ("kits G", lambda one: f"{one.greedy_kits:,}"),
    ("kits", lambda one: f"{one.strict_kits:,}"),
    ("ratio", lambda one: f"{one.strict_kits / max(one.greedy_kits, 1):.2f}"),
    ("short G", lambda one: f"{one.greedy_short:,}"),
    ("short", lambda one: f"{one.strict_short:,}"),
    ("MiB", lambda one: str(one.memory_mib)),
    ("B/line", lambda one: f"{one.more_mib * _KIB_A_MIB**2 // one.lines:,}"),
)


def measure(size: str, stock: str, *, coupled: bool = False, seed: int = 1, times: float = 1) -> Measured:
    """Promise a made-up instance both ways; the strict order alone, and the whole from rows to tables with its audit.

    Args:
        size: S, M or L.
        stock: tight, normal or ample.
        coupled: owners share connectors, jacket seals and arresters.
        seed: the same seed gives the same instance.
        times: so many times the jobs and lots of the size, with the same owners and items.
    """
    amounts = replace(SIZES[size], jobs=round(times * SIZES[size].jobs), lots=round(times * SIZES[size].lots))
    made = made_up(amounts, stock=stock, seed=seed, coupled=coupled)
    with without_looking_for_rings():
        start = process_time()
        rows = compressed(made)
        rows_done = process_time()
    problem = rows.problem
    baseline = min(_reading(made) for _ in range(3))
    memory_before = _most_mib()
    with without_looking_for_rings():
        eligible = eligibility(problem)
        before = process_time()
        short, _ = line_by_line(rows, eligible)
        greedy_done = process_time()
        order = StrictOrder(problem, eligible)
        order.serve_in_turn()
        strict_done = process_time()
        del order, eligible
        promise_begins = process_time()
        promised = promise(problem)
        more_mib = _most_mib() - memory_before
        _tables(promised)
        whole_done = process_time()
    lacking = {problem.cells[cell].kit for cell, left in zip(rows.line_cell.tolist(), short, strict=True) if left}
    return Measured(
        name=" ".join([size, *([f"x{times:g}"] if times != 1 else []), stock, *(["coupled"] if coupled else [])]),
        jobs=len(problem.kits),
        runs=made.runs,
        lines=len(rows.line_cell),
        baseline=baseline,
        greedy=greedy_done - before,
        strict=strict_done - greedy_done,
        whole=rows_done - start + whole_done - promise_begins,
        greedy_kits=len(problem.kits) - len(lacking),
        strict_kits=sum(promised.served_in_turn),
        greedy_short=sum(short) // PIECE,
        strict_short=sum(promised.short.values()) // PIECE,
        memory_mib=_most_mib(),
        more_mib=more_mib,
    )


def _tables(promised: Promised) -> tuple[pd.DataFrame, pd.DataFrame]:
    """What is picked, and what is short."""
    short = pd.DataFrame({"cell": list(promised.short), "thousandths": list(promised.short.values())})
    return pd.DataFrame(promised.allocations, columns=list(Allocation._fields)), short


def _most_mib() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // _KIB_A_MIB


def measure_apart(size: str, stock: str, *, coupled: bool = False, times: float = 1) -> Measured:
    """The same in a process of its own, so that its memory is its own."""
    code = (
        "import json, dataclasses, django\ndjango.setup()\n"
        "from kitting.management.benchmarks.promising import measure\n"
        f"print(json.dumps(dataclasses.asdict(measure({size!r}, {stock!r}, coupled={coupled!r}, times={times!r}))))"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)  # noqa: S603 - our own code
    return Measured(**json.loads(done.stdout.splitlines()[-1]))


def table_text(measured: list[Measured]) -> str:
    """The figures as a table for a person."""
    rows = [tuple(head for head, _ in COLUMNS), *(tuple(text(one) for _, text in COLUMNS) for one in measured)]
    return in_columns(rows, figures=True)


def growth_text(measured: list[Measured]) -> str:
    """How much longer it takes with each doubling of the jobs, on average and the last time."""
    first, *_, before, last = measured
    doublings = len(measured) - 1
    of_each = (
        f"{name} x{(end / start) ** (1 / doublings):.1f}, the last time x{end / penultimate:.1f}"
        for name, start, penultimate, end in (
            ("strict", first.strict, before.strict, last.strict),
            ("the whole", first.whole, before.whole, last.whole),
        )
    )
    return f"From {first.jobs:,} to {last.jobs:,} jobs each doubling takes: {'; '.join(of_each)}."


def workbook_seconds(runs: int) -> tuple[float, float]:
    """Processor seconds to read a workbook whose schedule has so many rows: pandas with openpyxl, our own reading."""
    with tempfile.TemporaryDirectory() as aside:
        schedule = Path(aside) / "schedule.xlsx"
        write_raw_book(raw_book([made_up_book(runs).sheets["schedule"]]), schedule)
        start = _seconds_with_children()
        pd.read_excel(schedule, engine="openpyxl")
        plain = _seconds_with_children()
        read_raw_book(schedule)
        return plain - start, _seconds_with_children() - plain


def _seconds_with_children() -> float:
    """Processor seconds of this process and of those it has ended: our reading may work in one of its own."""
    return sum(os.times()[:4])


def settings_text() -> str:
    """How the instances are made, for a reader of the table."""
    sizes = (f"{name} {one.jobs:,} jobs, {one.owners} owners, {one.lots:,} lots" for name, one in SIZES.items())
    stock = (f"{name} {factor}" for name, factor in STOCK.items())
    kinds = (f"{kind} {share:.0%}" for kind, share in zip(KINDS, SHARE, strict=True))
    dated = (kind for kind, has_date in zip(KINDS, DATED, strict=True) if has_date)
    shared = (kind for kind, common in zip(KINDS, SHARED, strict=True) if common)
    return f"""Made up, seed 1: {"; ".join(sizes)}.
Staged-by days {FIRST_DAY} to {YEAR}; {len(DEPOTS)} depots; {ON_ORDER:.0%} of the lots on order.
{CONDUCTORS} conductors and {BUILDS} cable builds each for every owner.
Share of run ends (splice: of runs) that take a kind: {", ".join(kinds)}; with a last good day: {", ".join(dated)}.
Stock over the expected demand of an item: {", ".join(stock)}, times log-normal noise of {NOISE}.
Coupled: all owners share {", ".join(shared)}.
R: pandas reading the jobs, lines, items and lots from CSV; G: line by line in order of service; whole: these rows
promised, down to tables of what is picked and short. All in processor seconds.
MiB: the most memory of the process; B/line: what promising adds to the most before it, by line."""


def _reading(made: MadeUp) -> float:
    """Seconds for pandas to read the rows from CSV."""
    texts = [table.to_csv(index=False) for table in (made.jobs, made.lines, made.items, made.lots)]
    start = process_time()
    for text in texts:
        pd.read_csv(StringIO(text))
    return process_time() - start
