"""Where jobs stand on their way from planned to closed, and who said so."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Q, QuerySet

from jobs.models import CANCELLED, COMPLETE, UNDER_WAY, Job
from kitting.calculation import bag_states
from kitting.calculation.job_states import JobMarks, state_of
from kitting.models import Bag, Freeze, JobStep
from kitting.models.job_steps import CONFIRMED, ENERGISED, OUTAGE

# Jobs that are planned ahead: no emergency, which is under way from its beginning and has no schedule, and no recipe.
PLANNED_AHEAD = Q(ended="") | Q(ended=UNDER_WAY, revisions__live=True)
# Bags that a crew has worked on: those that are in the work, or came back from it.
WORKED_ON = Q(state__in=(bag_states.IN_WORK, bag_states.RETURNING)) | (Q(state=bag_states.CLOSED) & ~Q(crew=""))


@dataclass(frozen=True, slots=True)
class JobStanding:
    """The state of a job, the steps that hold by their kinds, and who froze its outage ('' where nobody did)."""

    state: str
    steps: Mapping[str, JobStep] = field(default_factory=dict)
    frozen_by: str = ""


def job_standings(jobs: "QuerySet[Job]") -> dict[int, JobStanding]:
    """The standing of each of these jobs, by the number of its record; four queries."""
    steps: dict[int, dict[str, JobStep]] = defaultdict(dict)
    for step in JobStep.objects.filter(job__in=jobs, over=False).order_by("pk"):
        steps[step.job_id][step.kind] = step
    frozen = dict(Freeze.objects.filter(job__in=jobs, over=False).values_list("job", "frozen_by"))
    bags = Bag.objects.filter(WORKED_ON, job__in=jobs)
    began: set[int] = set()
    back: set[int] = set()
    for job, state in bags.values_list("job", "state"):
        (began if state == bag_states.IN_WORK else back).add(job)
    return {
        pk: JobStanding(
            state_of(
                JobMarks(
                    is_cancelled=ended == CANCELLED,
                    is_closed=ended == COMPLETE,
                    is_confirmed=CONFIRMED in steps[pk],
                    is_frozen=pk in frozen,
                    has_begun=OUTAGE in steps[pk] or pk in began,
                    is_energised=ENERGISED in steps[pk],
                    is_back=pk in back,
                )
            ),
            steps[pk],
            frozen.get(pk, ""),
        )
        for pk, ended in jobs.values_list("pk", "ended")
    }


def standing_of(job: Job) -> JobStanding:
    """The standing of one job."""
    return job_standings(Job.objects.filter(pk=job.pk))[job.pk]


def energised_at(jobs: "QuerySet[Job]", as_of: datetime | None = None) -> dict[int, datetime]:
    """When the lines of jobs went back in service, by the number of the job's record; one query.

    Args:
        jobs: which.
        as_of: what was known at a past moment; now, if absent.
    """
    found = JobStep.objects.filter(job__in=jobs, kind=ENERGISED, over=False)
    known = found.filter(said_at__lte=as_of) if as_of is not None else found
    return dict(known.values_list("job", "happened_at"))
