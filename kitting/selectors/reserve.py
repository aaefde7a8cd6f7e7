"""What lies in a depot's reserve of an item, its floor, and for how many nights it lasts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import F, QuerySet, Sum

from inventory.models import RESERVE, Balance, Depot, Item, Level, LotHold, Movement

_LOOKED_BACK = timedelta(days=365)


@dataclass(frozen=True, slots=True)
class Reserve:
    """The reserve of an item at a depot.

    Args:
        balances: what lies there and is on no hold, the first to expire first, locked.
        total: thousandths in reserve, those on hold included.
        level: the record with its floor; None where the item has none at the depot.
        taken: thousandths that left this reserve within the last 365 days.
    """

    balances: tuple[Balance, ...]
    total: int
    level: Level | None
    taken: int

    @property
    def floor(self) -> int | None:
        """Thousandths to which purchasing lifts it again; None where nobody has said."""
        return None if self.level is None else self.level.reserve_floor

    def good_through(self, needed: date) -> list[Balance]:
        """The pieces whose last day is known, where it has to be, and is not before the day they are needed."""
        return [one for one in self.balances if _is_good(one, needed)]

    def cover_words(self, left: int) -> str:
        """For how many nights so many thousandths last, at the rate of the last year."""
        if not self.taken:
            return "nothing left it within the last year"
        return f"{left * _LOOKED_BACK.days // self.taken} nights of cover at the rate of the last year"


def _is_good(balance: Balance, needed: date) -> bool:
    lot = balance.lot
    return lot.use_by >= needed if lot.use_by else lot.item.shelf_months is None


def locked_reserve(*, item: Item, depot: Depot, at: datetime) -> Reserve:
    """The reserve, locked until the transaction ends; four queries."""
    balances, levels = _rows(item, depot)
    return _reserve(
        balances.select_for_update(of=("self",), no_key=True), levels.select_for_update(of=("self",)), item, depot, at
    )


def reserve_of(*, item: Item, depot: Depot, at: datetime) -> Reserve:
    """The reserve, to be looked at; four queries."""
    return _reserve(*_rows(item, depot), item, depot, at)


def _rows(item: Item, depot: Depot) -> tuple[QuerySet[Balance], QuerySet[Level]]:
    lying = Balance.objects.filter(place__kind=RESERVE, place__depot=depot, lot__item=item, quantity__gt=0)
    return lying, Level.objects.filter(item=item, depot=depot)


def _reserve(balances: QuerySet[Balance], levels: QuerySet[Level], item: Item, depot: Depot, at: datetime) -> Reserve:
    found: Sequence[Balance] = list(
        balances.select_related("lot__item", "place__depot").order_by(F("lot__use_by").asc(nulls_last=True), "pk")
    )
    held = set(LotHold.objects.filter(item=item, released_at__isnull=True).values_list("lot_number", flat=True))
    left = Movement.objects.filter(
        lot__item=item, from_place__kind=RESERVE, from_place__depot=depot, action__at__gt=at - _LOOKED_BACK
    ).exclude(to_place__kind=RESERVE)
    return Reserve(
        balances=tuple(one for one in found if one.lot.number not in held),
        total=sum(one.quantity for one in found),
        level=levels.first(),
        taken=left.aggregate(taken=Sum("quantity"))["taken"] or 0,
    )
