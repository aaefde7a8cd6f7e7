"""Free pieces for planned work: stock and orders as lots, with the day they can be at each depot."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from kitting.calculation.calendars import add_working_days, order_ready
from kitting.calculation.job_dates import closed_days, depot_days
from kitting.calculation.natural_order import natural_rank
from kitting.calculation.promising.model import NEVER, Lot
from kitting.calculation.promising.moves import RESERVE, TRUCK
from kitting.calculation.questions import Missing
from kitting.calculation.records import Fact, Record, records
from kitting.calculation.sheets.book import Book

# Pieces of these places are free for planned work; truck, hold and reserve never are.
BIN, STAGING, BAG, VAN, SUPPLIER_OWNED = "bin", "staging", "bag", "van", "supplier-owned"
FREE_PLACES = (BIN, STAGING, BAG, VAN, SUPPLIER_OWNED)
_RESERVE = "reserve"
LOCKED_PLACES = {"truck": TRUCK, _RESERVE: RESERVE}
NO_DEPOT = -1  # where pieces on the road lie
_ON_THE_ROAD = {"depot": NO_DEPOT, "own_depot_only": False}


@dataclass(frozen=True, slots=True)
class Source:
    """Where the pieces of a lot are named on the stock or the orders sheet; the row itself tells no source apart.

    ``order_line`` is the line of ``order``: each of its parts comes on a day of its own.

    ``structure`` is that of the bag or staging place they lie in, '' for none. ``past_date`` says who let pieces go
    that are past their date for the one job that may have them, '' for all others.
    """

    stock_code: str
    depot: str
    place: str
    lot: str
    order: str
    row: int = field(default=0, compare=False)
    structure: str = field(default="", compare=False)
    order_line: str = ""
    past_date: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class PastDate:
    """Thousandths of a lot that two persons have let go for a job past its date, good for it through a day."""

    stock_code: str
    lot: str
    job: str
    quantity: int
    good_to: date
    by: str


@dataclass(frozen=True, slots=True)
class Supply:
    """The free lots and, lot by lot, where they are named."""

    lots: tuple[Lot, ...]
    sources: tuple[Source, ...]


class _Ways:
    """Days on which pieces that are ready at one depot can be at each of the others."""

    def __init__(self, book: Book, depots: Sequence[str]) -> None:
        self.depots = depots
        self.closed = closed_days(book)
        self.receiving = depot_days(book, "receiving_days", 0)
        self.days = {
            (row["from_depot"], row["to_depot"]): row["days"]
            for row in records(book, "transfers")
            if isinstance(row["days"], int)
        }
        self._known: dict[tuple[str, date, bool], tuple[int, ...]] = {}

    def arrivals(self, depot: str, ready: date, *, own_only: bool) -> tuple[int, ...]:
        """For each depot the day, as an ordinal, or NEVER."""
        key = (depot, ready, own_only)
        if key not in self._known:
            self._known[key] = tuple(self._arrival(depot, other, ready, own_only) for other in self.depots)
        return self._known[key]

    def _arrival(self, depot: str, other: str, ready: date, own_only: bool) -> int:
        if depot == other:
            return ready.toordinal()
        days = self.days.get((depot, other))
        if own_only or days is None:
            return NEVER
        return add_working_days(ready, days, self.closed[other]).toordinal()

    def van_days(self, depot: str) -> int:
        """Days a van needs to a depot: the longest way there, else one."""
        return max((days for (_, to), days in self.days.items() if to == depot), default=1)


def read_supply(
    book: Book,
    *,
    as_of: date,
    items: Mapping[str, int],
    depots: Sequence[str],
    kits: Mapping[str, int],
    past_dates: Sequence[PastDate] = (),
) -> Supply:
    """All free pieces.

    Args:
        book: the parsed sheets.
        as_of: the day of planning; transfers start on it.
        items: index of each stock code.
        depots: depots in index order.
        kits: index of each job in the order of service.
        past_dates: pieces that are good for one job though they are past their date: a lot of their own each.

    A lot on hold, a dated item without a use-by date, and pieces in a truck, on hold or in reserve are not free.
    Pieces in a van are at no depot until it arrives at its own, so they come there as a transfer; a bag in a van stays
    its job's.
    """
    ways = _Ways(book, depots)
    found = [*_stock(book, ways, as_of, kits, past_dates), *_orders(book, ways, as_of)]
    found = [(source, lot) for source, lot in found if source.stock_code in items]
    place_rank = natural_rank(source.place for source, _ in found)
    lot_rank = natural_rank(source.lot for source, _ in found)
    depot_index = {depot: index for index, depot in enumerate(depots)}
    order = sorted(range(len(found)), key=lambda i: _walk_key(found[i], place_rank, lot_rank))
    walk = {index: rank for rank, index in enumerate(order)}
    lots = tuple(
        Lot(item=items[source.stock_code], walk=walk[index], key=index, **{"depot": depot_index[source.depot], **facts})
        for index, (source, facts) in enumerate(found)
    )
    return Supply(lots, tuple(source for source, _ in found))


_Found = tuple[Source, dict[str, Any]]


def _dated(book: Book) -> set[str]:
    """Stock codes of which each lot has a use-by date."""
    return {row["stock_code"] for row in records(book, "items") if row["shelf_months"] is not None}


def _walk_key(found: _Found, place_rank: Mapping[str, int], lot_rank: Mapping[str, int]) -> tuple[Any, ...]:
    source, facts = found
    return (
        facts["only_kit"] < 0,
        place_rank[source.place],
        lot_rank[source.lot],
        source.order,
        facts["ready_day"],
        source.stock_code,
        source.depot,
        facts["quantity"],
        source.order_line,
    )


def _stock(
    book: Book, ways: _Ways, as_of: date, kits: Mapping[str, int], past_dates: Sequence[PastDate]
) -> list[_Found]:
    found = []
    free = [*_free_rows(book, kits)]
    let_go = _let_go(free, past_dates, kits)
    for row, kind, kept_for in free:
        own_only = kind in (SUPPLIER_OWNED, STAGING, BAG, VAN)
        closed = ways.closed[row["depot"]]
        ready = add_working_days(as_of, ways.van_days(row["depot"]), closed) if kind == VAN else as_of
        structure = (row["structure"] or "") if kept_for >= 0 else ""
        source = Source(
            row["stock_code"], row["depot"], row["place"] or "", row["lot"] or "", "", row["row"], structure
        )
        facts = _facts(row, ready, ways, own_only=own_only, only_kit=kept_for, is_order=False)
        facts = {**facts, **_ON_THE_ROAD} if kind == VAN else facts
        for one, pieces in let_go.get(row["row"], ()):
            signed = {"only_kit": kits[one.job], "expiry_day": one.good_to.toordinal(), "let_go": True}
            found.append((replace(source, past_date=one.by), {**facts, **signed, "quantity": pieces}))
            facts["quantity"] -= pieces
        if facts["quantity"]:
            found.append((source, facts))
    return found


_Free = tuple[Record, str, int]  # a row of the stock sheet, the kind of its place, the kit it is kept for or -1


def _free_rows(book: Book, kits: Mapping[str, int]) -> Iterator[_Free]:
    dated = _dated(book)
    for row in records(book, "stock"):
        kind = row["place_kind"] or BIN
        kept_for = kits.get(row["job"], -1) if kind in (STAGING, BAG, VAN) else -1
        if _is_free(row, kind, dated) and not (kind in (STAGING, BAG) and kept_for < 0):
            yield row, kind, kept_for


def _let_go(
    free: Sequence[_Free], past_dates: Sequence[PastDate], kits: Mapping[str, int]
) -> Mapping[int, Sequence[tuple[PastDate, int]]]:
    """By row of the stock sheet the thousandths that are let go for a job: those in its own bags first."""
    found: dict[int, list[tuple[PastDate, int]]] = defaultdict(list)
    left = {row["row"]: row["quantity"] for row, _, _ in free}
    for one in past_dates:
        rows = [
            (kept_for < 0, row["depot"], row["place"] or "", row["row"])
            for row, _, kept_for in free
            if (row["stock_code"], row["lot"] or "") == (one.stock_code, one.lot)
            and kept_for in (-1, kits.get(one.job))
            and row["use_by"] is not None
            and row["use_by"] < one.good_to
        ]
        wanted = one.quantity
        for *_, number in sorted(rows):
            pieces = min(wanted, left[number])
            if pieces and one.job in kits:
                found[number].append((one, pieces))
                left[number] -= pieces
                wanted -= pieces
    return found


def good_reserve(book: Book, as_of: date) -> Mapping[tuple[str, str], int]:
    """Thousandths in reserve by stock code and depot; what is out of date or lacks its date is no reserve any more."""
    dated = _dated(book)
    found: dict[tuple[str, str], int] = defaultdict(int)
    for row in records(book, "stock"):
        if row["place_kind"] == _RESERVE and _is_good(row, dated) and (row["use_by"] or as_of) >= as_of:
            found[(row["stock_code"], row["depot"])] += row["quantity"]
    return found


def locked_lots(
    book: Book, *, as_of: date, items: Mapping[str, int], depots: Sequence[str]
) -> tuple[tuple[str, Lot], ...]:
    """Good pieces that a person may release: (place kind, lot) of reserve and trucks, in an order of their facts."""
    ways = _Ways(book, depots)
    dated = _dated(book)
    found = []
    for row in records(book, "stock"):
        kind = LOCKED_PLACES.get(row["place_kind"])
        if kind and row["stock_code"] in items and _is_good(row, dated):
            facts = _facts(row, as_of, ways, own_only=False, only_kit=-1, is_order=False)
            depot = depots.index(row["depot"])
            found.append((kind, Lot(item=items[row["stock_code"]], depot=depot, walk=0, key=0, **facts)))
    return tuple(sorted(found, key=lambda one: (one[0], one[1].item, one[1].depot, one[1].expiry_day, one[1].quantity)))


def _is_free(row: Mapping[str, Fact], kind: Fact, dated: set[str]) -> bool:
    return kind in FREE_PLACES and _is_good(row, dated)


def _is_good(row: Mapping[str, Fact], dated: set[str]) -> bool:
    """True for a row with pieces whose last good day is known, where it has to be."""
    if not row["quantity"]:
        return False
    facts = (row["use_by"], row["lot"], row["depot"])
    if any(isinstance(fact, Missing) for fact in facts):
        return False
    return row["use_by"] is not None or row["stock_code"] not in dated


def _orders(book: Book, ways: _Ways, as_of: date) -> list[_Found]:
    """Open orders that are still to come; one without a date, or whose date has passed, is not netted."""
    found = []
    for row in records(book, "orders"):
        if not isinstance(row["promised"], date) or row["promised"] < as_of or not row["quantity"]:
            continue
        depot = row["depot"]
        ready = order_ready(row["promised"], receiving_days=ways.receiving[depot], closed=ways.closed[depot])
        source = Source(row["stock_code"], depot, "", "", row["order"], row["row"], order_line=row["line"])
        lot = {**row, "use_by": None}
        found.append((source, _facts(lot, ready, ways, own_only=False, only_kit=-1, is_order=True)))
    return found


def _facts(
    row: Mapping[str, Fact], ready: date, ways: _Ways, *, own_only: bool, only_kit: int, is_order: bool
) -> dict[str, Any]:
    return {
        "quantity": row["quantity"],
        "ready_day": ready.toordinal(),
        "expiry_day": NEVER if row["use_by"] is None else row["use_by"].toordinal(),
        "arrival": ways.arrivals(row["depot"], ready, own_only=own_only),
        "only_kit": only_kit,
        "own_depot_only": own_only,
        "is_order": is_order,
    }
