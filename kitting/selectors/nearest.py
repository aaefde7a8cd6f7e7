"""Where pieces lie, the nearest first: at every depot, on trucks, in reserves and bags, and when somebody saw them."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import F

from inventory.models import BAG, BIN, RESERVE, SUPPLIER_OWNED, TRUCK, VAN, Balance, Item, Way
from inventory.selectors.finding import open_holds
from kitting.calculation.bag_states import IN_STORE, OUT
from kitting.calculation.cable_geometry import Band
from kitting.calculation.fit_matching.checks import ACTIVE_STATE
from kitting.calculation.natural_order import natural_key
from kitting.models import Bag
from kitting.selectors.bag_contents import is_good
from kitting.selectors.last_seen import last_seen, seen_words
from kitting.selectors.promises import promised_at
from kitting.selectors.sources import IN_BAG, WITH_CREW
from kitting.selectors.stock_search import ranges_over_insulation

_KINDS = {BIN: "shelf", SUPPLIER_OWNED: "the supplier's own", TRUCK: "truck", RESERVE: "reserve", VAN: "on the road"}
_ORDER = (BIN, SUPPLIER_OWNED, TRUCK, RESERVE, VAN, IN_BAG, WITH_CREW)
_ACTIVE = ("", ACTIVE_STATE)


@dataclass(frozen=True, slots=True)
class Near:
    """Thousandths of a lot that nobody is promised, at a place.

    Args:
        kind: in words: shelf, truck, reserve, on the road, staged bag, with a crew.
        balance: what lies there.
        free: thousandths.
        bag: in which it lies; None elsewhere.
        days: working days by van from there; 0 at the same depot, None where no van goes.
        last_seen: when somebody last saw it there; None for never.
    """

    kind: str
    balance: Balance
    free: int
    bag: Bag | None
    days: int | None
    last_seen: date | None

    def seen(self, today: date) -> str:
        """When somebody last counted there, or scanned it on a truck, and whether that is long ago."""
        return seen_words(self.last_seen, today, "seen" if self.balance.place.kind == TRUCK else "counted")

    @property
    def way(self) -> str:
        """How long it takes to come."""
        if self.days is None:
            return "no van"
        return f"{self.days} working day{'s' * (self.days != 1)} by van" if self.days else "here"


def where_is(items: Collection[Item], *, depot: str, today: date) -> dict[int, list[Near]]:
    """By item: its pieces that are good today and not held, the nearest first; six queries, however many items.

    Own depot before others, those nearest by van before farther ones; at each the shelf first, then trucks, the
    reserve, what is on the road, bags in store and bags with crews.
    """
    lying = Balance.objects.filter(lot__item__in=items, quantity__gt=0).select_related("lot__item", "place__depot")
    found = [*lying.order_by(F("lot__use_by").asc(nulls_last=True), "pk")]
    held, promised = open_holds(one.lot for one in found), promised_at(item__in=items)
    bags = Bag.objects.filter(place__in={one.place_id for one in found if one.place.kind == BAG})
    by_place = {bag.place_id: bag for bag in bags.select_related("job", "depot")}
    ways = Way.objects.filter(to_depot__depot=depot).values_list("from_depot__depot", "days")
    days: dict[str, int] = {**dict(ways), depot: 0}
    seen = last_seen(found)
    rows: dict[int, list[tuple[tuple[object, ...], Near]]] = defaultdict(list)
    for one in found:
        bag = by_place.get(one.place_id)
        kind = (IN_BAG if bag.state in IN_STORE else WITH_CREW if bag.state in OUT else "") if bag else one.place.kind
        free = one.quantity - (0 if bag else promised[one.place_id, one.lot_id])
        good = is_good(one.lot, today) and (one.lot.item_id, one.lot.number) not in held
        if kind in _ORDER and free > 0 and good:
            there = one.place.depot.depot
            near = Near(_KINDS.get(kind, kind), one, free, bag, days.get(there), seen[one.pk])
            key = (days.get(there, 10**6), there, _ORDER.index(kind), natural_key(one.place.code))
            rows[one.lot.item_id].append((key, near))
    return {item: [near for _, near in sorted(of, key=lambda row: row[0])] for item, of in rows.items()}


def others_that_fit(item: Item, band: Band) -> Sequence[Item]:
    """Parts of the same kind, class and interface of which a range holds the whole band of a cable, narrowest first."""
    if band.low_nm is None or band.high_nm is None:
        return []
    alike = Item.objects.filter(
        kind=item.kind, classes_kv=item.classes_kv, interface=item.interface, gives_interface=item.gives_interface,
        switching=item.switching, contains=item.contains, state__in=_ACTIVE,
    ).exclude(pk=item.pk)  # fmt: skip
    found = []
    for one in alike:
        spans = [high - low for low, high in ranges_over_insulation(one) if low <= band.low_nm and band.high_nm <= high]
        if spans:
            found.append((min(spans), natural_key(one.stock_code), one))
    return [one for *_, one in sorted(found, key=lambda row: row[:2])]
