"""Where pieces could come from in a hurry, in the order in which they are to be taken."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import F

from inventory.models import BAG, BIN, RESERVE, TRUCK, Balance, Item, LotHold
from kitting.calculation.bag_states import IN_STORE, OUT
from kitting.models import Bag
from kitting.selectors.bag_contents import bare, is_good
from kitting.selectors.last_seen import is_old, last_seen
from kitting.selectors.promises import promised_at

SHELF, NEAR_EXPIRY, ON_TRUCK, IN_RESERVE, OTHER_DEPOT, IN_BAG, WITH_CREW = (
    "shelf", "near its date", "truck", "reserve", "other depot", "staged bag", "with a crew",
)  # fmt: skip
ORDER = (SHELF, NEAR_EXPIRY, ON_TRUCK, IN_RESERVE, OTHER_DEPOT, IN_BAG, WITH_CREW)
AT_HAND = (SHELF, NEAR_EXPIRY, ON_TRUCK)  # who says that these are gone says that the place is to be counted
NEAR_DAYS = 30  # common practice of stores: a month before its date a piece is used first where it still serves
FREE = tuple(kind for kind in ORDER if kind not in (IN_BAG, WITH_CREW))


@dataclass(frozen=True, slots=True)
class Source:
    """Thousandths of a lot that could be had at a place.

    ``bag`` is the bag they lie in, None elsewhere; ``seen`` the day somebody last saw it there, None for never.
    """

    kind: str
    balance: Balance
    free: int
    bag: Bag | None
    seen: date | None

    def is_old(self, today: date) -> bool:
        """Whether nobody has seen it for more than a week."""
        return is_old(self.seen, today)

    @property
    def sentence(self) -> str:
        """In words: ``3 of CS15-2 lot L-2303B at H/H-04-2 (near its date, use by 2026-03-31)``."""
        dated = f", use by {self.balance.lot.use_by}" if self.balance.lot.use_by else ""
        where = f"{self.bag}, {self.bag.whereabouts}" if self.bag else str(self.balance.place)
        return f"{bare(self.free)} of {self.balance.lot} at {where} ({self.kind}{dated})"


def sources(*, item: Item, depot: str, until: date) -> list[Source]:
    """All pieces of an item that are good through a day and not stopped, the first to be taken first; five queries.

    Pieces that are promised to a job are not free on their shelf. Bags in store come last, that of the latest outage
    first; those with a crew are only shown.
    """
    return sources_of(items=[item], depot=depot, until=until).get(item.pk, [])


def sources_of(*, items: Iterable[Item], depot: str, until: date) -> dict[int, list[Source]]:
    """``sources`` of several items, by the numbers of their records; as many queries as for one."""
    wanted = [*items]
    held = {*LotHold.objects.filter(released_at=None, item__in=wanted).values_list("item", "lot_number")}
    promised = promised_at(item__in=wanted)
    with_them = Bag.objects.filter(lines__item__in=wanted).select_related("job", "depot").distinct()
    bags = {bag.place_id: bag for bag in with_them}
    found: dict[int, list[Source]] = defaultdict(list)
    balances = Balance.objects.filter(lot__item__in=wanted, quantity__gt=0).select_related("lot__item", "place__depot")
    lying = [*balances.order_by(F("lot__use_by").asc(nulls_last=True), "pk")]
    seen = last_seen(lying)
    for balance in lying:
        bag = bags.get(balance.place_id)
        kind = _kind(balance, bag, depot, until)
        good = is_good(balance.lot, until) and (balance.lot.item_id, balance.lot.number) not in held
        free = balance.quantity - (0 if bag else promised[balance.place_id, balance.lot_id])
        if kind and good and free > 0:
            found[balance.lot.item_id].append(Source(kind, balance, free, bag, seen[balance.pk]))
    return {item: sorted(rows, key=lambda one: (ORDER.index(one.kind), _harm(one))) for item, rows in found.items()}


def _kind(balance: Balance, bag: Bag | None, depot: str, until: date) -> str:
    kind, here = balance.place.kind, balance.place.depot.depot == depot
    if bag:
        return IN_BAG if bag.state in IN_STORE else WITH_CREW if bag.state in OUT else ""
    if kind == BAG:
        return ""
    near = balance.lot.use_by is not None and balance.lot.use_by < until + timedelta(NEAR_DAYS)
    if kind == BIN:
        return OTHER_DEPOT if not here else NEAR_EXPIRY if near else SHELF
    return {TRUCK: ON_TRUCK, RESERVE: IN_RESERVE}.get(kind, "") if here else ""


def _harm(source: Source) -> int:
    """Days until the outage of a bag's job, less is worse; nothing elsewhere."""
    cutover = source.bag.job.cutover[:10] if source.bag else ""
    return -date.fromisoformat(cutover).toordinal() if cutover else 0
