"""Release the promises of a job that is re-dated, out or complete: its pieces are free again at once."""

from collections.abc import Mapping
from datetime import datetime

from django.db.models import QuerySet

from jobs.models import COMPLETE, UNDER_WAY, Job
from kitting.models import Promise
from kitting.services.record_events import Happening

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
