"""Release the promises of a job that is cancelled, re-dated or complete: its pieces are free again at once."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from jobs.models import CANCELLED, COMPLETE, UNDER_WAY, Job
from kitting.errors import Refusal
from kitting.models import Promise
from kitting.services.record_events import Happening, record_events

OUTAGE = frozenset({"cutover", "cutover end"})  # columns of the jobs sheet: promises were made for these


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


@transaction.atomic(durable=True)
def cancel_job(*, job: str, why: str, by: str, at: datetime) -> int:
    """Cancel a job and release its promises; orders that it counted on are told to purchasing as no longer needed.

    Returns the number of promises released.

    Raises:
        Refusal: ``no-reason``; ``unknown-job``; ``job-ended``.
    """
    if not why.strip():
        raise Refusal("no-reason", "A cancelled job needs a reason.", {"job": job})
    found = _open_job(job)
    promises = Promise.objects.filter(job=found, released_at__isnull=True)
    orders = sorted(
        {str(one.order_line) for one in promises.exclude(order_line=None).select_related("order_line__order")}
    )
    released = release(promises, why=f"job cancelled: {why}", at=at)
    _end(found, CANCELLED)
    told = {"why": why, "promises_released": released, "orders_no_longer_needed": orders}
    role = "buyer" if orders else "storekeeper"
    record_events([Happening("job cancelled", job, told, addressed_to=role, depot=found.depot)], by=by, at=at)
    return released


@transaction.atomic(durable=True)
def complete_job(*, job: str, by: str, at: datetime) -> int:
    """Note that a job is done, and release what is still promised to it; returns the number of promises released.

    Raises:
        Refusal: ``unknown-job``; ``job-ended``.
    """
    found = _open_job(job, UNDER_WAY)
    released = release(Promise.objects.filter(job=found), why="job complete", at=at)
    _end(found, COMPLETE)
    told = {"promises_released": released}
    record_events([Happening("job complete", job, told, addressed_to="storekeeper", depot=found.depot)], by=by, at=at)
    return released


def release_moved(changes: Mapping[str, Mapping[str, tuple[str, str]]], *, at: datetime) -> list[Happening]:
    """Release what is promised to jobs whose outage has another time, inside the caller's transaction.

    Args:
        changes: by job, the texts before and after of each column of the jobs sheet that differs.
        at: the moment.

    Returns what is to be recorded, one happening a moved job.
    """
    moved = {job: columns for job, columns in changes.items() if OUTAGE & set(columns)}
    happenings = []
    for job in Job.objects.filter(job__in=moved).order_by("pk"):
        released = release(Promise.objects.filter(job=job), why="outage moved", at=at)
        told = {"changed": dict(moved[job.job]), "promises_released": released}
        happenings.append(Happening("job moved", job.job, told, addressed_to="storekeeper", depot=job.depot))
    return happenings


def take_out(job: Job, *, at: datetime) -> None:
    """Note, inside the caller's transaction, that all bags of a job are with the crew; it is planned no more."""
    release(Promise.objects.filter(job=job), why="all bags issued", at=at)
    _end(job, UNDER_WAY)


def complete_in_place(job: Job, *, at: datetime) -> None:
    """Note, inside the caller's transaction, that a job is done."""
    release(Promise.objects.filter(job=job), why="job complete", at=at)
    _end(job, COMPLETE)


def bring_back(job: Job) -> None:
    """Note, inside the caller's transaction, that bags of a job came back unused; it is planned again."""
    _end(job, "")


def _open_job(job: str, *also: str) -> Job:
    found = Job.objects.select_for_update().filter(job=job).first()
    if found is None:
        raise Refusal("unknown-job", f"There is no job {job}.", {"job": job})
    if found.ended and found.ended not in also:
        raise Refusal("job-ended", f"{job} is {found.ended} already.", {"job": job, "ended": found.ended})
    return found


def _end(job: Job, how: str) -> None:
    job.ended = how
    job.version += 1
    job.save(update_fields=("ended", "version"))
