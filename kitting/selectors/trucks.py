"""Trucks: what each is to carry, what is on it now, and which free pieces of its depot's shelf bring it up again."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from inventory.models import TRUCK, Balance, Item, Place, TruckLevel
from inventory.selectors.finding import open_holds
from kitting.calculation.natural_order import natural_key
from kitting.errors import Refusal
from kitting.selectors.bag_contents import is_good
from kitting.selectors.free_shelf import free_on_shelf
from kitting.selectors.last_seen import is_old, last_seen
from kitting.selectors.sources import NEAR_DAYS

HELD, PAST_DATE = "HELD", "OUT OF DATE OR NOT DATED"


@dataclass(frozen=True, slots=True)
class Aboard:
    """A lot on a truck; ``wrong`` says why it can't be used, '' where it can; ``seen`` when somebody last saw it."""

    balance: Balance
    wrong: str
    seen: date | None


@dataclass(frozen=True, slots=True)
class OnTruck:
    """An item of a truck: what is there, and its line on the list; None where the list doesn't name it."""

    item: Item
    level: TruckLevel | None
    aboard: Sequence[Aboard]

    @property
    def good(self) -> int:
        """Thousandths that can be used."""
        return sum(one.balance.quantity for one in self.aboard if not one.wrong)

    @property
    def lacking(self) -> int:
        """Thousandths that bring it up to the most that the list says."""
        return max(self.level.maximum - self.good, 0) if self.level else 0

    @property
    def is_below(self) -> bool:
        """Whether there is less than the least that the list says."""
        return self.level is not None and self.good < self.level.minimum


@dataclass(frozen=True, slots=True)
class Truck:
    """A truck as it stands."""

    place: Place
    lines: Sequence[OnTruck]

    @property
    def below(self) -> list[OnTruck]:
        """Lines of which there is less than the least."""
        return [one for one in self.lines if one.is_below]

    @property
    def to_take_off(self) -> list[Aboard]:
        """What can't be used: on hold, or out of date."""
        return [one for line in self.lines for one in line.aboard if one.wrong]

    def unseen(self, today: date) -> list[Aboard]:
        """What nobody has seen for more than a week."""
        return [one for line in self.lines for one in line.aboard if is_old(one.seen, today)]


@dataclass(frozen=True, slots=True)
class Take:
    """Thousandths of what lies in a bin that are to go on a truck."""

    balance: Balance
    quantity: int


@dataclass(frozen=True, slots=True)
class Restock:
    """What brings a truck up to its list: pieces to take, and for which items too few lie free (thousandths)."""

    takes: Sequence[Take]
    lacking: Sequence[tuple[Item, int]]


def truck_place(number: int) -> Place:
    """A truck as a place of the warehouse.

    Raises:
        Refusal: ``unknown-truck``.
    """
    found = Place.objects.select_related("depot").filter(pk=number, kind=TRUCK).first()
    if found is None:
        raise Refusal("unknown-truck", f"There is no truck {number}.", {"truck": number})
    return found


def trucks(*, today: date, depots: Collection[str] = (), numbers: Collection[int] = ()) -> list[Truck]:
    """Trucks of these depots (none: all), or with these numbers; five queries, however many there are."""
    places = Place.objects.filter(kind=TRUCK, **({"depot__depot__in": depots} if depots else {}))
    places = places.filter(pk__in=numbers) if numbers else places
    found = sorted(places.select_related("depot"), key=lambda one: (one.depot.depot, natural_key(one.code)))
    levels: dict[tuple[int, int], TruckLevel] = {}
    items: dict[int, Item] = {}
    for level in TruckLevel.objects.filter(truck__in=found).select_related("item"):
        levels[level.truck_id, level.item_id], items[level.item_id] = level, level.item
    aboard: dict[tuple[int, int], list[Aboard]] = defaultdict(list)
    for one in _aboard(found, today):
        lot = one.balance.lot
        aboard[one.balance.place_id, lot.item_id].append(one)
        items[lot.item_id] = lot.item
    return [Truck(place, [*_lines(place, levels, items, aboard)]) for place in found]


def _aboard(places: Sequence[Place], today: date) -> Iterator[Aboard]:
    lying = Balance.objects.filter(place__in=places, quantity__gt=0).select_related("lot__item", "place__depot")
    found = [*lying.order_by("lot__use_by", "pk")]
    held, seen = open_holds(one.lot for one in found), last_seen(found)
    for one in found:
        is_held = (one.lot.item_id, one.lot.number) in held
        wrong = HELD if is_held else "" if is_good(one.lot, today) else PAST_DATE
        yield Aboard(one, wrong, seen[one.pk])


def _lines(
    place: Place,
    levels: dict[tuple[int, int], TruckLevel],
    items: dict[int, Item],
    aboard: dict[tuple[int, int], list[Aboard]],
) -> Iterator[OnTruck]:
    keys = {item for truck, item in (*levels, *aboard) if truck == place.pk}
    for item in sorted(keys, key=lambda item: natural_key(items[item].stock_code)):
        yield OnTruck(items[item], levels.get((place.pk, item)), aboard.get((place.pk, item), ()))


def restock(truck: Truck, today: date) -> Restock:
    """Free pieces of the depot's shelf that bring a truck up to its list, in walk order; three queries.

    The first to expire go first among those that are good for another month: a piece rides on a truck for a while.
    """
    wanted = {one.item.pk: one.lacking for one in truck.lines if one.lacking}
    takes = []
    for balance, free in free_on_shelf(wanted, truck.place.depot.depot) if wanted else ():
        item = balance.lot.item_id
        pieces = min(free, wanted[item]) if is_good(balance.lot, today + timedelta(NEAR_DAYS)) else 0
        if pieces:
            wanted[item] -= pieces
            takes.append(Take(balance, pieces))
    takes.sort(key=lambda one: (natural_key(one.balance.place.code), one.balance.lot.item.stock_code, one.balance.pk))
    lacking = [(one.item, wanted[one.item.pk]) for one in truck.lines if wanted.get(one.item.pk)]
    return Restock(takes, lacking)
