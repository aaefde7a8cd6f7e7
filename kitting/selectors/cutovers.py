"""The jobs ahead: when, how ready by the plan applied last, what limits them, and how far their bags are."""

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, TypeVar

from django.db.models import Q

from inventory.models import Depot
from jobs.models import Job
from kitting.calculation.bag_states import CANCELLED, CHECKED, CLOSED, ON_HOLD, OUT, STAGED
from kitting.calculation.calendars import clock_change, window_hours
from kitting.calculation.job_states import BEFORE_THE_OUTAGE, PLANNED
from kitting.calculation.natural_order import natural_key
from kitting.calculation.order_marks import OrderMark, order_marks
from kitting.models import AppliedPlan, Bag, Event, Freeze, PlanRow
from kitting.selectors.job_states import JobStanding, job_standings

T = TypeVar("T")
SOON_DAYS = 10  # a planner looks so far ahead each morning
NOT_PLANNED, PLANNED_NO_MORE = "not planned yet", "planned no more"
_RECALLED = "lot recalled"
_MOVED = {"depot": "another depot", "cutover": "another time", "cutover end": "another time"}
_CHANGES = {"schedule revised": ("another schedule",), "job moved": (), _RECALLED: ("a lot was recalled",)}
DONE = (CHECKED, STAGED, *OUT, CLOSED)


@dataclass(frozen=True, slots=True)
class Cutover:
    """A job ahead.

    Args:
        job: the record.
        answer: one of the six, or ``not planned yet``, or of one that has ended or is under way ``planned no more``.
        staged_by: day by which its bags must be ready, or had to be; None where the plan has none.
        deciding_line, short: the line that decides the answer, and pieces short, in words.
        counts: lines by answer.
        window: length of the outage in real hours; None where an end is missing.
        clock: that the clocks change within it, in words; '' where they don't.
        bags: its bags by state.
        standing: where it stands between planned and closed, and who said so.
        changed: what has changed since that plan, in words, so that its answer may not hold any more; '' for nothing.
        days: the staged-by day at each depot, where its bags are staged at several.
        waits_for: which of these depots is still to stage what, in words; '' where none is.
        awaits: what must still arrive for it, in words; '' for nothing, and where the job is not ready if it does.
    """

    job: Job
    answer: str
    staged_by: date | None
    deciding_line: str
    short: str
    counts: Mapping[str, int]
    window: Decimal | None
    bags: Mapping[str, int] = field(default_factory=dict)
    clock: str = ""
    standing: JobStanding = field(default_factory=lambda: JobStanding(PLANNED))
    changed: str = ""
    days: Mapping[str, str] = field(default_factory=dict)
    waits_for: str = ""
    awaits: str = ""

    @property
    def lacks(self) -> str:
        """What is short, or what must still arrive by the staged-by day, in words."""
        return "; ".join(filter(None, (self.awaits, self.short and f"short {self.short}", self.waits_for)))

    @property
    def bags_done(self) -> int:
        """Bags that a second person has checked, or that are further."""
        return sum(number for state, number in self.bags.items() if state in DONE)

    @property
    def bags_in_all(self) -> int:
        """Bags that are not cancelled."""
        return sum(number for state, number in self.bags.items() if state != CANCELLED)

    @property
    def bags_held(self) -> int:
        """Bags that can't go out, whatever the plan says: a lot in them is on hold."""
        return self.bags.get(ON_HOLD, 0)

    @property
    def bags_told(self) -> str:
        """How far its bags are, in words."""
        if not self.bags_in_all:
            return "none listed"
        held = f", {self.bags_held} ON HOLD" if self.bags_held else ""
        return f"{self.bags_done} of {self.bags_in_all} done{held}"

    def has_passed(self, today: date) -> bool:
        """Whether its day is over and nobody has noted that work began."""
        day = self.job.cutover[:10]
        ahead = self.standing.state in BEFORE_THE_OUTAGE and not self.job.ended
        return ahead and bool(day) and date.fromisoformat(day) < today

    @property
    def week(self) -> date | None:
        """The Monday of its week."""
        day = date.fromisoformat(self.job.cutover[:10]) if self.job.cutover else None
        return day - timedelta(days=day.weekday()) if day else None


def last_plan() -> AppliedPlan | None:
    """The plan that was applied last."""
    return AppliedPlan.objects.order_by("-pk").first()


def last_order_days(jobs: Iterable[str]) -> dict[str, list[OrderMark]]:
    """Until when what these jobs lack can be ordered, by the plan applied last; two queries."""
    wanted = {"plan": last_plan(), "table": "shortages", "job__in": [*jobs]}
    cells = ("cells__line", "cells__stock_code", "cells__order_by", "cells__too_late")
    return order_marks(PlanRow.objects.filter(**wanted).order_by("position").values_list("job", *cells))


def cutovers(jobs: Sequence[str] = (), *, ended: bool = False) -> list[Cutover]:
    """The jobs that have not ended, the first outage first, those without a date before all; nine queries.

    Args:
        jobs: only these; none: all.
        ended: those that have ended or are under way as well.
    """
    found = Job.objects.all() if ended else Job.objects.filter(ended="")
    if jobs:
        found = found.filter(job__in=jobs)
    plan = last_plan()
    told: dict[str, dict[str, Any]] = {one["job"]: one for one in plan.summary["jobs"]} if plan else {}
    zones = dict(Depot.objects.values_list("depot", "time_zone"))
    bags: dict[int, Counter[str]] = defaultdict(Counter)
    for number, state in Bag.objects.filter(job__in=found).values_list("job", "state"):
        bags[number][state] += 1
    standings = job_standings(found)
    changed = _changed_since_planned()
    rows = [
        replace(
            _cutover(job, told.get(job.job, {}), zones.get(job.depot, ""), bags[job.pk]),
            standing=standings[job.pk], changed="; ".join(() if job.ended else changed.get(job.job, ())),
        )
        for job in found
    ]  # fmt: skip
    return sorted(rows, key=lambda one: (one.job.cutover, natural_key(one.job.job)))


def bags_to_list(today: date, depots: Collection[str] = ()) -> list[Cutover]:
    """The jobs staged by within ten days of which no bag is listed, at these depots or all; ten queries at most."""
    plan = last_plan()
    last = (today + timedelta(SOON_DAYS)).isoformat()
    near = [one["job"] for one in plan.summary["jobs"] if "" < one["staged_by"] <= last] if plan else []
    if not near:
        return []
    listed = Bag.objects.exclude(state=CANCELLED).values("job")
    wanted = Job.objects.filter(job__in=near, ended="").exclude(pk__in=listed)
    found = (wanted.filter(depot__in=depots) if depots else wanted).values_list("job", flat=True)
    return cutovers([*found]) if found else []


def _changed_since_planned() -> Mapping[str, Sequence[str]]:
    """By job what happened after the last plan was applied and may make its answer another; two queries."""
    applied = Event.objects.filter(name="plan applied").order_by("-number").values_list("number", flat=True).first()
    found: dict[str, dict[str, None]] = defaultdict(dict)
    told = Q(name__in=_CHANGES) | Q(data__has_key="lost")
    events = Event.objects.filter(told, number__gt=applied or 0).order_by("number")
    for name, subject, data in events.values_list("name", "subject", "data"):
        lost = [one["job"] for one in data.get("lost", ())]
        for job in lost if name not in _CHANGES else data["jobs"] if name == _RECALLED else [subject]:
            words = _CHANGES.get(name, ("promised pieces are gone",))
            moved = (_MOVED[column] for column in _MOVED if column in data.get("changed", ()))
            found[job] |= dict.fromkeys(words or moved)
    return {job: [*words] for job, words in found.items()}


def frozen_among(jobs: Sequence[str]) -> list[str]:
    """Those of these jobs whose outage is frozen."""
    found = Freeze.objects.filter(job__job__in=jobs, over=False).order_by("job__job")
    return list(found.values_list("job__job", flat=True))


def _cutover(job: Job, told: Mapping[str, Any], zone: str, bags: Mapping[str, int]) -> Cutover:
    staged = told.get("staged_by")
    if job.ended:  # whatever the plan says that was applied before
        told = {"answer": PLANNED_NO_MORE}
    return Cutover(
        job=job,
        answer=told.get("answer", NOT_PLANNED),
        staged_by=date.fromisoformat(staged) if staged else None,
        deciding_line=told.get("deciding_line", ""),
        short=told.get("short_pieces", ""),
        awaits=awaited(told),
        counts=told.get("counts", {}),
        window=_of_window(job, zone, window_hours),
        bags=bags,
        days=told.get("days", {}),
        waits_for=told.get("waits_for", ""),
        clock=change.words if (change := _of_window(job, zone, clock_change)) else "",
    )


def awaited(told: Mapping[str, Any]) -> str:
    """By a plan's summary of a job, what it is ready if: ``if 2 EL15-2 from H by 2026-03-03``; '' for nothing."""
    return f"if {told['awaits']} by {told['staged_by']}" if told.get("awaits") else ""


def _of_window(job: Job, zone: str, asked: Callable[[datetime, datetime, str], T]) -> T | None:
    """What is asked of an outage; None where its end or the zone is not known."""
    if not (job.cutover and job.cutover_end and zone):
        return None
    return asked(datetime.fromisoformat(job.cutover), datetime.fromisoformat(job.cutover_end), zone)
