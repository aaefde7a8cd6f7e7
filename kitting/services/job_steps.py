"""Steps of a job from planned to closed: its date is confirmed, its outage begins, the line goes back in service."""

from collections.abc import Iterable
from datetime import datetime

from inventory.services.actions import use_case
from jobs.models import Job
from kitting.calculation.answers import READY
from kitting.calculation.job_states import (
    BEGIN,
    CONFIRM,
    DENY,
    ENERGISE,
    MOVE,
    UNCONFIRM,
    JobFacts,
    allows,
    next_job_state,
)
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry, JobStep
from kitting.models.bags import ISSUED
from kitting.models.job_steps import CONFIRMED, ENERGISED, OUTAGE
from kitting.roles import DO, Actor, require
from kitting.selectors.clock import local_zone
from kitting.selectors.cutovers import cutovers
from kitting.selectors.job_states import PLANNED_AHEAD, WORKED_ON, standing_of
from kitting.services.record_events import Happening, record_events

CONFIRMS, ENERGISES = "job dates", "as-installed"  # actions of the table of roles


@use_case
def confirm_job(*, job: str, actor: Actor, at: datetime, why: str = "") -> str:
    """Confirm the date of a job; its state then.

    Args:
        job: its number.
        actor: who confirms.
        at: the moment.
        why: why the date holds although the job is not ready.

    Raises:
        Refusal: ``not-allowed``; ``unknown-job``; ``not-in-this-state``; ``job-not-ready``: it has no date, is not
            planned ahead, or is not ready and nobody says why its date holds.
    """
    require(actor, CONFIRMS, DO)
    found = locked_job(job)
    facts = JobFacts(
        name=job,
        is_dated=bool(found.cutover),
        is_planned=Job.objects.filter(PLANNED_AHEAD, pk=found.pk).exists(),
        unready=_unready(job),
        reason=why,
    )
    before = standing_of(found).state
    state = next_job_state(before, CONFIRM, facts)
    _say(found, CONFIRMED, by=actor.name, at=at, why=why)
    told = {"cutover": found.cutover, "answer": facts.unready or READY, "before": before, "after": state, "why": why}
    record_events([Happening("job confirmed", job, told, depot=found.depot)], by=actor.name, at=at)
    return state


@use_case
def take_confirmation_back(*, job: str, actor: Actor, at: datetime, why: str) -> str:
    """Say that the date of a job is not confirmed after all; its state then.

    Raises:
        Refusal: ``not-allowed``; ``unknown-job``; ``not-in-this-state``; ``job-not-ready``: no reason.
    """
    require(actor, CONFIRMS, DO)
    found = locked_job(job)
    before = standing_of(found).state
    state = next_job_state(before, UNCONFIRM, JobFacts(name=job, reason=why))
    _end(found, CONFIRMED)
    told = {"before": before, "after": state, "why": why}
    record_events([Happening("confirmation taken back", job, told, depot=found.depot)], by=actor.name, at=at)
    return state


@use_case
def energise_job(*, job: str, actor: Actor, at: datetime, happened_at: datetime) -> str:
    """Note when the line of a job went back in service; its state then. What is out with the crew is due back.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``; ``unknown-job``; ``not-in-this-state``; ``job-not-ready``: it is
            noted already; ``wrong-moment``: it is still to come, or was before any bag went out.
    """
    found = locked_job(job)
    require(actor, ENERGISES, DO, found.depot)
    standing = standing_of(found)
    facts = JobFacts(name=job, is_energised=ENERGISED in standing.steps)
    state = next_job_state(standing.state, ENERGISE, facts)
    _require_moment(found, happened_at, at)
    _say(found, ENERGISED, by=actor.name, at=at, happened_at=happened_at)
    told = {"before": standing.state, "after": state, "energised_at": happened_at}
    record_events([Happening("job energised", job, told, depot=found.depot)], by=actor.name, at=at)
    return standing_of(found).state


@use_case
def take_energised_back(*, job: str, actor: Actor, at: datetime, why: str) -> str:
    """Say that the line of a job is not back in service after all; its state then.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``; ``unknown-job``; ``not-in-this-state``; ``job-not-ready``: no reason.
    """
    found = locked_job(job)
    require(actor, ENERGISES, DO, found.depot)
    before = standing_of(found).state
    state = next_job_state(before, DENY, JobFacts(name=job, reason=why))
    _end(found, ENERGISED)
    told = {"before": before, "after": state, "why": why}
    record_events([Happening("energised taken back", job, told, depot=found.depot)], by=actor.name, at=at)
    return state


def note_outage(job: Job, *, by: str, at: datetime) -> None:
    """Note, inside the caller's transaction, that work on a job has begun, where nobody has noted it yet.

    A bag of a job that was cancelled meanwhile is worked on as it is: the job stays cancelled.
    """
    standing = standing_of(job)
    if OUTAGE not in standing.steps and allows(standing.state, BEGIN):
        _say(job, OUTAGE, by=by, at=at)
        record_events([Happening("outage begun", job.job, depot=job.depot)], by=by, at=at)


def note_no_outage(job: Job, *, by: str, at: datetime) -> None:
    """Note, inside the caller's transaction, that what began the work on a job was a mistake, if nothing else did."""
    standing = standing_of(job)
    others = Bag.objects.filter(WORKED_ON, job=job)
    if OUTAGE in standing.steps and ENERGISED not in standing.steps and not others.exists():
        _end(job, OUTAGE)
        record_events([Happening("outage taken back", job.job, depot=job.depot)], by=by, at=at)


def note_moved(jobs: Iterable[Job]) -> None:
    """Let what was confirmed of jobs that are moved be over, inside the caller's transaction.

    Raises:
        Refusal: ``not-in-this-state``: the outage of one has begun, or is over.
    """
    for job in jobs:
        next_job_state(standing_of(job).state, MOVE, JobFacts(name=job.job))
        _end(job, CONFIRMED)


def locked_job(job: str) -> Job:
    """A job by its number, locked until the transaction ends.

    Raises:
        Refusal: ``unknown-job``.
    """
    found = Job.objects.select_for_update().filter(job=job).first()
    if found is None:
        raise Refusal("unknown-job", f"There is no job {job}.", {"job": job})
    return found


def _unready(job: str) -> str:
    """Why a job is not ready by the plan applied last and what came after it, in words."""
    (state,) = cutovers([job], ended=True)
    said = "" if state.answer == READY else f"it is {' '.join(filter(None, (state.answer, state.deciding_line)))}"
    return "; ".join(filter(None, (said, state.changed and f"its answer is from before {state.changed}")))


def _say(job: Job, kind: str, *, by: str, at: datetime, why: str = "", happened_at: datetime | None = None) -> None:
    JobStep.objects.create(
        job=job, kind=kind, cutover=job.cutover, happened_at=happened_at or at, said_by=by, said_at=at, why=why.strip()
    )


def _end(job: Job, kind: str) -> None:
    JobStep.objects.filter(job=job, kind=kind, over=False).update(over=True)


def _require_moment(job: Job, happened_at: datetime, at: datetime) -> None:
    if happened_at > at:
        raise Refusal("wrong-moment", "That moment is still to come.", {"job": job.job})
    went_out = BagEntry.objects.filter(line__bag__job=job, deed=ISSUED).order_by("action__at").first()
    if went_out is not None and happened_at < went_out.action.at:
        out = went_out.action.at.astimezone(local_zone([job.depot]))
        message = f"The first bag of {job} went out on {out:%Y-%m-%d %H:%M}, after that moment."
        raise Refusal("wrong-moment", message, {"job": job.job})
