"""Release the promises of a job that is cancelled, re-dated or complete: its pieces are free again at once."""

from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from jobs.models import CANCELLED, COMPLETE, Job
from kitting.errors import Refusal
from kitting.models import Promise
from kitting.services.record_events import Happening, record_events


def release(promises: QuerySet[Promise], *, why: str, at: datetime) -> int:
    """Release those of the promises that are still open, inside the caller's transaction; returns how many."""
    return promises.filter(released_at__isnull=True).update(released_at=at, released_why=why)


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
    found = _open_job(job)
    released = release(Promise.objects.filter(job=found), why="job complete", at=at)
    _end(found, COMPLETE)
    told = {"promises_released": released}
    record_events([Happening("job complete", job, told, addressed_to="storekeeper", depot=found.depot)], by=by, at=at)
    return released


@transaction.atomic(durable=True)
def move_job(*, job: str, cutover: str, cutover_end: str, version: int, why: str, by: str, at: datetime) -> int:
    """Give a job another outage and release its promises: they were made for the old date.

    Args:
        job: its number.
        cutover, cutover_end: local moments, ``2026-03-31 22:00``; the end may be ''.
        version: of the job as the planner saw it.
        why: the reason.
        by, at: who moved it, and when.

    Returns the number of promises released.

    Raises:
        Refusal: ``no-reason``; ``not-a-moment``; ``unknown-job``; ``job-ended``; ``changed-since``, with what
            stands now.
    """
    if not why.strip():
        raise Refusal("no-reason", "A moved job needs a reason.", {"job": job})
    moments = [_moment(text) for text in (cutover, cutover_end)]
    if "" not in moments and moments[1] < moments[0]:
        raise Refusal("not-a-moment", f"The outage of {job} would end before it starts.", {"job": job})
    found = _open_job(job)
    if found.version != version:
        message = f"{job} was changed meanwhile: its outage now starts {found.cutover or 'on no date'}. Look again."
        data = {"job": job, "cutover": found.cutover, "cutover_end": found.cutover_end, "version": found.version}
        raise Refusal("changed-since", message, data)
    before = [found.cutover, found.cutover_end]
    found.cutover, found.cutover_end = moments
    found.version += 1
    found.save(update_fields=("cutover", "cutover_end", "version"))
    released = release(Promise.objects.filter(job=found), why=f"outage moved: {why}", at=at)
    told = {"why": why, "before": before, "after": moments, "promises_released": released}
    record_events([Happening("job moved", job, told, addressed_to="storekeeper", depot=found.depot)], by=by, at=at)
    return released


def _moment(text: str) -> str:
    try:
        return datetime.strptime(text, "%Y-%m-%d %H:%M").strftime("%Y-%m-%d %H:%M") if text else ""  # noqa: DTZ007 - local
    except ValueError:
        message = f"{text!r} is no date and time; write it as 2026-03-31 22:00."
        raise Refusal("not-a-moment", message, {"read": text}) from None


def _open_job(job: str) -> Job:
    found = Job.objects.select_for_update().filter(job=job).first()
    if found is None:
        raise Refusal("unknown-job", f"There is no job {job}.", {"job": job})
    if found.ended:
        raise Refusal("job-ended", f"{job} is {found.ended} already.", {"job": job, "ended": found.ended})
    return found


def _end(job: Job, how: str) -> None:
    job.ended = how
    job.version += 1
    job.save(update_fields=("ended", "version"))
