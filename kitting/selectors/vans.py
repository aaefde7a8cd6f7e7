"""Pieces between depots: what the plan wants brought and is not loaded, what is on the road, and open differences."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import F, Q, QuerySet

from inventory.models import VAN, Depot, Difference, Lot, LotHold, Place, Transfer
from kitting.calculation.natural_order import natural_key
from kitting.calculation.promising.model import TRANSFER
from kitting.models import Promise

_Row = tuple[int, date, str]  # thousandths, the day by which they are wanted, the job


@dataclass(frozen=True, slots=True)
class ToLoad:
    """Thousandths of a lot at a place that bags at another depot wait for, and on which day the first needs them."""

    lot: Lot
    place: Place
    quantity: int
    jobs: tuple[str, ...]
    needed: date
    held: bool


@dataclass(frozen=True, slots=True)
class Van:
    """What goes from a depot to another in one go."""

    source: Depot
    target: Depot
    loads: Sequence[ToLoad]

    @property
    def jobs(self) -> list[str]:
        """The jobs that wait for it."""
        return sorted({job for one in self.loads for job in one.jobs})


def vans_wanted(depots: Collection[str] = ()) -> list[Van]:
    """What the applied plan wants brought and still lies at the other depot; five queries.

    Args:
        depots: only from or to these; none: all.
    """
    rows = _wanted().exclude(place__depot__depot=F("depot"))
    if depots:
        rows = rows.filter(Q(place__depot__depot__in=depots) | Q(depot__in=depots))
    kept = [*rows.values_list("place", "lot", "quantity", "ready_on", "job__job", "depot")]
    places = Place.objects.select_related("depot").in_bulk({row[0] for row in kept if row[0]})
    lots = Lot.objects.select_related("item").in_bulk({row[1] for row in kept if row[1]})
    homes = {depot.depot: depot for depot in Depot.objects.all()}
    held = set(LotHold.objects.filter(released_at__isnull=True).values_list("item", "lot_number"))
    found: dict[tuple[str, str], dict[tuple[int, int], list[_Row]]] = defaultdict(lambda: defaultdict(list))
    for place, lot, quantity, ready, job, home in kept:
        if place and lot:
            found[places[place].depot.depot, home][place, lot].append((quantity, ready, job))
    return [
        Van(homes[source], homes[target], _loads(groups, places, lots, held))
        for (source, target), groups in sorted(found.items())
    ]


def _loads(
    groups: Mapping[tuple[int, int], Sequence[_Row]],
    places: Mapping[int, Place],
    lots: Mapping[int, Lot],
    held: Collection[tuple[int, str]],
) -> list[ToLoad]:
    loads = [
        ToLoad(
            lot=lots[lot],
            place=places[place],
            quantity=sum(quantity for quantity, _, _ in rows),
            jobs=tuple(sorted({job for _, _, job in rows})),
            needed=min(ready for _, ready, _ in rows),
            held=(lots[lot].item_id, lots[lot].number) in held,
        )
        for (place, lot), rows in groups.items()
    ]
    return sorted(loads, key=lambda one: (natural_key(one.place.code), one.lot.item.stock_code, one.lot.pk))


def vans_waiting(sources: Collection[str] = ()) -> list[tuple[str, str]]:
    """From which of these depots (none: all) to which others the applied plan wants pieces brought; one query."""
    found = _wanted().exclude(place__depot__depot=F("depot"))
    if sources:
        found = found.filter(place__depot__depot__in=sources)
    return sorted(found.values_list("place__depot__depot", "depot").distinct())


def _wanted() -> QuerySet[Promise]:
    kept = Promise.objects.filter(released_at__isnull=True, source=TRANSFER, place__isnull=False)
    return kept.exclude(place__kind=VAN).order_by()


def transfers_open(depots: Collection[str] = ()) -> list[Transfer]:
    """Transfers that are not counted out yet, the oldest first; one query."""
    ours = Q(from_depot__depot__in=depots) | Q(to_depot__depot__in=depots) if depots else Q()
    found = Transfer.objects.filter(ours, received__isnull=True, taken_back__isnull=True).order_by("pk")
    return [*found.select_related("from_depot", "to_depot", "sent", "place")]


def differences_open(depots: Collection[str] = ()) -> list[Difference]:
    """Differences that nobody has settled, the oldest first; one query."""
    ours = Q(transfer__from_depot__depot__in=depots) | Q(transfer__to_depot__depot__in=depots) if depots else Q()
    found = Difference.objects.filter(ours, settled__isnull=True).order_by("pk")
    return [*found.select_related("transfer__from_depot", "transfer__to_depot", "lot__item")]
