"""From promises by cell to promises by line: who gets which pieces, and what each line is answered."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from kitting.calculation.answers import CANT_TELL, READY, READY_IF, SHORT
from kitting.calculation.demand import Demand
from kitting.calculation.expansion.slots import Template
from kitting.calculation.job_dates import JobDates
from kitting.calculation.plan_result import PROMISE_COLUMNS
from kitting.calculation.promising.model import ORDER, SHELF, Promised
from kitting.calculation.quantities import as_decimal
from kitting.calculation.supply import Source


@dataclass(frozen=True, slots=True)
class Share:
    """Pieces of one lot for one line; ``ready_day`` is an ordinal, ``quantity`` thousandths."""

    line: int
    lot: int
    quantity: int
    source: str
    ready_day: int


@dataclass(frozen=True, slots=True)
class Shares:
    """All shares in line order, and for each line the thousandths it is short."""

    shares: tuple[Share, ...]
    short: np.ndarray


def split_by_line(frame: pd.DataFrame, templates: Sequence[Template], demand: Demand, promised: Promised) -> Shares:
    """Hand the pieces of each cell to its lines in line order."""
    amounts = np.array([template.quantity or 0 for template in templates], dtype=np.int64)
    need = amounts[frame["template"].to_numpy()] if len(templates) else np.zeros(0, dtype=np.int64)
    lines_of_cell: list[list[int]] = [[] for _ in demand.cells]
    for line, cell in enumerate(demand.cell_of_line.tolist()):
        if cell >= 0:
            lines_of_cell[cell].append(line)
    left = np.where(demand.cell_of_line >= 0, need, 0).tolist()
    place = [0] * len(demand.cells)
    shares: list[Share] = []
    for allocation in promised.allocations:
        lines, pieces = lines_of_cell[allocation.cell], allocation.quantity
        while pieces:
            line = lines[place[allocation.cell]]
            taken = min(pieces, left[line])
            if taken:
                shares.append(Share(line, allocation.lot, taken, allocation.source, allocation.ready_day))
            left[line] -= taken
            pieces -= taken
            if not left[line]:
                place[allocation.cell] += 1
    shares.sort(key=lambda share: share.line)
    return Shares(tuple(shares), np.array(left, dtype=np.int64))


def promise_table(lines: Sequence[str], jobs: Sequence[str], shares: Shares, sources: Sequence[Source]) -> pd.DataFrame:
    """The promises table, in line order.

    Args:
        lines: name of each line.
        jobs: job of each line.
        shares: pieces by line.
        sources: where the pieces of each lot are named.
    """
    rows = [
        (
            lines[share.line],
            jobs[share.line],
            sources[share.lot].stock_code,
            sources[share.lot].lot,
            sources[share.lot].depot,
            sources[share.lot].place,
            as_decimal(share.quantity),
            share.source,
            sources[share.lot].order,
            date.fromordinal(share.ready_day).isoformat(),
        )
        for share in shares.shares
    ]
    return pd.DataFrame(rows, columns=list(PROMISE_COLUMNS))


def answer_lines(
    frame: pd.DataFrame,
    templates: Sequence[Template],
    *,
    jobs: Mapping[str, JobDates],
    shares: Shares,
    sources: Sequence[Source],
) -> tuple[list[str], list[str]]:
    """The answer of each line and what its promise adds to the sentence."""
    undated = {job.job: f"nothing is promised: {job.why_undated}" for job in jobs.values() if job.why_undated}
    template = frame["template"].tolist()
    answers = [templates[number].answer or READY for number in template]
    additions = [""] * len(answers)
    if undated:
        for line, job in enumerate(frame["job"].astype(str).tolist()):
            if job in undated and answers[line] in (READY, SHORT):
                answers[line], additions[line] = CANT_TELL, undated[job]
    for share in shares.shares:
        if share.source != SHELF:
            answers[share.line] = READY_IF
            additions[share.line] = _and(additions[share.line], _comes(share, sources[share.lot]))
    for line in np.flatnonzero(shares.short).tolist():
        if answers[line] in (READY, READY_IF):
            answers[line] = SHORT
            additions[line] = _and(f"{as_decimal(int(shares.short[line]))} short", additions[line])
    return answers, additions


def _comes(share: Share, source: Source) -> str:
    by = f"{as_decimal(share.quantity)} {'come' if share.quantity != 1000 else 'comes'}"
    day = date.fromordinal(share.ready_day).isoformat()
    if share.source == ORDER:
        return f"{by} with order {source.order} to {source.depot}, here by {day}"
    return f"{by} from {source.depot} by {day}"


def _and(one: str, other: str) -> str:
    return f"{one}, {other}" if one and other else one or other
