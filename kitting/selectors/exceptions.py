"""What stands open and should not for long: bags that do not balance, pieces of unknown lots, scans for a person."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Min, Q

from inventory.models import Balance
from inventory.selectors.balances import Lying, lying
from inventory.selectors.finding import local_day
from kitting.calculation.bag_states import CLOSED, OUT
from kitting.models import Bag, BagEntry, Event, KeptScan
from kitting.models.bags import ISSUED
from kitting.selectors.bag_contents import contents_of


@dataclass(frozen=True, slots=True)
class OpenBag:
    """A bag that went out and of which pieces are not accounted for; ``out_since``: when its first piece was issued.

    One that is closed was so by a named exception.
    """

    bag: Bag
    pieces: tuple[str, ...]
    out_since: datetime | None

    def age_days(self, today: date) -> int:
        """Days since it went out."""
        return (today - local_day(self.bag.depot, self.out_since)).days if self.out_since else 0


def open_bags(depots: Collection[str] = ()) -> list[OpenBag]:
    """Bags of these depots, or of any, that are out or were closed with pieces open, those longest out first.

    Six queries, however many there are.
    """
    left = Balance.objects.filter(place__bag__state=CLOSED, quantity__gt=0)
    out = Q(state__in=OUT) | Q(state_before_hold__in=OUT) | Q(place__in=left.values("place"))
    found_bags = Bag.objects.filter(out, **_at("depot__depot", depots))
    bags = [*found_bags.select_related("job", "depot", "place")]
    issued = BagEntry.objects.filter(line__bag__in=bags, deed=ISSUED).values_list("line__bag")
    since = dict(issued.annotate(Min("action__at")))
    contents = contents_of(bags)
    found = [OpenBag(bag, contents[bag.pk].open(), since.get(bag.pk)) for bag in bags]
    return sorted(found, key=lambda one: (str(one.out_since or ""), str(one.bag)))


@dataclass(frozen=True, slots=True)
class Unknown:
    """Pieces of an item of which nobody knows the lot: thousandths in all, and where they lie."""

    stock_code: str
    quantity: int
    places: tuple[str, ...]


def unknown_lots(depots: Collection[str] = ()) -> list[Unknown]:
    """Pieces at these depots, or at any, whose lot nobody knows, by stock code; two queries."""
    by_code: dict[str, list[Lying]] = defaultdict(list)
    for one in lying(lot__number="", quantity__gt=0, lot__item__lot_tracked=True, **_at("place__depot__depot", depots)):
        by_code[one.stock_code].append(one)
    return [
        Unknown(code, sum(one.quantity for one in rows), tuple(f"{one.depot}/{one.place}" for one in rows))
        for code, rows in by_code.items()
    ]


SHORT_EVENT = "bag short"


@dataclass(frozen=True, slots=True)
class FinishedShort:
    """A bag that somebody finished although something was missing: what, and why."""

    at: datetime
    by: str
    bag: str
    code: str
    missing: tuple[str, ...]
    cause: str
    words: str


def finished_short(since: datetime, depots: Collection[str] = ()) -> list[FinishedShort]:
    """Bags that were finished short since a moment, the last first; one query. Before causes were asked it is ''."""
    found = Event.objects.filter(name=SHORT_EVENT, at__gte=since, **_at("depot", depots)).order_by("-number")
    return [
        FinishedShort(
            one.at, one.by, one.subject, one.data["bag"], tuple(one.data["missing"]), one.data.get("cause", ""),
            one.data["why"],
        )
        for one in found
    ]  # fmt: skip


def _at(field: str, depots: Collection[str]) -> dict[str, Collection[str]]:
    """A condition that something is of one of these depots; none where no depot is named."""
    return {f"{field}__in": depots} if depots else {}


def kept_scans(depots: Collection[str] = ()) -> list[KeptScan]:
    """Scans that wait for a person of these depots, or of any, the oldest first; one query.

    Those of which nobody can tell the depot are among them.
    """
    at = {"depot__in": {"", *depots}} if depots else {}
    return [*KeptScan.objects.filter(settled_by="", **at).order_by("reached_at", "pk")]
