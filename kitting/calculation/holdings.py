"""Where every owned piece of a stock code is, as seen from one job: the numbers of a shortage add up to the total."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from kitting.calculation.promise_tables import Shares
from kitting.calculation.promising.model import Kit, Lot
from kitting.calculation.quantities import as_decimal
from kitting.calculation.records import records
from kitting.calculation.sheets.book import Book
from kitting.calculation.supply import Supply

RESERVE = "in reserve"
_WORDS = {"reserve": RESERVE, "truck": "on a truck", "hold": "on hold"}


@dataclass(frozen=True, slots=True)
class Holding:
    """Some pieces of one stock code (thousandths) at a depot, and why they don't serve the job that asks."""

    depot: str
    why: str
    quantity: int


class Holdings:
    """All pieces by stock code: promised to whom, kept back, or left over."""

    def __init__(self, book: Book, supply: Supply, shares: Shares, *, jobs: Sequence[str], kits: Sequence[Kit]) -> None:
        """Read the books.

        Args:
            book: the parsed sheets.
            supply: the free lots.
            shares: pieces promised to lines.
            jobs: job of each line.
            kits: jobs in the order of service.
        """
        self._kits = kits
        self._supply = supply
        left = [lot.quantity for lot in supply.lots]
        promised: dict[str, dict[tuple[str, str], int]] = defaultdict(lambda: defaultdict(int))
        ordered: dict[str, dict[tuple[int, str], int]] = defaultdict(lambda: defaultdict(int))
        for share in shares.shares:
            left[share.lot] -= share.quantity
            source, job = supply.sources[share.lot], jobs[share.line]
            if source.order:
                ordered[source.stock_code][(share.lot, job)] += share.quantity
            else:
                promised[source.stock_code][(source.depot, job)] += share.quantity
        self.left = left
        self._promised, self._ordered = promised, ordered
        self._kept_back = self._rows_kept_back(book, supply)
        self._lots: dict[str, list[int]] = defaultdict(list)
        for number, source in enumerate(supply.sources):
            self._lots[source.stock_code].append(number)

    @staticmethod
    def _rows_kept_back(book: Book, supply: Supply) -> Mapping[str, list[Holding]]:
        """Pieces that are in no free lot: reserve, truck, hold, staged for nobody, dated without a use-by date."""
        free: dict[tuple[str, str], int] = defaultdict(int)
        for source, lot in zip(supply.sources, supply.lots, strict=True):
            if not source.order:
                free[(source.stock_code, source.depot)] += lot.quantity
        kept: dict[str, list[Holding]] = defaultdict(list)
        owned: dict[tuple[str, str], int] = defaultdict(int)
        named: dict[tuple[str, str], int] = defaultdict(int)
        for row in records(book, "stock"):
            place = (row["stock_code"], row["depot"])
            owned[place] += row["quantity"]
            words = _WORDS.get(row["place_kind"])
            if words:
                named[place] += row["quantity"]
                kept[row["stock_code"]].append(Holding(row["depot"], words, row["quantity"]))
        for (code, depot), total in owned.items():
            other = total - free[(code, depot)] - named[(code, depot)]
            if other:
                kept[code].append(Holding(depot, "not free (staged for no job, or no use-by date)", other))
        return kept

    def of(self, code: str, kit: int) -> list[Holding]:
        """Every owned piece of a stock code, as the job sees it."""
        held = [Holding(depot, f"promised to {job}", pieces) for (depot, job), pieces in self._promised[code].items()]
        held += self._kept_back.get(code, [])
        for number in self._lots[code]:
            source, lot = self._supply.sources[number], self._supply.lots[number]
            if self.left[number] and not source.order:
                held.append(Holding(source.depot, self._left_over(lot, self._kits[kit]), self.left[number]))
        return _merged(held)

    def _left_over(self, lot: Lot, kit: Kit) -> str:
        if lot.expiry_day < kit.good_through_day:
            return f"expires {date.fromordinal(lot.expiry_day).isoformat()}, before the cutover"
        if lot.only_kit >= 0:
            return f"staged for {self._kits[lot.only_kit].job}"
        if lot.own_depot_only and lot.depot != kit.depot:
            return "supplier-owned at another depot"
        if lot.arrival[kit.depot] > kit.staged_by_day:
            return "too far to come in time"
        return "left"

    def on_order(self, code: str) -> str:
        """Open orders of a stock code: number, pieces, when they are ready, who has them."""
        told = []
        for number in self._lots[code]:
            source, lot = self._supply.sources[number], self._supply.lots[number]
            if source.order:
                takers = [
                    f"{as_decimal(pieces):f} to {job}"
                    for (of_lot, job), pieces in self._ordered[code].items()
                    if of_lot == number
                ]
                day = date.fromordinal(lot.ready_day).isoformat()
                taken = f" ({', '.join(takers)})" if takers else ""
                told.append(f"{source.order}: {as_decimal(lot.quantity):f} at {source.depot} on {day}{taken}")
        return "; ".join(told)

    def first_order_left(self, code: str, depot: int) -> int | None:
        """Day on which the first unpromised piece of an open order can be at a depot, or None."""
        days = [
            self._supply.lots[number].arrival[depot]
            for number in self._lots[code]
            if self._supply.sources[number].order and self.left[number]
        ]
        return min(days, default=None)

    def ordered_for_nobody(self) -> dict[tuple[str, str], int]:
        """(stock code, depot) -> thousandths on open orders that no line is promised."""
        return self._left_by_place(orders=True)

    def bins_left(self) -> dict[tuple[str, str], int]:
        """(stock code, depot) -> unpromised thousandths that are ours and on a shelf."""
        return self._left_by_place(orders=False)

    def _left_by_place(self, *, orders: bool) -> dict[tuple[str, str], int]:
        found: dict[tuple[str, str], int] = defaultdict(int)
        for source, lot, left in zip(self._supply.sources, self._supply.lots, self.left, strict=True):
            if bool(source.order) == orders and not (lot.own_depot_only and not orders):
                found[(source.stock_code, source.depot)] += left
        return found


def _merged(held: Sequence[Holding]) -> list[Holding]:
    sums: dict[tuple[str, str], int] = {}
    for one in held:
        sums[(one.depot, one.why)] = sums.get((one.depot, one.why), 0) + one.quantity
    return [Holding(depot, why, pieces) for (depot, why), pieces in sums.items()]
