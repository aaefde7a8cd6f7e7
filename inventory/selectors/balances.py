"""What lies where now, what stops it, and how long it is good."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import OuterRef, Q, Subquery

from inventory.models import Balance, Depot, Difference, LotHold, Transfer

LOOK_AHEAD_DAYS = (30, 60, 90)  # common practice of stores: one, two and three months ahead
EXPIRED, DATE_MISSING = "expired", "date missing"


@dataclass(frozen=True, slots=True)
class Lying:
    """Thousandths of a lot at a place; ``hold`` is the number of the open hold on its lot number."""

    stock_code: str
    depot: str
    place: str
    place_kind: str
    job: str
    structure: str
    lot: str
    use_by: date | None
    supplier_owned: bool
    quantity: int
    counted_on: date | None
    hold: int | None


def lying(*conditions: Q, **where: Any) -> list[Lying]:
    """Balances, those of nothing too, by stock code, depot, place and lot.

    Args:
        conditions, where: on ``Balance`` in Django's words, such as ``place__depot=depot``, or ``lot__number=""`` for
            the pieces whose lot nobody knows.
    """
    holds = LotHold.objects.filter(
        released_at__isnull=True, item=OuterRef("lot__item"), lot_number=OuterRef("lot__number")
    )
    rows = (
        Balance.objects.filter(*conditions, **where)
        .annotate(hold=Subquery(holds.values("pk")[:1]))
        .order_by("lot__item__stock_code", "place__depot__depot", "place__code", "place__kind", "place", "lot")
        .values_list(
            "lot__item__stock_code",
            "place__depot__depot",
            "place__code",
            "place__kind",
            "place__job",
            "place__structure",
            "lot__number",
            "lot__use_by",
            "lot__supplier_owned",
            "quantity",
            "counted_on",
            "hold",
        )
    )
    return [Lying(*row) for row in rows]


@dataclass(frozen=True, slots=True)
class Ageing:
    """Pieces whose date comes near: ``within`` so many days as words, expired, or the date is missing."""

    within: str
    lying: Lying


def look_ahead(*, today: date, days: tuple[int, ...] = LOOK_AHEAD_DAYS) -> list[Ageing]:
    """Pieces that are out of date or will be within the greatest of these days, the first to expire first.

    A lot is good through its date. Pieces of an item with a shelf life whose date nobody knows come last.
    """
    last = today + timedelta(max(days))
    undated = Q(lot__use_by__isnull=True, lot__item__shelf_months__isnull=False)
    found = lying(Q(lot__use_by__lte=last) | undated, quantity__gt=0)
    found.sort(key=lambda one: one.use_by or date.max)
    return [Ageing(_within(one.use_by, today, days), one) for one in found]


def _within(use_by: date | None, today: date, days: tuple[int, ...]) -> str:
    if use_by is None:
        return DATE_MISSING
    left = (use_by - today).days
    return EXPIRED if left < 0 else f"{min(one for one in days if left <= one)} days"


def open_differences(depot: Depot) -> list[Difference]:
    """Differences of transfers that a depot sent or received and that nobody has settled, the oldest first."""
    ours = Q(transfer__from_depot=depot) | Q(transfer__to_depot=depot)
    found = Difference.objects.filter(ours, settled__isnull=True).order_by("pk")
    return [*found.select_related("transfer__from_depot", "transfer__to_depot", "transfer__received", "lot__item")]


def on_the_road(depot: Depot) -> list[Transfer]:
    """Transfers that a depot sent or expects and that still have pieces on the road, the oldest first."""
    ours = Q(from_depot=depot) | Q(to_depot=depot)
    found = Transfer.objects.filter(ours, place__balances__quantity__gt=0).distinct().order_by("pk")
    return [*found.select_related("from_depot", "to_depot", "sent", "received")]
