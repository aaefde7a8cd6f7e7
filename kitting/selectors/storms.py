"""Storms: what is open, what keeps one from being closed, and what it leaves to be bought again."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Q, Sum

from inventory.models import BIN, RESERVE, Balance, Depot, Item, Level
from jobs.models import UNDER_WAY, Job
from kitting.calculation.bag_states import CLOSED as BAG_CLOSED
from kitting.calculation.bag_states import IN_STORE
from kitting.errors import Refusal
from kitting.models import ASKED, Bag, Event, KeptKit, LotToFinish, Storm
from kitting.models.bags import INSTALLED, LOST, SCRAPPED, TAKEN_BACK, and_taken_back
from kitting.models.storms import CLOSED, OPEN, PROTECTIONS
from kitting.selectors.bag_contents import bare, contents_of

LONGEST_DAYS = 14
USED = (INSTALLED, SCRAPPED, LOST)


@dataclass(frozen=True, slots=True)
class Refill:
    """Thousandths of an item that a depot's shelf and reserve lack after a storm, and those that the storm used.

    ``missing`` are those that a closing exception left open.
    """

    depot: str
    item: Item
    used: int
    wanted: int
    missing: int = 0

    @property
    def sentence(self) -> str:
        """In words."""
        missing = f", {bare(self.missing)} not accounted for" if self.missing else ""
        return f"{bare(self.wanted)} {self.item} at {self.depot} ({bare(self.used)} used{missing})"


def storm_by_code(code: str, *states: str, lock: bool = False) -> Storm:
    """The storm of a code, in one of these states where any are named.

    Raises:
        Refusal: ``unknown-storm``; ``storm-state``: it is in another state, and since when.
    """
    storms = Storm.objects.select_for_update() if lock else Storm.objects.all()
    found = storms.filter(code=code).first()
    if found is None:
        named = ", ".join(Storm.objects.filter(state=OPEN).order_by("code").values_list("code", flat=True)) or "none"
        raise Refusal("unknown-storm", f"There is no storm {code}; open ones: {named}.", {"storm": code})
    if states and found.state not in states:
        since = found.closed_at or found.opened_at
        when = f" since {since:%Y-%m-%d} by {found.closed_by or found.opened_by}" if since else ""
        message = f"Storm {code} is {found.state}{when}, not {' or '.join(states)}."
        raise Refusal("storm-state", message, {"storm": code, "state": found.state})
    return found


def event_of(job: int) -> str:
    """The code of the storm to which a job belongs, '' for none."""
    return Storm.objects.filter(jobs=job).values_list("code", flat=True).first() or ""


def left_on(at: datetime) -> list[Storm]:
    """Storms that are open for more than 14 days at a moment, the oldest first: somebody forgot to close them."""
    return [*Storm.objects.filter(state=OPEN, opened_at__lt=at - timedelta(LONGEST_DAYS)).order_by("opened_at")]


def to_finish(storm: Storm) -> list[LotToFinish]:
    """Pieces whose lot nobody has named yet, the oldest first; one query."""
    found = storm.lots_to_finish.filter(named=None).select_related("line__bag__job", "lot__item", "place__depot")
    return [*found.order_by("pk")]


def lots_unnamed(depots: Collection[str]) -> dict[str, int]:
    """By the code of a storm how many lots are to be named of what these depots gave, of all without; one query."""
    found = LotToFinish.objects.filter(named=None)
    if depots:
        found = found.filter(line__bag__depot__depot__in=depots)
    return dict(found.values_list("storm__code").annotate(Count("pk")).order_by("storm__code"))


def finish_sentence(one: LotToFinish) -> str:
    """In words: ``4: 3 EL15-2 of Alder 12 from N/N-01-3 (the books took lot L-1)``."""
    return (
        f"{one.pk}: {bare(one.quantity)} {one.lot.item} of {one.line.bag} from {one.place} "
        f"(the books took lot {one.lot.number or 'unknown'})"
    )


def bags_of(storm: Storm) -> list[Bag]:
    """All bags that went out under a storm's code, in the order of jobs and numbers."""
    found = Bag.objects.filter(job__storms=storm).select_related("job", "depot", "place")
    return [*found.order_by("job__job", "number")]


def keeps_open(storm: Storm) -> list[str]:
    """What must be done before a storm can be closed, a sentence each: lots to name, bags that are not closed."""
    bags = [bag for bag in bags_of(storm) if bag.state != BAG_CLOSED]
    contents = contents_of(bags)
    told = [f"lot to name: {finish_sentence(one)}" for one in to_finish(storm)]
    for bag in bags:
        left = ", ".join(contents[bag.pk].open()) or "nothing"
        told.append(f"{bag} with {bag.crew or 'nobody'} is {bag.state}; still open: {left}")
    return told


def kept_kit(job: int) -> KeptKit | None:
    """How a job's kit is kept in the storms that are open; the strictest word counts."""
    found = KeptKit.objects.filter(job=job, storm__state=OPEN).select_related("job", "storm")
    return min(found, key=lambda one: PROTECTIONS.index(one.protection), default=None)


def refill_of(storm: Storm) -> list[Refill]:
    """What purchasing is to bring back; six queries.

    A shelf below its least stock is filled up to its greatest, a reserve to its floor; where nobody has set a level
    all that was used, or that nobody accounted for, is bought again.
    """
    used = Counter[tuple[int, int]]()
    rows = Bag.objects.filter(job__storms=storm, lines__entries__deed__in=and_taken_back(*USED))
    names = ("depot", "lines__entries__lot__item", "lines__entries__deed")
    for depot, item, deed, pieces in rows.values_list(*names).annotate(Sum("lines__entries__quantity")):
        used[depot, item] += -pieces if deed in TAKEN_BACK else pieces
    closed = Balance.objects.filter(place__bag__job__storms=storm, place__bag__state=BAG_CLOSED, quantity__gt=0)
    left = closed.values_list("place__depot", "lot__item").annotate(Sum("quantity"))
    missing = {(depot, item): pieces for depot, item, pieces in left}
    gone = used + Counter(missing)
    depots = {depot.pk: depot for depot in Depot.objects.filter(pk__in={depot for depot, _ in gone})}
    items = {item.pk: item for item in Item.objects.filter(pk__in={item for _, item in gone})}
    levels = {(one.depot_id, one.item_id): one for one in Level.objects.filter(depot__in=depots, item__in=items)}
    there: dict[tuple[int, int], Counter[str]] = defaultdict(Counter)
    lying = Balance.objects.filter(place__depot__in=depots, lot__item__in=items, place__kind__in=(BIN, RESERVE))
    for depot, item, kind, pieces in lying.values_list("place__depot", "lot__item", "place__kind").annotate(
        Sum("quantity")
    ):
        there[depot, item][kind] += pieces
    found = [
        Refill(
            depots[key[0]].depot,
            items[key[1]],
            used[key],
            _wanted(levels.get(key), there[key], pieces),
            missing.get(key, 0),
        )
        for key, pieces in gone.items()
    ]
    return sorted((one for one in found if one.wanted), key=lambda one: (one.depot, one.item.stock_code))


def _wanted(level: Level | None, there: Counter[str], used: int) -> int:
    if level is None:
        return used
    least = level.minimum or 0
    shelf = (level.maximum or least) - there[BIN] if there[BIN] < least else 0
    return shelf + max((level.reserve_floor or 0) - there[RESERVE], 0)


@dataclass(frozen=True, slots=True)
class Keepable:
    """A planned job with bags in store, and how it is kept in a storm; None: nobody has said."""

    job: Job
    bags: int
    kept: KeptKit | None


def kits_to_keep(storm: Storm) -> list[Keepable]:
    """Planned jobs whose kits a storm could break, the first cutover first, and those it keeps; two queries."""
    kept = {one.job_id: one for one in storm.kept_kits.select_related("job")}
    in_store = Q(bags__state__in=IN_STORE)
    planned = Job.objects.filter(in_store, ended="").annotate(in_store=Count("bags", filter=in_store))
    found = [Keepable(job, job.in_store, kept.pop(job.pk, None)) for job in planned]
    found += [Keepable(one.job, 0, one) for one in kept.values()]
    return sorted(found, key=lambda one: (not one.job.cutover, one.job.cutover, one.job.job))


def emergencies() -> list[Job]:
    """Emergencies that are under way, the last one first; storms and recipes are none; one query."""
    open_ones = Job.objects.filter(ended=UNDER_WAY, recipe__isnull=True, revisions__isnull=True)
    return [*open_ones.exclude(job__in=Storm.objects.values("code")).order_by("-pk")]


def last_storms() -> list[Storm]:
    """Storms that were closed, the last one first; one query."""
    return [*Storm.objects.filter(state=CLOSED).order_by("-closed_at")]


def asked_at(storms: Iterable[Storm]) -> dict[str, datetime]:
    """When storms were asked for, by code; one query."""
    asked = Event.objects.filter(name="storm asked", subject__in=[one.code for one in storms]).order_by("number")
    return dict(asked.values_list("subject", "at"))


def storms_asked() -> list[Storm]:
    """Storms that somebody asked for and nobody has opened, in the order in which they were asked for."""
    return [*Storm.objects.filter(state=ASKED).order_by("pk")]


def open_storms() -> Sequence[Storm]:
    """Storms that are open, the oldest first."""
    return [*Storm.objects.filter(state=OPEN).order_by("opened_at")]
