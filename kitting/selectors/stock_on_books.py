"""What the books say lies where, in the terms of the stock sheet."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Any

from django.db import connection
from django.db.models import Q

from inventory.models import HOLD, SUPPLIER_OWNED, Balance, Lot, LotHold, OrderLine
from jobs.models import Job

# Item, depot, place, kind of place, lot, use-by, job and structure, as the stock sheet tells pieces apart.
Spot = tuple[Any, ...]
LotName = tuple[str, str, bool]  # stock code, number, supplier-owned


@dataclass(frozen=True, slots=True)
class StockOnBooks:
    """Thousandths by spot, dates of known lots, lots on hold (stock code, number), and jobs that have ended."""

    pieces: Mapping[Spot, int]
    counted_on: Mapping[Spot, date | None]
    use_by: Mapping[LotName, date | None]
    held: frozenset[tuple[str, str]]
    ended: frozenset[str]

    def spot(self, given: Spot) -> Spot:
        """The spot as the sheets name it: a lot on hold lies on hold; kept for no job any more, for no location."""
        code, depot, place, kind, lot, use_by, job, structure = given
        kind = HOLD if (code, lot) in self.held else kind
        job, structure = ("", "") if job in self.ended else (job, structure)
        return (code, depot, place, kind, lot, use_by, job, structure)


def stock_held_still() -> StockOnBooks:
    """All balances, which nobody else can change until this transaction ends; four queries.

    SQLite's transaction holds the only pen already; on PostgreSQL others wait, and may read meanwhile.
    """
    if connection.vendor == "postgresql":
        table = connection.ops.quote_name(Balance._meta.db_table)  # noqa: SLF001 - Django's public way to its name
        with connection.cursor() as cursor:
            cursor.execute(f"LOCK TABLE {table} IN SHARE ROW EXCLUSIVE MODE")
    held, ended = lots_on_hold(), ended_jobs()
    books = StockOnBooks({}, {}, {}, held, ended)
    pieces: dict[Spot, int] = {}
    counted: dict[Spot, date | None] = {}
    for *given, quantity, counted_on in Balance.objects.values_list(
        "lot__item__stock_code", "place__depot__depot", "place__code", "place__kind", "lot__number", "lot__use_by",
        "place__job", "place__structure", "quantity", "counted_on",
    ):  # fmt: skip
        spot = books.spot(tuple(given))
        pieces[spot] = pieces.get(spot, 0) + quantity
        counted[spot] = max(filter(None, (counted.get(spot), counted_on)), default=None)
    lots = Lot.objects.exclude(number="").values_list("item__stock_code", "number", "supplier_owned", "use_by")
    dates = {(code, number, owned): use_by for code, number, owned, use_by in lots}
    return StockOnBooks(MappingProxyType(pieces), MappingProxyType(counted), MappingProxyType(dates), held, ended)


def lots_on_hold() -> frozenset[tuple[str, str]]:
    """Stock code and number of each lot that is on hold."""
    return frozenset(LotHold.objects.filter(released_at=None).values_list("item__stock_code", "lot_number"))


def ended_jobs() -> frozenset[str]:
    """Jobs that are planned no more."""
    return frozenset(Job.objects.exclude(ended="").values_list("job", flat=True))


def lot_name(spot: Spot) -> LotName | None:
    """The known lot of a spot; None where nobody knows it."""
    code, _, _, kind, lot, *_ = spot
    return (code, lot, kind == SUPPLIER_OWNED) if lot else None


def orders_under_way() -> dict[tuple[str, str], OrderLine]:
    """Order lines that something has come of, or that were split or cut: what is to come of them only the books say."""
    changed = Q(received__gt=0) | Q(cut__gt=0) | Q(part_of__isnull=False) | Q(parts__isnull=False)
    lines = OrderLine.objects.filter(changed).select_related("order").distinct()
    return {(one.order.number, one.line): one for one in lines}
