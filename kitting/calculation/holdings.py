"""Where every owned piece of a stock code is, as seen from one job: the numbers of a shortage add up to the total."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import numpy as np
import pandas as pd

from kitting.calculation.promise_tables import Shares
from kitting.calculation.promising.model import NEVER, Kit, Lot
from kitting.calculation.quantities import as_decimal
from kitting.calculation.records import Record, records
from kitting.calculation.sheets.book import Book
from kitting.calculation.supply import NO_DEPOT, Supply

PROMISED = "promised to"
RESERVE = "in reserve"
TOO_FAR = "too far to come in time"
BOUND = "bound to its depot"
EXPIRES = "expires"
_HOLD = "hold"
_WORDS = {"reserve": RESERVE, "truck": "on a truck", _HOLD: "on hold", "lent": "lent to a neighbour"}
_NOT_FREE = "not free (staged for no job, or no use-by date)"
_MOST_JOBS = 3  # jobs named in one sentence; the others are counted


@lru_cache(maxsize=4096)
def pieces_text(quantity: int) -> str:
    """Thousandths as plain text: 6000 -> ``6``."""
    return f"{as_decimal(quantity):f}"


@dataclass(frozen=True, slots=True)
class Holding:
    """Some pieces of one stock code (thousandths) at a depot, and why they don't serve the job that asks."""

    depot: str
    why: str
    quantity: int


@dataclass(frozen=True, slots=True)
class _Kept:
    """Pieces that are in no free lot; ``expiry_day`` as in the model."""

    depot: str
    why: str
    quantity: int
    expiry_day: int


class Holdings:
    """All pieces by stock code: promised to whom, kept back, or left over.

    Args:
        book: the parsed sheets.
        supply: the free lots.
        shares: pieces promised to lines.
        jobs: job of each line.
        kits: jobs in the order of service.
    """

    def __init__(self, book: Book, supply: Supply, shares: Shares, *, jobs: Sequence[str], kits: Sequence[Kit]) -> None:
        self._kits = kits
        self._supply = supply
        self._place = {kit.job: place for place, kit in enumerate(kits)}
        left = np.array([lot.quantity for lot in supply.lots], dtype=np.int64)
        promised: dict[tuple[str, str], dict[str, int]] = defaultdict(lambda: defaultdict(int))
        ordered: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
        for lot, job, quantity in _by_lot_and_job(shares, jobs):
            left[lot] -= quantity
            source = supply.sources[lot]
            takers = ordered[lot] if source.order else promised[(source.stock_code, source.depot)]
            takers[job] += quantity
        self._left = left.tolist()
        self._ordered = ordered
        self._promised: dict[str, list[Holding]] = defaultdict(list)
        for (code, depot), takers in sorted(promised.items()):
            self._promised[code] += self._told(depot, takers)
        self._lots: dict[str, list[int]] = defaultdict(list)
        for number, source in enumerate(supply.sources):
            self._lots[source.stock_code].append(number)
        self._kept_back = _kept_back(book, supply)
        self._unread = _unread_orders(book, supply)
        self._days = {
            (row["from_depot"], row["to_depot"]): row["days"]
            for row in records(book, "transfers")
            if isinstance(row["days"], int)
        }

    def _told(self, depot: str, takers: Mapping[str, int]) -> list[Holding]:
        """Who has the pieces: the first jobs in the order of service by name, the others together."""
        order = sorted(takers.items(), key=lambda taker: self._place[taker[0]])
        held = [Holding(depot, f"{PROMISED} {job}", pieces) for job, pieces in order[:_MOST_JOBS]]
        others = order[_MOST_JOBS:]
        if others:
            why = f"{PROMISED} {len(others)} other job{'s' if len(others) > 1 else ''}"
            held.append(Holding(depot, why, sum(pieces for _, pieces in others)))
        return held

    def of(self, code: str, kit: int, depot: int = -1) -> list[Holding]:
        """Every owned piece of a stock code, as the kit at this place in the order of service sees it.

        Args:
            code: the stock code.
            kit: place of the kit.
            depot: index of the depot that asks, -1 where the kit has one.
        """
        asking = self._kits[kit].at(depot)
        held = [*self._promised.get(code, ())]
        for kept in self._kept_back.get(code, ()):
            spoilt = _expires(kept.expiry_day) if kept.expiry_day < asking.good_through_day else ""
            held.append(Holding(kept.depot, f"{kept.why}{spoilt and ', '}{spoilt}", kept.quantity))
        for number in self._lots.get(code, ()):
            source, lot = self._supply.sources[number], self._supply.lots[number]
            if self._left[number] and not source.order:
                held.append(Holding(source.depot, self._left_over(lot, asking), self._left[number]))
        return _merged(held)

    def _left_over(self, lot: Lot, kit: Kit) -> str:
        if lot.let_go:
            return f"{EXPIRES} before the cutover, let go for {self._kits[lot.only_kit].job} alone"
        if lot.expiry_day < kit.good_through_day:
            return _expires(lot.expiry_day)
        if lot.only_kit >= 0:
            return f"staged for {self._kits[lot.only_kit].job}"
        if lot.arrival[kit.depot] == NEVER:
            return BOUND
        if lot.arrival[kit.depot] > kit.staged_by_day:
            return TOO_FAR
        return "left"

    def transfer_days(self, start: str, destination: str) -> int | None:
        """Working days from one depot to another, 0 to itself; None where no way leads."""
        return 0 if start == destination else self._days.get((start, destination))

    def on_order(self, code: str) -> str:
        """Open orders of a stock code: number, pieces, when they are ready, who has them."""
        told = []
        for number in self._lots.get(code, ()):
            source, lot = self._supply.sources[number], self._supply.lots[number]
            if source.order:
                takers = self._told(source.depot, self._ordered.get(number, {}))
                words = ", ".join(f"{pieces_text(one.quantity)} {one.why}" for one in takers)
                day = date.fromordinal(lot.ready_day).isoformat()
                pieces = pieces_text(lot.quantity)
                told.append(f"{source.order}: {pieces} at {source.depot} on {day}{words and f' ({words})'}")
        told.sort()
        told += [
            f"{row['order']}: {pieces_text(row['quantity'])} at {row['depot']}, {_no_day(row)}"
            for row in sorted(self._unread.get(code, ()), key=lambda row: (row["order"], row["line"] or ""))
        ]
        return "; ".join(told)

    def first_order_left(self, code: str, depot: int) -> int | None:
        """Day on which the first unpromised piece of an open order can be at a depot, or None."""
        days = [
            self._supply.lots[number].arrival[depot]
            for number in self._lots.get(code, ())
            if self._supply.sources[number].order and self._left[number]
        ]
        return min((day for day in days if day < NEVER), default=None)

    def ordered_for_nobody(self) -> dict[tuple[str, str], int]:
        """(stock code, depot) -> thousandths on open orders that no line is promised, those without a day included."""
        found = self._left_by_place(number for number, lot in enumerate(self._supply.lots) if lot.is_order)
        for code, rows in self._unread.items():
            for row in rows:
                found[(code, row["depot"])] += row["quantity"]
        return found

    def bins_left(self) -> dict[tuple[str, str], int]:
        """(stock code, depot) -> unpromised thousandths that are ours, free, and not past their date."""
        return self._left_by_place(
            number
            for number, lot in enumerate(self._supply.lots)
            if not (lot.is_order or lot.own_depot_only or lot.depot == NO_DEPOT) and lot.expiry_day >= lot.ready_day
        )

    def _left_by_place(self, numbers: Iterable[int]) -> dict[tuple[str, str], int]:
        found: dict[tuple[str, str], int] = defaultdict(int)
        for number in numbers:
            source = self._supply.sources[number]
            found[(source.stock_code, source.depot)] += self._left[number]
        return found


def _by_lot_and_job(shares: Shares, jobs: Sequence[str]) -> Iterator[tuple[int, str, int]]:
    """Thousandths of each lot that each job is promised."""
    if not shares.shares:
        return
    line, lot, quantity = (np.array(column) for column in list(zip(*shares.shares, strict=True))[:3])
    job_of_line, names = pd.factorize(np.array(jobs, dtype=object))
    pairs, pair_of = np.unique(lot * len(names) + job_of_line[line], return_inverse=True)
    total = np.zeros(len(pairs), dtype=np.int64)
    np.add.at(total, pair_of, quantity)
    for pair, pieces in zip(pairs.tolist(), total.tolist(), strict=True):
        number, job = divmod(pair, len(names))
        yield number, str(names[job]), pieces


def _expires(day: int) -> str:
    return f"expires {date.fromordinal(day).isoformat()}, before the cutover"


def _no_day(row: Record) -> str:
    return f"was due {row['promised'].isoformat()}" if isinstance(row["promised"], date) else "no date"


def _kept_back(book: Book, supply: Supply) -> Mapping[str, list[_Kept]]:
    """Pieces that are in no free lot: reserve, truck, hold, staged for nobody, dated without a use-by date."""
    kept: dict[str, list[_Kept]] = defaultdict(list)
    other: dict[tuple[str, str], int] = defaultdict(int)
    for row in records(book, "stock"):
        words = _WORDS.get(row["place_kind"])
        if words and row["quantity"]:
            day = row["use_by"].toordinal() if isinstance(row["use_by"], date) else NEVER
            words += f" (lot {row['lot']})" if row["place_kind"] == _HOLD and row["lot"] else ""
            kept[row["stock_code"]].append(_Kept(row["depot"], words, row["quantity"], day))
        elif not words:
            other[(row["stock_code"], row["depot"])] += row["quantity"]
    for source, lot in zip(supply.sources, supply.lots, strict=True):
        if not source.order:
            other[(source.stock_code, source.depot)] -= lot.quantity
    for (code, depot), pieces in other.items():
        if pieces:
            kept[code].append(_Kept(depot, _NOT_FREE, pieces, NEVER))
    return kept


def _unread_orders(book: Book, supply: Supply) -> Mapping[str, list[Record]]:
    """Orders that are not netted: without a date, or due before the as-of day."""
    netted = {(source.order, source.stock_code, source.depot) for source in supply.sources if source.order}
    found: dict[str, list[Record]] = defaultdict(list)
    for row in records(book, "orders"):
        if row["quantity"] and (row["order"], row["stock_code"], row["depot"]) not in netted:
            found[row["stock_code"]].append(row)
    return found


def _merged(held: Sequence[Holding]) -> list[Holding]:
    sums: dict[tuple[str, str], int] = {}
    for one in held:
        sums[(one.depot, one.why)] = sums.get((one.depot, one.why), 0) + one.quantity
    merged = [Holding(depot, why, pieces) for (depot, why), pieces in sums.items()]
    promised = [one for one in merged if one.why.startswith(PROMISED)]
    others = [one for one in merged if not one.why.startswith(PROMISED)]
    return promised + sorted(others, key=lambda one: (_rank(one.why), one.depot, one.why))


def _rank(why: str) -> int:
    """Place of a reason among those that are not promises: what a person may release comes first."""
    known = (*_WORDS.values(), _NOT_FREE, "staged for", BOUND, TOO_FAR, EXPIRES)
    return next((place for place, words in enumerate(known) if why.startswith(words)), len(known))
