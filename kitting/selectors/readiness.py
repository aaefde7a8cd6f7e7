"""How ready a job was: what each applied plan answered, where that turned, and what happened to it in between."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from jobs.models import Job
from kitting.calculation.bag_states import BROKEN, ISSUED, ON_HOLD, REOPENED, SHORT, STAGED
from kitting.models import Bag, Event, JobReadiness
from kitting.selectors.cutovers import NOT_PLANNED

_BAG_TURNS = (BROKEN, ISSUED, ON_HOLD, REOPENED, SHORT, STAGED)
MOVED, REVISED = "job moved", "schedule revised"
_OF_THE_JOB = (MOVED, REVISED, "job cancelled", "job complete")


@dataclass(frozen=True, slots=True)
class Turn:
    """Something that turned.

    Args:
        at: when.
        what: the plan that was applied, the bag, or what happened to the job.
        answer: one of the six, of a plan; '' else.
        told: what decides the answer; the state of a bag before and after.
        by: who did it.
    """

    at: datetime
    what: str
    answer: str
    told: str
    by: str


def readiness(job: Job) -> list[Turn]:
    """What turned, the earliest first; three queries. A plan that answered as the one before did is left out."""
    return sorted(dict.fromkeys((*_answers(job), *_happenings(job))), key=lambda one: one.at)


def answer_at(turns: Sequence[Turn], moment: datetime) -> str:
    """What the job's answer was at a moment; ``not planned yet`` before its first plan."""
    answers = [one.answer for one in turns if one.answer and one.at <= moment]
    return answers[-1] if answers else NOT_PLANNED


def _answers(job: Job) -> Iterator[Turn]:
    before: tuple[object, ...] = ()
    found = JobReadiness.objects.filter(job=job.job).select_related("plan").defer("plan__summary").order_by("plan")
    for one in found:
        now = (one.answer, one.deciding_line, one.short, one.staged_by)
        if now != before:
            short = f"short {one.short}" if one.short else ""
            staged = f"staged by {one.staged_by.isoformat()}" if one.staged_by else "no cutover"
            decides = one.deciding_line if one.answer != "ready" else ""
            told = "; ".join(filter(None, (decides, short, staged)))
            yield Turn(one.plan.applied_at, f"plan {one.plan_id} applied", one.answer, told, one.plan.applied_by)
        before = now


def _happenings(job: Job) -> Iterator[Turn]:
    bags = [str(bag) for bag in Bag.objects.filter(job=job).select_related("job")]
    for event in Event.objects.filter(subject__in=[job.job, *bags]).order_by("number"):
        was, now = str(event.data.get("before", "")), str(event.data.get("after", ""))
        if event.subject in bags and was != now and now in _BAG_TURNS:
            yield Turn(event.at, f"bag {event.subject}", "", f"{was} to {now}", event.by)
        elif event.subject == job.job and event.name in _OF_THE_JOB:
            yield Turn(event.at, event.name, "", _told(event), event.by)


def _told(event: Event) -> str:
    """What has changed of the job's outage, or which revision its schedule has now."""
    if event.name == MOVED:
        changed = event.data["changed"].items()
        return "; ".join(f"{column} {was or 'blank'} to {now or 'blank'}" for column, (was, now) in changed)
    return f"revision {event.data['revision']}" if event.name == REVISED else ""
