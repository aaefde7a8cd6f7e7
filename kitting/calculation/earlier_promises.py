"""An earlier plan's promises: what a new plan may keep, and what moved and why."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import pandas as pd

from kitting.calculation.demand import why_not
from kitting.calculation.doubts import Doubt
from kitting.calculation.plan_result import MOVED_COLUMNS
from kitting.calculation.promising.model import Cell, Problem
from kitting.calculation.quantities import as_decimal, thousandths
from kitting.calculation.supply import Source, Supply
from kitting.errors import Refusal

_COLUMNS = ("line", "job", "stock_code", "lot", "depot", "place", "order", "order_line", "quantity")


@dataclass(frozen=True, slots=True)
class Piece:
    """Thousandths promised to a line from one place, lot or order."""

    line: str
    job: str
    source: Source
    quantity: int


def read_earlier(table: pd.DataFrame) -> tuple[Piece, ...]:
    """The rows of a promises table, as a plan writes it.

    Args:
        table: the columns of ``promises.csv``, as text or as a plan holds them.

    Raises:
        Refusal: ``earlier-unreadable``: a column is missing, or a quantity can't be read.
    """
    missing = [name for name in _COLUMNS if name not in table.columns]
    if missing:
        raise Refusal(
            "earlier-unreadable", f"The earlier promises lack the column {', '.join(missing)}.", {"missing": missing}
        )
    return tuple(
        Piece(line, job, Source(code, depot, place, lot, order, order_line=order_line), _quantity(line, quantity))
        for line, job, code, lot, depot, place, order, order_line, quantity in zip(
            *(table[name].tolist() for name in _COLUMNS), strict=True
        )
    )


def _quantity(line: str, quantity: str | Decimal) -> int:
    try:
        return thousandths(quantity)
    except Doubt as doubt:
        message = f"The earlier promises give {line} the quantity {quantity!s}: {doubt.problem}."
        raise Refusal("earlier-unreadable", message, {"line": line}) from None


def with_kept(
    cells: Sequence[Cell], earlier: Sequence[Piece], cell_of_line: Mapping[str, int], supply: Supply
) -> tuple[Cell, ...]:
    """Cells with the pieces that the earlier plan promised them, beyond those that are fixed.

    Args:
        cells: cells in line order.
        earlier: the earlier promises.
        cell_of_line: cell of each line by name; -1 where the line takes nothing.
        supply: the free lots. Those of one name keep what is promised from them one after another.
    """
    lots = _lots_by_source(supply.sources)
    left = [lot.quantity for lot in supply.lots]
    promised: dict[int, Counter[int]] = defaultdict(Counter)
    for piece in earlier:
        cell = cell_of_line.get(piece.line, -1)
        if cell >= 0 and piece.source in lots:
            for lot, quantity in _laid_out(piece.quantity, lots[piece.source], left):
                promised[cell][lot] += quantity
    for cell, pieces in promised.items():
        for lot, quantity in cells[cell].fixed:
            pieces[lot] -= quantity
    return tuple(
        replace(cell, kept=tuple(sorted(pair for pair in promised[at].items() if pair[1] > 0)))
        if at in promised
        else cell
        for at, cell in enumerate(cells)
    )


def _laid_out(quantity: int, lots: Sequence[int], left: list[int]) -> Iterator[tuple[int, int]]:
    """(lot, thousandths) from the first lots with pieces left; what is too much is asked of the last."""
    for lot in lots:
        there = quantity if lot == lots[-1] else min(quantity, left[lot])
        left[lot] -= there
        quantity -= there
        yield lot, there


def _lots_by_source(sources: Sequence[Source]) -> dict[Source, list[int]]:
    lots: dict[Source, list[int]] = {}
    for lot, source in enumerate(sources):
        lots.setdefault(source, []).append(lot)
    return lots


def moved_table(
    earlier: Sequence[Piece], now: Sequence[Piece], *, problem: Problem, supply: Supply, kits: Mapping[str, int]
) -> pd.DataFrame:
    """One row for each line and place whose pieces are not promised from there any more, in the earlier order.

    Args:
        earlier: the promises of the earlier plan.
        now: those of the new one.
        problem: the kits of the new plan.
        supply: its free lots.
        kits: kit of each job.
    """
    told = _Teller(earlier, now, problem, supply, kits)
    rows = []
    for (line, source), quantity in told.had.items():
        lacking = quantity - told.has[line, source]
        if lacking > 0:
            job = told.job_of[line]
            rows.append(
                (line, job, as_decimal(lacking), _named(source), told.gained(line), told.why(job, line, source))
            )
    return pd.DataFrame(rows, columns=list(MOVED_COLUMNS))


class _Teller:
    """Says why pieces are no longer promised from where they were."""

    def __init__(
        self, earlier: Sequence[Piece], now: Sequence[Piece], problem: Problem, supply: Supply, kits: Mapping[str, int]
    ) -> None:
        self.had, self.has = _by_line(earlier), _by_line(now)
        self.job_of = {piece.line: piece.job for piece in (*now, *earlier)}
        self._problem, self._supply, self._kits = problem, supply, kits
        self._lots = _lots_by_source(supply.sources)
        self._promised_before = _by_source(earlier)
        self._jobs_before, self._jobs_now = _by_job(earlier), _by_job(now)
        self._sources: dict[str, list[Source]] = {}
        for line, source in self.has:
            self._sources.setdefault(line, []).append(source)

    def gained(self, line: str) -> str:
        """Where the line has more pieces from than before."""
        more = ((source, self.has[line, source] - self.had[line, source]) for source in self._sources.get(line, ()))
        return "; ".join(f"{as_decimal(quantity)} {_named(source)}" for source, quantity in more if quantity > 0)

    def why(self, job: str, line: str, source: Source) -> str:
        """The first reason that holds."""
        lots = [self._supply.lots[lot] for lot in self._lots.get(source, ())]
        there = sum(lot.quantity for lot in lots)
        kit = self._problem.kits[self._kits[job]] if job in self._kits else None
        if kit is None or not kit.dated:
            return "the job is gone, or has no cutover"
        if not there:
            return "not free any more: gone, on hold, or in another place"
        reasons = [min((why_not(lot, part) for part in kit.parts or (kit,)), key=bool) for lot in lots]
        if all(reasons):
            return reasons[0]
        if there < self._promised_before[source]:
            return f"{as_decimal(there)} are there, {as_decimal(self._promised_before[source])} were promised"
        takers = [
            taker
            for taker, quantity in self._jobs_now.get(source, Counter()).items()
            if taker != job and quantity > self._jobs_before.get(source, Counter())[taker]
        ]
        if takers:
            return f"now promised to {', '.join(sorted(takers))}"
        if not self.gained(line):
            return "the line is gone or needs fewer, or its kit is served after others now"
        return "taken elsewhere, so that other pieces cost less"


def _by_line(pieces: Sequence[Piece]) -> Counter[tuple[str, Source]]:
    found: Counter[tuple[str, Source]] = Counter()
    for piece in pieces:
        found[piece.line, piece.source] += piece.quantity
    return found


def _by_source(pieces: Sequence[Piece]) -> Counter[Source]:
    found: Counter[Source] = Counter()
    for piece in pieces:
        found[piece.source] += piece.quantity
    return found


def _by_job(pieces: Sequence[Piece]) -> dict[Source, Counter[str]]:
    found: dict[Source, Counter[str]] = defaultdict(Counter)
    for piece in pieces:
        found[piece.source][piece.job] += piece.quantity
    return found


def _named(source: Source) -> str:
    """``EL15-1 lot L-7 at N A-2``, ``EL15-1 with order PO-1/1 to N``."""
    if source.order:
        return f"{source.stock_code} with order {source.order}/{source.order_line} to {source.depot}"
    lot = f"lot {source.lot}" if source.lot else "lot unknown"
    return f"{source.stock_code} {lot} at {source.depot} {source.place}".rstrip()
