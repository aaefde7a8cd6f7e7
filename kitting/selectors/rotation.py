"""Which pieces of the reserve are to change places with fresher ones of the shelf, while a job can still use them."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import F, QuerySet

from inventory.models import BIN, RESERVE, Balance
from inventory.selectors.balances import LOOK_AHEAD_DAYS
from inventory.selectors.finding import open_holds
from jobs.models import Job
from kitting.calculation.natural_order import natural_key
from kitting.models import Pin, Promise
from kitting.selectors.bag_contents import good_until
from kitting.selectors.policies import margin_days

ROTATE_DAYS = max(LOOK_AHEAD_DAYS)


@dataclass(frozen=True, slots=True)
class Rotation:
    """Thousandths of an old lot of the reserve that change places with a fresh one of the shelf at the same depot.

    Args:
        old: what lies in the reserve, and goes out of date within 90 days.
        fresh: what lies in a bin, of the same stock code, and is good for longer than that.
        quantity: thousandths.
        promises: those of the fresh pieces that the old ones meet in time, with the thousandths that change lots.
        jobs: that are given the old pieces, or could still use them.
    """

    old: Balance
    fresh: Balance
    quantity: int
    promises: Sequence[tuple[Promise, int]]
    jobs: Sequence[str]


def rotations(*, today: date, depots: Collection[str] = ()) -> list[Rotation]:
    """The swaps that are worth booking now, the first to expire first; six queries.

    Planned work is given the oldest pieces of the reserve: first where it is promised the fresh ones already, else
    where a job that needs the stock code ends its outage in time. Pieces that are pinned to a line stay where they are.
    """
    last = today + timedelta(ROTATE_DAYS)
    olds = _lying(RESERVE, depots).filter(lot__use_by__gte=today, lot__use_by__lte=last)
    old, items = [*olds.order_by("lot__use_by", "pk")], olds.values("lot__item")
    shelf = _lying(BIN, depots).filter(lot__item__in=items, lot__use_by__gt=last)
    fresh = [*shelf.order_by(F("lot__use_by").desc(), "pk")]
    held = open_holds(one.lot for one in (*old, *fresh))
    old, fresh = ([one for one in of if (one.lot.item_id, one.lot.number) not in held] for of in (old, fresh))
    return [*_paired(old, fresh, _Claims(fresh, items))]


def _lying(kind: str, depots: Collection[str]) -> QuerySet[Balance]:
    found = Balance.objects.filter(place__kind=kind, quantity__gt=0, lot__supplier_owned=False)
    found = found.filter(place__depot__depot__in=depots) if depots else found
    return found.select_related("lot__item", "place__depot")


class _Claims:
    """Who is promised what of the fresh pieces, how many of these are free, and until when jobs need a stock code."""

    def __init__(self, fresh: Sequence[Balance], items: "QuerySet[Balance, Any]") -> None:
        margin = margin_days()
        open_ = Promise.objects.filter(released_at=None, item__in=items, job__ended="").select_related("job", "plan")
        pinned = {*Pin.objects.exclude(lot="").filter(item__in=items).values_list("job", "line", "item")}
        self._needed: dict[int, dict[Job, date | None]] = defaultdict(dict)
        self._there: dict[tuple[int | None, int | None], list[Promise]] = defaultdict(list)
        self._left = Counter({one.pk: one.quantity for one in fresh})
        free = {(one.place_id, one.lot_id): one.pk for one in fresh}
        for promise in open_.order_by("pk"):
            self._needed[promise.item_id][promise.job] = good_until(promise.job, margin)
            key = (promise.place_id, promise.lot_id)
            if key in free:
                self._left[free[key]] -= promise.quantity
                if (promise.job_id, promise.line, promise.item_id) not in pinned:
                    self._there[key].append(promise)
        self._open = Counter({promise.pk: promise.quantity for of in self._there.values() for promise in of})

    def met_by(self, old: Balance, fresh: Balance) -> list[tuple[Promise, int]]:
        """Promises of fresh pieces that old ones meet in time, with what is left of each."""
        there = self._there[fresh.place_id, fresh.lot_id]
        return [(one, self._open[one.pk]) for one in there if self._open[one.pk] and self._in_time(one.job, old)]

    def free(self, fresh: Balance) -> int:
        """Thousandths of fresh pieces that nobody is promised."""
        return max(self._left[fresh.pk], 0)

    def could_use(self, old: Balance) -> list[str]:
        """Jobs that are promised the stock code, wherever it is, and end their outage in time."""
        jobs = {job.job for job in self._needed[old.lot.item_id] if self._in_time(job, old)}
        return sorted(jobs, key=natural_key)

    def take(self, promises: Iterable[tuple[Promise, int]], fresh: Balance, free: int) -> None:
        """Count what a swap uses, so that the next one doesn't use it again."""
        for promise, pieces in promises:
            self._open[promise.pk] -= pieces
        self._left[fresh.pk] -= free

    def _in_time(self, job: Job, old: Balance) -> bool:
        until = self._needed[old.lot.item_id][job]
        return until is not None and old.lot.use_by is not None and until <= old.lot.use_by


def _paired(old: Sequence[Balance], fresh: Sequence[Balance], claims: _Claims) -> Iterator[Rotation]:
    for one in old:
        left, jobs = one.quantity, claims.could_use(one)
        alike = [two for two in fresh if (two.lot.item_id, two.place.depot_id) == (one.lot.item_id, one.place.depot_id)]
        for two in sorted(alike, key=lambda two: not claims.met_by(one, two)):
            promises = [*_first(claims.met_by(one, two), left)]
            promised = sum(pieces for _, pieces in promises)
            free = min(claims.free(two), left - promised) if jobs else 0
            if promised + free:
                claims.take(promises, two, free)
                left -= promised + free
                given = sorted({promise.job.job for promise, _ in promises}, key=natural_key)
                yield Rotation(one, two, promised + free, promises, given or jobs)


def _first(promises: Iterable[tuple[Promise, int]], quantity: int) -> Iterator[tuple[Promise, int]]:
    for promise, there in promises:
        pieces = min(there, quantity)
        if pieces:
            quantity -= pieces
            yield promise, pieces


def by_key(found: Iterable[Rotation]) -> Mapping[tuple[int, int], Rotation]:
    """Swaps by the numbers of their two balances."""
    return {(one.old.pk, one.fresh.pk): one for one in found}
