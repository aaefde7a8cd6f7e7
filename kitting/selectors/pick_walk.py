"""The pick walk: one way past the places of a depot for several bags at once."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from inventory.models import BAG, VAN, Lot, Place
from inventory.selectors.finding import open_holds
from jobs.models import Job
from kitting.calculation.bag_states import PICK, TABLE
from kitting.calculation.natural_order import natural_key
from kitting.calculation.short_codes import verified
from kitting.errors import Refusal
from kitting.models import Bag, Promise
from kitting.selectors.bag_contents import contents_of, facts_of_all, label_code
from kitting.selectors.planned_bags import unknown_bag
from kitting.selectors.unplanned_pieces import free_for

_TO_BE_PICKED = {row.state for row in TABLE if row.action == PICK}


@dataclass(frozen=True, slots=True)
class Step:
    """Thousandths of one lot at one place for one bag that are promised, or free for an emergency, and not picked yet.

    Args:
        walk: number of the place on the way, from 1: several steps at one place share it.
        place, lot, bag: where, what, for which bag; the lot's date is its use-by.
        code: number on the bag's label.
        quantity: what is still to be picked, spares among it.
        spares: how many of these are for spare lines.
        is_held: a hold stops the lot, so that it can't be picked.
    """

    walk: int
    place: Place
    lot: Lot
    bag: Bag
    code: str
    quantity: int
    spares: int
    is_held: bool

    @property
    def is_spare(self) -> bool:
        """Whether all of it is spare."""
        return self.spares == self.quantity


def pick_walk(*, depot: str, jobs: Collection[str] = (), bags: Collection[str] = ()) -> tuple[Step, ...]:
    """What is to be picked at a depot for its own bags, in walking order; the number of queries never grows.

    The order is that of the pick list of a job, except that a place is passed once: spares are taken on the way.
    Pieces for bags of other depots go by van, and bags that may not be picked now stand on the rework list. The bag of
    an emergency is promised nothing: it takes what lies free.

    Args:
        depot: where.
        jobs: only bags of these; none named means of all.
        bags: only bags with these codes on their labels; none named means all.

    Raises:
        Refusal: ``unknown-job``; ``unknown-bag``; ``wrong-check-characters``.
    """
    found = _bags(depot, jobs, bags)
    contents = contents_of(found)
    facts = facts_of_all(contents.values())
    stands = {
        (one.bag.job_id, stand.line.line, stand.line.item_id): (one.bag, stand)
        for one in contents.values()
        for stand in one.lines
        if not facts[one.bag.pk].superseded
    }
    rows: dict[tuple[Place, Lot, Bag], list[int]] = defaultdict(lambda: [0, 0])
    left = {key: stand.missing for key, (_, stand) in stands.items()}
    for promise in _promises(depot, found):
        key = (promise.job_id, promise.line, promise.item_id)
        pieces = min(promise.quantity, left.get(key, 0))
        if pieces and promise.place and promise.lot:
            left[key] -= pieces
            bag, stand = stands[key]
            row = rows[promise.place, promise.lot, bag]
            row[stand.line.spare] += pieces
    for bag, stand, balance, pieces in free_for(contents.values(), depot):
        rows[balance.place, balance.lot, bag][stand.line.spare] += pieces
    return tuple(_steps(rows))


def _bags(depot: str, jobs: Collection[str], codes: Collection[str]) -> list[Bag]:
    """The bags of a depot that may be picked now, of these jobs and with these codes."""
    among = Bag.objects.filter(depot__depot=depot, transfer=None, state__in=_TO_BE_PICKED)
    among = among.select_related("job", "depot")
    if jobs:
        unknown = {*jobs} - {*Job.objects.filter(job__in=jobs).values_list("job", flat=True)}
        if unknown:
            raise Refusal("unknown-job", f"There is no job {', '.join(sorted(unknown))}.", {"jobs": sorted(unknown)})
        among = among.filter(job__job__in=jobs)
    if codes:
        plain = {verified(code): code for code in codes}
        known = {*Bag.objects.filter(code__in=plain).values_list("code", flat=True)}
        unknown = {code for number, code in plain.items() if number not in known}
        if unknown:
            raise unknown_bag(*sorted(unknown))
        among = among.filter(code__in=plain)
    return [*among.order_by("pk")]


def _promises(depot: str, bags: Sequence[Bag]) -> QuerySet[Promise]:
    """Open promises of these bags' jobs of pieces that lie at a depot, in no bag yet and on no van any more."""
    found = Promise.objects.filter(
        released_at=None, place__depot__depot=depot, job__in={bag.job_id for bag in bags}
    ).exclude(place__kind__in=(BAG, VAN))
    return found.select_related("lot__item", "place__depot").order_by("pk")


def _steps(rows: Mapping[tuple[Place, Lot, Bag], Sequence[int]]) -> Iterator[Step]:
    holds = open_holds(lot for _, lot, _ in rows)
    walk, last = 0, None
    for place, lot, bag in sorted(rows, key=_on_the_way):
        walk += place != last
        last = place
        needed, spares = rows[place, lot, bag]
        is_held = (lot.item_id, lot.number) in holds
        yield Step(walk, place, lot, bag, label_code(bag), needed + spares, spares, is_held)


def _on_the_way(row: tuple[Place, Lot, Bag]) -> tuple[object, ...]:
    place, lot, bag = row
    return (
        natural_key(place.code), place.kind, natural_key(lot.item.stock_code), natural_key(lot.number), lot.pk,
        natural_key(bag.job.job), bag.number,
    )  # fmt: skip
