"""Where the pieces of items lie and what they are kept for: each piece counts in one share, so that shares add up."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import F

from inventory.models import (
    BAG,
    BIN,
    HOLD,
    LENT,
    RESERVE,
    STAGING,
    SUPPLIER_OWNED,
    TRUCK,
    VAN,
    Balance,
    Item,
    LotHold,
    OrderLine,
)
from kitting.selectors.promises import promised_at

FREE, PROMISED, OWNED, IN_BAGS, ON_TRUCKS, ON_THE_ROAD, IN_RESERVE, LENT_OUT, ON_HOLD, PAST_DATE = (
    "free", "promised", "supplier's own", "in bags", "on trucks", "on the road", "in reserve", "lent", "on hold",
    "out of date or not dated",
)  # fmt: skip
SHARES = (FREE, PROMISED, OWNED, IN_BAGS, ON_TRUCKS, ON_THE_ROAD, IN_RESERVE, LENT_OUT, ON_HOLD, PAST_DATE)
_OF_KIND = {
    BIN: FREE, SUPPLIER_OWNED: OWNED, STAGING: IN_BAGS, BAG: IN_BAGS, TRUCK: ON_TRUCKS, VAN: ON_THE_ROAD,
    RESERVE: IN_RESERVE, LENT: LENT_OUT, HOLD: ON_HOLD,
}  # fmt: skip
_FOR_PLANNED_WORK = (FREE, OWNED, ON_THE_ROAD)


@dataclass(frozen=True, slots=True)
class Spot:
    """Thousandths of a lot at a place: what they are kept for, and how many of them are promised."""

    balance: Balance
    share: str
    promised: int


Sums = Mapping[tuple[str, str], Counter[str]]  # by stock code and depot: thousandths by share


def spots(items: Iterable[Item], *, today: date) -> list[Spot]:
    """Where the pieces of these items lie, by depot, the first to expire first; three queries.

    A lot is good through its date. A dated item's pieces without a date serve nobody until they have one.
    """
    wanted = [*items]
    promised = promised_at(item__in=wanted)
    held = set(LotHold.objects.filter(item__in=wanted, released_at__isnull=True).values_list("item", "lot_number"))
    balances = Balance.objects.filter(lot__item__in=wanted, quantity__gt=0)
    found = [
        Spot(one, _share(one, held, today), min(one.quantity, promised[one.place_id, one.lot_id]))
        for one in balances.select_related("lot__item", "place__depot")
    ]
    return sorted(found, key=_order)


def _order(spot: Spot) -> tuple[str, date, str, int]:
    one = spot.balance
    return one.place.depot.depot, one.lot.use_by or date.max, one.place.code, one.pk


def _share(balance: Balance, held: Collection[tuple[int, str]], today: date) -> str:
    lot, share = balance.lot, _OF_KIND[balance.place.kind]
    if (lot.item_id, lot.number) in held:
        return ON_HOLD
    is_good = lot.use_by >= today if lot.use_by else lot.item.shelf_months is None
    return share if is_good or share not in _FOR_PLANNED_WORK else PAST_DATE


def sums(found: Iterable[Spot]) -> Sums:
    """Thousandths by stock code and depot; what is promised of free pieces counts as promised and not as free."""
    by_depot: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for spot in found:
        one = spot.balance
        shares = by_depot[one.lot.item.stock_code, one.place.depot.depot]
        promised = spot.promised if spot.share in _FOR_PLANNED_WORK else 0
        shares[spot.share] += one.quantity - promised
        shares[PROMISED] += promised
    return by_depot


def order_lines_open(items: Iterable[Item] | None = None, depots: Collection[str] = ()) -> list[OrderLine]:
    """Order lines of which something is still to come, the first promised first, those without a day last; one query.

    Args:
        items: only of these; None: of all.
        depots: only to these; none: to all.
    """
    lines = OrderLine.objects.filter(received__lt=F("quantity"))
    if items is not None:
        lines = lines.filter(item__in=[*items])
    if depots:
        lines = lines.filter(depot__depot__in=depots)
    found = lines.select_related("order", "item", "depot", "supplier")
    return sorted(found, key=lambda one: (one.promised or date.max, one.order.number, one.line))
