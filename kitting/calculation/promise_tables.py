"""From promises by cell to promises by line: who gets which pieces, and what each line is answered."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

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


class Share(NamedTuple):
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
    """Hand the pieces of each cell to its lines in line order.

    The pieces needed stand in one row, cell by cell and line by line; the pieces promised are laid beside them, and
    every border of a line or of an allocation cuts the row.
    """
    amounts = np.array([template.quantity or 0 for template in templates], dtype=np.int64)
    need = amounts[frame["template"].to_numpy()] if len(templates) else np.zeros(0, dtype=np.int64)
    cell_of_line = demand.cell_of_line
    lines = np.flatnonzero(cell_of_line >= 0)
    lines = lines[np.argsort(cell_of_line[lines], kind="stable")]
    line_end = np.cumsum(need[lines])
    given = sorted((one for one in promised.allocations if one.quantity), key=lambda one: one.cell)
    quantity = np.array([one.quantity for one in given], dtype=np.int64)
    start = _starts(np.array([one.cell for one in given], dtype=np.int64), quantity, cell_of_line[lines], need[lines])
    cuts = np.unique(np.concatenate([start, start + quantity, line_end]))
    begin, size = cuts[:-1], np.diff(cuts)
    piece = np.searchsorted(start, begin, side="right") - 1
    promised_there = (piece >= 0) & (begin < (start + quantity)[piece]) if given else np.zeros(len(begin), bool)
    piece, size = piece[promised_there], size[promised_there]
    line = lines[np.searchsorted(line_end, begin[promised_there], side="right")]
    left = np.where(cell_of_line >= 0, need, 0)
    np.subtract.at(left, line, size)
    order = np.argsort(line, kind="stable")
    shares = tuple(
        Share(at, given[one].lot, taken, given[one].source, given[one].ready_day)
        for at, one, taken in zip(line[order].tolist(), piece[order].tolist(), size[order].tolist(), strict=True)
    )
    return Shares(shares, left)


def in_their_bags(shares: Shares, frame: pd.DataFrame, demand: Demand, sources: Sequence[Source]) -> Shares:
    """The same pieces for the same lines of a cell, but those that lie in a bag go to the lines of its structure.

    Lines of one cell take what lies in any of the job's bags, as each of its pieces serves each of them; who builds
    the bags wants a line's pieces in its own.
    """
    bagged = {lot for lot, source in enumerate(sources) if source.structure}
    cells = (
        {int(demand.cell_of_line[share.line]) for share in shares.shares if share.lot in bagged} if bagged else set()
    )
    if not cells:
        return shares
    structures = frame["structure"].astype(str).tolist()
    kept: list[Share] = []
    of_cell: dict[int, list[Share]] = {}
    for share in shares.shares:
        cell = int(demand.cell_of_line[share.line])
        (of_cell.setdefault(cell, []) if cell in cells else kept).append(share)
    for parts in of_cell.values():
        kept += _exchanged(parts, structures, sources)
    return Shares(tuple(sorted(kept, key=lambda share: share.line)), shares.short)


def _exchanged(parts: Sequence[Share], structures: Sequence[str], sources: Sequence[Source]) -> list[Share]:
    wants: dict[int, int] = {}
    for share in parts:
        wants[share.line] = wants.get(share.line, 0) + share.quantity
    left = [share.quantity for share in parts]
    found = []
    for at_home in (True, False):
        for number, share in enumerate(parts):
            home = sources[share.lot].structure
            for line, wanted in wants.items():
                pieces = min(left[number], wanted)
                if pieces and (not at_home or (home and structures[line] == home)):
                    found.append(share._replace(line=line, quantity=pieces))
                    left[number] -= pieces
                    wants[line] -= pieces
    return found


def _starts(cells: np.ndarray, quantity: np.ndarray, cell_of_need: np.ndarray, need: np.ndarray) -> np.ndarray:
    """Where each allocation begins in the row of needs; both are sorted by cell."""
    needed_before = np.concatenate([[0], np.cumsum(need)])[np.searchsorted(cell_of_need, cells, side="left")]
    given_before = np.cumsum(quantity) - quantity
    starts: np.ndarray = needed_before + given_before - given_before[np.searchsorted(cells, cells, side="left")]
    return starts


def promise_table(lines: Sequence[str], jobs: Sequence[str], shares: Shares, sources: Sequence[Source]) -> pd.DataFrame:
    """The promises table, in line order.

    Args:
        lines: name of each line.
        jobs: job of each line.
        shares: pieces by line.
        sources: where the pieces of each lot are named.
    """
    line, lot, quantity, source, day = (
        np.array(column) for column in (zip(*shares.shares, strict=True) if shares.shares else ((),) * 5)
    )
    line, lot = line.astype(np.int64), lot.astype(np.int64)
    pieces, amount_of = np.unique(quantity.astype(np.int64), return_inverse=True)
    days, day_of = np.unique(day.astype(np.int64), return_inverse=True)
    columns: dict[str, Any] = {
        name: _spread([getattr(one, name) for one in sources], lot)
        for name in ("stock_code", "lot", "depot", "place", "order", "order_line")
    }
    columns |= {
        "line": [lines[one] for one in line.tolist()],
        "job": _spread(jobs, line),
        "quantity": np.array([as_decimal(one) for one in pieces.tolist()], dtype=object)[amount_of],
        "source": source.astype(object),
        "ready_on": _spread([date.fromordinal(one).isoformat() for one in days.tolist()], day_of),
    }
    return pd.DataFrame({name: columns[name] for name in PROMISE_COLUMNS})


def _spread(values: Sequence[str], places: np.ndarray) -> pd.Categorical:
    """The value at each place, each distinct one stored once."""
    codes, distinct = pd.factorize(np.array(values, dtype=object))
    return pd.Categorical.from_codes(codes[places], categories=pd.Index(distinct))


def answer_lines(
    frame: pd.DataFrame,
    templates: Sequence[Template],
    *,
    jobs: Mapping[str, JobDates],
    shares: Shares,
    sources: Sequence[Source],
    depots: Sequence[str] | None = None,
) -> tuple[list[str], list[str]]:
    """The answer of each line and what its promise adds to the sentence.

    ``depots`` names the depot of each line whose job has several; None where no job has.
    """
    undated = {job.job: f"nothing is promised: {job.why_undated}" for job in jobs.values() if job.why_undated}
    template = frame["template"].tolist()
    answers = [templates[number].answer or READY for number in template]
    additions = [""] * len(answers)
    if undated:
        for line, job in enumerate(frame["job"].astype(str).tolist()):
            if job in undated and answers[line] in (READY, SHORT):
                answers[line], additions[line] = CANT_TELL, undated[job]
    for share in shares.shares:
        if sources[share.lot].past_date:
            additions[share.line] = _and(additions[share.line], _past_date(share, sources[share.lot]))
        if share.source != SHELF:
            answers[share.line] = READY_IF
            additions[share.line] = _and(
                additions[share.line], _comes(share, sources[share.lot], _depot(depots, share.line))
            )
    for line in np.flatnonzero(shares.short).tolist():
        if answers[line] in (READY, READY_IF):
            answers[line] = SHORT
            here = f" at {depot}" if (depot := _depot(depots, line)) else ""
            additions[line] = _and(f"{as_decimal(int(shares.short[line]))} short{here}", additions[line])
    return answers, additions


def _depot(depots: Sequence[str] | None, line: int) -> str:
    return depots[line] if depots else ""


def _comes(share: Share, source: Source, depot: str) -> str:
    by = f"{as_decimal(share.quantity)} {'come' if share.quantity != 1000 else 'comes'}"
    day = date.fromordinal(share.ready_day).isoformat()
    if share.source == ORDER:
        return f"{by} with order {source.order} to {source.depot}, {f'at {depot}' if depot else 'here'} by {day}"
    return f"{by} from {source.depot}{depot and f' to {depot}'} by {day}"


def _past_date(share: Share, source: Source) -> str:
    return f"{as_decimal(share.quantity)} of lot {source.lot} past its date, let go by {source.past_date}"


def _and(one: str, other: str) -> str:
    return f"{one}, {other}" if one and other else one or other
