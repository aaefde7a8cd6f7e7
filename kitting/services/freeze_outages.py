"""Freeze the outages of a day; whoever changes a frozen job gives a reason, which stands among the overrides."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from inventory.services.actions import use_case
from jobs.models import Job
from kitting.calculation.job_states import FREEZE, PLANNED, allows
from kitting.errors import Refusal
from kitting.models import Freeze
from kitting.roles import DO, Actor, require
from kitting.selectors.job_states import PLANNED_AHEAD, job_standings
from kitting.selectors.overrides import REASON
from kitting.services.record_events import Happening, lock_chain, record_events

CHANGED_AFTER = "changed after the freeze"


@dataclass(frozen=True, slots=True)
class Frozen:
    """Jobs of a day whose outages are frozen now, and those that are not because nobody has confirmed their date."""

    jobs: tuple[str, ...]
    unconfirmed: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """In words, with the exceptions by name."""
        rest = f" Not frozen, as nobody has confirmed it: {', '.join(self.unconfirmed)}." if self.unconfirmed else ""
        return f"{', '.join(self.jobs)}: what changes from now on needs a reason.{rest}"


@use_case
def freeze_outages(*, day: date, actor: Actor, at: datetime) -> Frozen:
    """Freeze the outages of a day, of the jobs whose date is confirmed.

    Raises:
        Refusal: ``not-allowed``; ``nothing-to-freeze``, with the jobs that nobody has confirmed.
    """
    require(actor, "job dates", DO)
    lock_chain()
    ahead = Job.objects.filter(PLANNED_AHEAD, cutover__startswith=day.isoformat()).distinct()
    states = job_standings(ahead)
    jobs = [job for job in ahead.order_by("job") if allows(states[job.pk].state, FREEZE)]
    unconfirmed = tuple(job.job for job in ahead.order_by("job") if states[job.pk].state == PLANNED)
    if not jobs:
        message = f"No open job has its outage on {day.isoformat()} and is not frozen yet."
        if unconfirmed:
            message = f"Nobody has confirmed the date of {', '.join(unconfirmed)}: do so on the job's page first."
        raise Refusal("nothing-to-freeze", message, {"day": day.isoformat(), "unconfirmed": unconfirmed})
    Freeze.objects.bulk_create(Freeze(job=job, cutover=job.cutover, frozen_by=actor.name, frozen_at=at) for job in jobs)
    told = [Happening("outage frozen", job.job, {"cutover": job.cutover}, depot=job.depot) for job in jobs]
    record_events(told, by=actor.name, at=at)
    return Frozen(tuple(job.job for job in jobs), unconfirmed)


def changes_after_freeze(jobs: Iterable[str], *, reason: str, what: str) -> list[Happening]:
    """What is to be recorded of a change to jobs of which some may be frozen, inside the caller's transaction.

    A job whose outage has another time by that is frozen no more.

    Args:
        jobs: numbers of the jobs that change.
        reason: why, by whoever changes them; '' where nobody said.
        what: what changes, in words.

    Raises:
        Refusal: ``frozen``: one of them is frozen, and nobody says why it changes.
    """
    found = list(Freeze.objects.filter(job__job__in=jobs, over=False).select_related("job").order_by("job__job"))
    if found and not reason.strip():
        named = ", ".join(f"{one} by {one.frozen_by}" for one in found)
        message = f"{named}. What changes after the freeze needs a reason; it is kept with your name."
        raise Refusal("frozen", message, {"jobs": [one.job.job for one in found]})
    over = [one.pk for one in found if one.job.cutover != one.cutover]
    Freeze.objects.filter(pk__in=over).update(over=True)
    return [
        Happening(
            CHANGED_AFTER,
            one.job.job,
            {REASON: reason.strip(), "what": what, "frozen_for": one.cutover, "cutover": one.job.cutover},
            addressed_to="storekeeper",
            depot=one.job.depot,
        )
        for one in found
    ]
