"""What lies in a depot's reserve of an item, its floor, and for how many nights it lasts."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import F, QuerySet, Sum

from inventory.models import RESERVE, Balance, Depot, Item, Level, LotHold, Movement
from kitting.calculation.natural_order import natural_key

_LOOKED_BACK = timedelta(days=365)
ROTATION = "rotate reserve"  # use case under which old and fresh pieces change places


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

    def refill(self, today: date) -> int:
        """Thousandths that purchasing buys to lift what is good in it to its floor again."""
        return max((self.floor or 0) - sum(one.quantity for one in self.good_through(today)), 0)

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
    held = set(LotHold.objects.filter(item=item, released_at__isnull=True).values_list("item", "lot_number"))
    left = _left(at).filter(lot__item=item, from_place__depot=depot)
    return _made([*_in_order(balances)], held, levels.first(), left.aggregate(taken=Sum("quantity"))["taken"] or 0)


def _in_order(balances: QuerySet[Balance]) -> QuerySet[Balance]:
    return balances.select_related("lot__item", "place__depot").order_by(F("lot__use_by").asc(nulls_last=True), "pk")


def _left(at: datetime) -> QuerySet[Movement]:
    """What left a reserve within the last year and was not replaced at once: a rotation takes nothing out."""
    found = Movement.objects.filter(from_place__kind=RESERVE, action__at__gt=at - _LOOKED_BACK)
    return found.exclude(to_place__kind=RESERVE).exclude(action__use_case=ROTATION)


def _made(found: Sequence[Balance], held: Collection[tuple[int, str]], level: Level | None, taken: int) -> Reserve:
    return Reserve(
        balances=tuple(one for one in found if (one.lot.item_id, one.lot.number) not in held),
        total=sum(one.quantity for one in found),
        level=level,
        taken=taken,
    )


def reserves(*, at: datetime, depots: Collection[str] = ()) -> list[tuple[Item, Depot, Reserve]]:
    """The reserve of every item at these depots (none: all) that has pieces or a floor, by code; four queries."""
    lying = Balance.objects.filter(place__kind=RESERVE, quantity__gt=0)
    floors = Level.objects.filter(reserve_floor__gt=0).select_related("item", "depot")
    named: dict[tuple[int, int], tuple[Item, Depot]] = {}
    there: dict[tuple[int, int], list[Balance]] = defaultdict(list)
    for one in _in_order(lying):
        key = one.lot.item_id, one.place.depot_id
        named[key] = one.lot.item, one.place.depot
        there[key].append(one)
    levels = {(level.item_id, level.depot_id): level for level in floors}
    named |= {key: (level.item, level.depot) for key, level in levels.items()}
    held = set(LotHold.objects.filter(released_at__isnull=True).values_list("item", "lot_number"))
    rows = _left(at).order_by().values_list("lot__item", "from_place__depot").annotate(taken=Sum("quantity"))
    taken = {(item, depot): pieces for item, depot, pieces in rows}
    found = [
        (item, depot, _made(there[key], held, levels.get(key), taken.get(key, 0)))
        for key, (item, depot) in named.items()
        if not depots or depot.depot in depots
    ]
    return sorted(found, key=lambda row: (row[1].depot, natural_key(row[0].stock_code)))
