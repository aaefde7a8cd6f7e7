"""End a job: nobody plans it any more, what was promised to it is free, and bags that never went out are given up."""

from datetime import datetime

from inventory.services.actions import use_case
from jobs.models import CANCELLED, UNDER_WAY, Job
from kitting.calculation import bag_states, job_states
from kitting.calculation.bag_states import CANCEL, DRAFT, IN_STORE, LISTED, ON_HOLD, BagFacts, next_state
from kitting.calculation.job_states import CLOSE, JobFacts, next_job_state
from kitting.errors import Refusal
from kitting.models import Bag, Promise
from kitting.selectors.bag_contents import is_out
from kitting.selectors.job_states import standing_of
from kitting.services.freeze_outages import changes_after_freeze
from kitting.services.job_steps import locked_job
from kitting.services.record_events import Happening, record_events
from kitting.services.release_promises import complete_in_place, end, release


@use_case
def cancel_job(*, job: str, why: str, by: str, at: datetime) -> int:
    """Cancel a job and release its promises; orders that it counted on are told to purchasing as no longer needed.

    Bags in store are given up, those with pieces are on the rework list until these are put back; a bag that is out
    stays so until the crew turns it in.

    Returns the number of promises released.

    Raises:
        Refusal: ``no-reason``; ``unknown-job``; ``job-ended``; ``not-in-this-state``: its outage has begun.
    """
    if not why.strip():
        raise Refusal("no-reason", "A cancelled job needs a reason.", {"job": job})
    found = _open_job(job, UNDER_WAY)
    next_job_state(standing_of(found).state, job_states.CANCEL, JobFacts(name=job, reason=why))
    promises = Promise.objects.filter(job=found, released_at__isnull=True)
    orders = sorted(
        {str(one.order_line) for one in promises.exclude(order_line=None).select_related("order_line__order")}
    )
    released = release(promises, why=f"job cancelled: {why}", at=at)
    end(found, CANCELLED)
    told = {"why": why, "promises_released": released, "orders_no_longer_needed": orders}
    role = "buyer" if orders else "storekeeper"
    cancelled = Happening("job cancelled", job, told, addressed_to=role, depot=found.depot)
    late = changes_after_freeze([job], reason=why, what="job cancelled")
    record_events([cancelled, *late, *_given_up(found, f"job cancelled: {why}")], by=by, at=at)
    return released


@use_case
def complete_job(*, job: str, by: str, at: datetime) -> int:
    """Note that a job is done, release what is still promised to it, and give up bags that never went out.

    Returns the number of promises released.

    Raises:
        Refusal: ``unknown-job``; ``job-ended``; ``job-not-ready``: pieces are with the crew that nobody has
            accounted for.
    """
    found = _open_job(job, UNDER_WAY)
    out = tuple(str(one) for one in _bags(found) if is_out(one))
    next_job_state(standing_of(found).state, CLOSE, JobFacts(name=job, out=out))
    released = complete_in_place(found, at=at)
    told = {"promises_released": released}
    complete = Happening("job complete", job, told, addressed_to="storekeeper", depot=found.depot)
    record_events([complete, *_given_up(found, "job complete")], by=by, at=at)
    return released


def _bags(job: Job) -> list[Bag]:
    found = Bag.objects.filter(job=job).order_by("number").select_related("job", "depot")
    return [*found.select_for_update(of=("self",))]


def _given_up(job: Job, why: str) -> list[Happening]:
    """Give up the bags of a job that are in store; one on hold is given up once the hold is lifted."""
    changed, happenings = [], []
    for bag in _bags(job):
        before = bag.state
        if bag.state in (DRAFT, LISTED, *IN_STORE):
            bag.state = next_state(bag.state, CANCEL, BagFacts(name=str(bag), reason=why))
        elif bag.state == ON_HOLD and not is_out(bag):
            bag.state_before_hold = bag_states.CANCELLED
        else:
            continue
        bag.why = why
        bag.version += 1
        changed.append(bag)
        told = {"bag": bag.code, "before": before, "after": bag.state, "why": why}
        happenings.append(Happening("bag cancelled", str(bag), told, addressed_to="storekeeper", depot=bag.depot.depot))
    Bag.objects.bulk_update(changed, ["state", "state_before_hold", "why", "version"])
    return happenings


def _open_job(job: str, *also: str) -> Job:
    found = locked_job(job)
    if found.ended and found.ended not in also:
        raise Refusal("job-ended", f"{job} is {found.ended} already.", {"job": job, "ended": found.ended})
    return found
