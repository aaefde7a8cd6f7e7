"""Release the promises of a job that is re-dated, out or complete, and those of pieces that are not there any more."""

from collections.abc import Collection, Mapping
from datetime import datetime

from django.db.models import Q, QuerySet

from inventory.models import Balance, Place
from jobs.models import COMPLETE, UNDER_WAY, Job
from kitting.calculation.bag_states import OUT
from kitting.calculation.expansion.lines import SPARE_ENDING
from kitting.models import AppliedPlan, Bag, Promise
from kitting.roles import CREW_LEAD, PLANNER, STOREKEEPER
from kitting.selectors.bag_contents import bare
from kitting.selectors.promises import promised_at, service_turns
from kitting.services.job_steps import note_moved
from kitting.services.record_events import Happening, record_events

CUTOVER, DEPOT = "cutover", "depot"
PROMISED_FOR = frozenset({CUTOVER, "cutover end", DEPOT})  # columns of the jobs sheet: promises were made for these


def release(promises: QuerySet[Promise], *, why: str, at: datetime) -> int:
    """Release those of the promises that are still open, inside the caller's transaction; returns how many."""
    return promises.filter(released_at__isnull=True).update(released_at=at, released_why=why)


def rest_of(promise: Promise, quantity: int, at: datetime) -> Promise:
    """What stays promised of a promise that is released, in thousandths; nothing is stored yet."""
    columns = {
        field.attname: getattr(promise, field.attname)
        for field in Promise._meta.concrete_fields  # noqa: SLF001 - Django's public way to its columns
        if not field.primary_key
    }
    return Promise(**{**columns, "quantity": quantity, "made_at": at, "released_at": None, "released_why": ""})


def release_missing(balance: Balance, counted: int, why: str, at: datetime) -> list[tuple[Promise, int]]:
    """Release what can't be kept of the promises of a lot at a place where so many thousandths were counted.

    Spares lose their pieces first, then the jobs that are served last. Inside the caller's transaction; returns the
    promises with the thousandths that each loses.
    """
    promises = [
        *Promise.objects.select_for_update(of=("self",))
        .filter(lot=balance.lot, place=balance.place, released_at=None)
        .select_related("job")
    ]
    plan = AppliedPlan.objects.order_by("-pk").first()
    turns = service_turns(plan) if plan else {}
    last = len(turns)
    promises.sort(key=lambda one: (one.line.endswith(SPARE_ENDING), turns.get(one.job.job, last), one.pk), reverse=True)
    lacking = sum(promise.quantity for promise in promises) - counted
    lost: list[tuple[Promise, int]] = []
    for promise in promises:
        pieces = min(promise.quantity, lacking)
        if pieces > 0:
            lost.append((promise, pieces))
            lacking -= pieces
    release(Promise.objects.filter(pk__in=[promise.pk for promise, _ in lost]), why=why, at=at)
    Promise.objects.bulk_create(
        rest_of(promise, promise.quantity - pieces, at) for promise, pieces in lost if promise.quantity > pieces
    )
    return lost


def let_go(there: Collection[tuple[int, int]], *, why: str, by: str, at: datetime) -> tuple[tuple[str, str, int], ...]:
    """Release what is promised beyond the pieces that are left at these places, and tell planners whose it was.

    Whoever takes pieces that somebody is promised calls it once they are booked, inside the same transaction; two
    queries where nobody loses any.

    Args:
        there: numbers of a place and a lot each.
        why: where the pieces went.
        by, at: who took them, and when.

    Returns job, line and thousandths of what is lost.
    """
    places, lots = {place for place, _ in there}, {lot for _, lot in there}
    promised = promised_at(place__in=places, lot__in=lots)
    found = Balance.objects.filter(place__in=places, lot__in=lots).select_related("place__depot", "lot__item")
    lost: list[tuple[str, str, int]] = []
    happenings = []
    for balance in found.order_by("pk"):
        key = (balance.place_id, balance.lot_id)
        if key in there and promised[key] > balance.quantity:
            gone = [
                (promise.job.job, promise.line, pieces)
                for promise, pieces in release_missing(balance, balance.quantity, why, at)
            ]
            lost += gone
            told = {"why": why, "lost": [{"job": job, "line": line, "pieces": bare(n)} for job, line, n in gone]}
            depot = balance.place.depot.depot
            happenings.append(Happening("promised pieces gone", str(balance), told, PLANNER, depot))
    if happenings:
        record_events(happenings, by=by, at=at)
    return tuple(lost)


def follow(balance: Balance, to: Place, *, why: str, at: datetime) -> None:
    """Promise again at another place what can't be kept at the old one, inside the caller's transaction."""
    balance.refresh_from_db(fields=["quantity"])
    released = release_missing(balance, balance.quantity, why, at)
    again = [rest_of(promise, pieces, at) for promise, pieces in released]
    for promise in again:
        promise.place = to
    Promise.objects.bulk_create(again)


def release_moved(changes: Mapping[str, Mapping[str, tuple[str, str]]], *, at: datetime) -> list[Happening]:
    """Release what is promised to jobs of another time or depot than before, inside the caller's transaction.

    Args:
        changes: by job, the texts before and after of each column of the jobs sheet that differs.
        at: the moment.

    Returns what is to be recorded, one happening a moved job for stores of each of its depots, and one for the crew
    that has bags of it.

    Raises:
        Refusal: ``not-in-this-state``: the outage of a job that is moved has begun.
    """
    moved = {job: columns for job, columns in changes.items() if PROMISED_FOR & set(columns)}
    note_moved(Job.objects.filter(job__in=[job for job, columns in moved.items() if CUTOVER in columns]).order_by("pk"))
    out = Q(state__in=OUT) | Q(state_before_hold__in=OUT)
    with_crews = {*Bag.objects.filter(out, job__job__in=moved).values_list("job", flat=True)}
    happenings = []
    for job in Job.objects.filter(job__in=moved).order_by("pk"):
        columns = moved[job.job]
        why = f"its depot is {job.depot} now" if {*columns} & PROMISED_FOR == {DEPOT} else "outage moved"
        told = {"changed": dict(columns), "promises_released": release(Promise.objects.filter(job=job), why=why, at=at)}
        roles = (STOREKEEPER, CREW_LEAD) if job.pk in with_crews else (STOREKEEPER,)
        addressed = [(role, job.depot) for role in roles]
        addressed += [(STOREKEEPER, columns[DEPOT][0])] if DEPOT in columns else []
        happenings += [Happening("job moved", job.job, told, role, depot) for role, depot in addressed]
    return happenings


def take_out(job: Job, *, at: datetime) -> None:
    """Note, inside the caller's transaction, that all bags of a job are with the crew; it is planned no more."""
    release(Promise.objects.filter(job=job), why="all bags issued", at=at)
    end(job, UNDER_WAY)


def complete_in_place(job: Job, *, at: datetime) -> int:
    """Note, inside the caller's transaction, that a job is done; returns how many promises are released."""
    end(job, COMPLETE)
    return release(Promise.objects.filter(job=job), why="job complete", at=at)


def bring_back(job: Job) -> None:
    """Note, inside the caller's transaction, that bags of a job came back unused; it is planned again."""
    end(job, "")


def end(job: Job, how: str) -> None:
    """Note how a job ended, '' where it goes on, inside the caller's transaction."""
    job.ended = how
    job.version += 1
    job.save(update_fields=("ended", "version"))
