"""Pieces between depots: what the plan wants brought and is not loaded, what is on the road, and open differences."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import F, Q, QuerySet

from inventory.models import VAN, Depot, Difference, Lot, LotHold, Place, Transfer
from kitting.calculation.natural_order import natural_key
from kitting.calculation.promising.model import TRANSFER
from kitting.models import Promise


@dataclass(frozen=True, slots=True)
class ToLoad:
    """Thousandths of a lot at a place that jobs of another depot wait for, and on which day the first needs them."""

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
    """What the applied plan wants brought and still lies at the other depot; three queries.

    Args:
        depots: only from or to these; none: all.
    """
    kept = _wanted().select_related("lot__item", "place__depot", "job")
    homes = {depot.depot: depot for depot in Depot.objects.all()}
    held = set(LotHold.objects.filter(released_at__isnull=True).values_list("item", "lot_number"))
    found: dict[tuple[str, str], dict[tuple[int, int], list[Promise]]] = defaultdict(lambda: defaultdict(list))
    for one in sorted(kept, key=lambda one: (natural_key(one.place.code if one.place else ""), one.pk)):
        source = one.place.depot.depot if one.place else ""
        is_ours = not depots or source in depots or one.job.depot in depots
        if source != one.job.depot and is_ours:
            found[source, one.job.depot][one.place_id or 0, one.lot_id or 0].append(one)
    return [
        Van(homes[source], homes[target], [_load(group, held) for group in groups.values()])
        for (source, target), groups in sorted(found.items())
    ]


def vans_waiting(sources: Collection[str] = ()) -> list[tuple[str, str]]:
    """From which of these depots (none: all) to which others the applied plan wants pieces brought; one query."""
    found = _wanted().exclude(place__depot__depot=F("job__depot"))
    if sources:
        found = found.filter(place__depot__depot__in=sources)
    return sorted(found.values_list("place__depot__depot", "job__depot").distinct())


def _wanted() -> QuerySet[Promise]:
    kept = Promise.objects.filter(released_at__isnull=True, source=TRANSFER, place__isnull=False)
    return kept.exclude(place__kind=VAN).order_by()


def _load(promises: Sequence[Promise], held: Collection[tuple[int, str]]) -> ToLoad:
    first = promises[0]
    if first.lot is None or first.place is None:
        raise ValueError("a promise of pieces names its lot and place")
    jobs = tuple(sorted({one.job.job for one in promises}))
    quantity, needed = sum(one.quantity for one in promises), min(one.ready_on for one in promises)
    return ToLoad(first.lot, first.place, quantity, jobs, needed, (first.lot.item_id, first.lot.number) in held)


def transfers_open(depots: Collection[str] = ()) -> list[Transfer]:
    """Transfers that are not counted out yet, the oldest first; one query."""
    ours = Q(from_depot__depot__in=depots) | Q(to_depot__depot__in=depots) if depots else Q()
    found = Transfer.objects.filter(ours, received__isnull=True).order_by("pk")
    return [*found.select_related("from_depot", "to_depot", "sent", "place")]


def differences_open(depots: Collection[str] = ()) -> list[Difference]:
    """Differences that nobody has settled, the oldest first; one query."""
    ours = Q(transfer__from_depot__depot__in=depots) | Q(transfer__to_depot__depot__in=depots) if depots else Q()
    found = Difference.objects.filter(ours, settled__isnull=True).order_by("pk")
    return [*found.select_related("transfer__from_depot", "transfer__to_depot", "lot__item")]
