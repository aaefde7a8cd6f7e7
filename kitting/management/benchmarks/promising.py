"""Promising timed against a plain line-by-line greedy (G) and pandas reading the same rows from CSV (R)."""

import json
import resource
import subprocess
import sys
from dataclasses import asdict, dataclass
from io import StringIO
from time import process_time

import pandas as pd

from kitting.calculation.promising import promise
from kitting.calculation.promising.eligibility import eligibility
from kitting.calculation.promising.strict_order import StrictOrder
from kitting.management.benchmarks.promising_data import PIECE, SIZES, MadeUp, line_by_line, made_up

_KIB_A_MIB = 1024


@dataclass(frozen=True, slots=True)
class Measured:
    """One instance: what is in it, processor seconds, complete kits and pieces short of both ways, memory in MiB."""

    name: str
    jobs: int
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


def measure(size: str, stock: str, *, coupled: bool = False, seed: int = 1) -> Measured:
    """Promise a made-up instance both ways; the strict order alone, and the whole of ``promise`` with its audit."""
    made = made_up(SIZES[size], stock=stock, seed=seed, coupled=coupled)
    problem = made.problem
    baseline = min(_reading(made) for _ in range(3))
    eligible = eligibility(problem)
    start = process_time()
    short, _ = line_by_line(made, eligible)
    greedy_done = process_time()
    order = StrictOrder(problem, eligible)
    order.serve_in_turn()
    strict_done = process_time()
    del order, eligible
    before = process_time()
    promised = promise(problem)
    whole_done = process_time()
    lacking = {problem.cells[cell].kit for cell, left in zip(made.line_cell.tolist(), short, strict=True) if left}
    return Measured(
        name=" ".join([size, stock, *(["coupled"] if coupled else [])]),
        jobs=len(problem.kits),
        lines=len(made.line_cell),
        baseline=baseline,
        greedy=greedy_done - start,
        strict=strict_done - greedy_done,
        whole=whole_done - before,
        greedy_kits=len(problem.kits) - len(lacking),
        strict_kits=sum(promised.served_in_turn),
        greedy_short=sum(short) // PIECE,
        strict_short=sum(promised.short.values()) // PIECE,
        memory_mib=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // _KIB_A_MIB,
    )


def measure_apart(size: str, stock: str, *, coupled: bool = False) -> Measured:
    """The same in a process of its own, so that its memory is its own."""
    code = (
        "import json, dataclasses\n"
        "from kitting.management.benchmarks.promising import measure\n"
        f"print(json.dumps(dataclasses.asdict(measure({size!r}, {stock!r}, coupled={coupled!r}))))"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)  # noqa: S603 - our own code
    return Measured(**json.loads(done.stdout.splitlines()[-1]))


def table_text(measured: list[Measured]) -> str:
    """The figures as a table for a person."""
    heads = "instance,jobs,lines,R s,G s,strict/G,promise/R,kits G,kits,ratio,short G,short,MiB"
    rows = [tuple(heads.split(","))]
    rows.extend(
        (one.name, f"{one.jobs:,}", f"{one.lines:,}", f"{one.baseline:.3f}", f"{one.greedy:.3f}",
         f"{one.strict / one.greedy:.1f}", f"{one.whole / one.baseline:.0f}", f"{one.greedy_kits:,}",
         f"{one.strict_kits:,}", f"{one.strict_kits / max(one.greedy_kits, 1):.2f}", f"{one.greedy_short:,}",
         f"{one.strict_short:,}", str(one.memory_mib))
        for one in measured
    )  # fmt: skip
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join("  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in rows)


def _reading(made: MadeUp) -> float:
    """Seconds for pandas to read the runs, lots and items of an instance from CSV."""
    problem = made.problem
    texts = [
        pd.DataFrame(made.runs, columns=["job", "conductor", "build", "phases"]).to_csv(index=False),
        pd.DataFrame([asdict(lot) for lot in problem.lots]).to_csv(index=False),
        pd.DataFrame({"stock_code": problem.items}).to_csv(index=False),
    ]
    start = process_time()
    for text in texts:
        pd.read_csv(StringIO(text))
    return process_time() - start
