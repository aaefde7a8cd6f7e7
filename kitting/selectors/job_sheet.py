"""A job as one sheet: its runs with what goes on each end, the lines of its locations, and what the plan says of it."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from jobs.models import Job, Position, Run, ScheduleRevision
from kitting.calculation.answers import CANT_TELL, CONFLICT, NO_RULE
from kitting.calculation.bags import YES
from kitting.calculation.cure_table import is_of_kit
from kitting.calculation.natural_order import natural_key
from kitting.calculation.promising.moves import BORROW
from kitting.calculation.what_if import HeldPieces, lines_for
from kitting.errors import Refusal
from kitting.models import AppliedPlan, PlanRow, Promise
from kitting.selectors.cutovers import last_plan

Line = Mapping[str, str]  # a row of the plan's table of requirements
FROM, TO, JOINT = "from", "to", "joint"
_TABLES = ("requirements", "shortages", "refusals", "cures")


@dataclass(frozen=True, slots=True)
class RunEnd:
    """Where a run lands, and the lines of that end."""

    side: str
    position: Position
    lines: Sequence[Line]


@dataclass(frozen=True, slots=True)
class RunSheet:
    """A run between its two ends; ``cable`` in words."""

    run: Run
    cable: str
    ends: tuple[RunEnd, RunEnd]


@dataclass(frozen=True, slots=True)
class JobSheet:
    """All of a job.

    Args:
        job: the record.
        revision: the live schedule revision; None where there is none.
        runs: in natural order of their numbers.
        elsewhere: lines of no cable end (positions, joints, structures, the job), by where they belong.
        shortages, refusals, cures: rows of the plan's tables.
    """

    job: Job
    revision: ScheduleRevision | None
    runs: Sequence[RunSheet]
    elsewhere: Mapping[str, Sequence[Line]]
    shortages: Sequence[Line]
    refusals: Sequence[Line]
    cures: Sequence[Line]

    @property
    def undecided(self) -> list[Line]:
        """The lines that nobody can pick: can't tell, no rule, conflict."""
        at_ends = (line for run in self.runs for end in run.ends for line in end.lines)
        lines = (*at_ends, *(line for there in self.elsewhere.values() for line in there))
        return [line for line in lines if line["answer"] in (CANT_TELL, NO_RULE, CONFLICT)]

    @property
    def with_kit(self) -> frozenset[str]:
        """The short lines that only what completes the whole kit cures."""
        cured = self.refusals and any(row["verified"] == YES for row in self.cures)
        return frozenset(row["line"] for row in self.shortages if cured and is_of_kit(row["line"], row["stock_code"]))


def job_by_number(number: str) -> Job:
    """A job.

    Raises:
        Refusal: ``unknown-job``.
    """
    job = Job.objects.filter(job=number).first()
    if job is None:
        raise Refusal("unknown-job", f"There is no job {number} in these books.", {"job": number})
    return job


def job_sheet(number: str) -> JobSheet:
    """The sheet of a job; five queries, however many runs and lines it has.

    Of one that is planned no more it holds the lines as they were planned last, without their answers, and nothing else
    of that plan.

    Raises:
        Refusal: ``unknown-job``.
    """
    job = job_by_number(number)
    revision = ScheduleRevision.objects.filter(job=job, live=True).first()
    tables: dict[str, list[Line]] = {name: [] for name in _TABLES}
    plan = last_plan()
    if plan:
        wanted = _TABLES[:1] if job.ended else _TABLES
        rows = PlanRow.objects.filter(plan=plan, job=number, table__in=wanted).order_by("table", "position")
        for table, cells in rows.values_list("table", "cells"):
            tables[table].append({**cells, "answer": ""} if job.ended else cells)
    of_end: dict[tuple[str, str], list[Line]] = defaultdict(list)
    elsewhere: dict[str, list[Line]] = defaultdict(list)
    for line in tables["requirements"]:
        if line["run"] and line["side"] in (FROM, TO):
            of_end[line["run"], line["side"]].append(line)
        else:
            elsewhere[_where(line)].append(line)
    runs = Run.objects.filter(revision=revision).select_related(
        "system", "cable_type", "from_position__structure", "to_position__structure"
    )
    return JobSheet(
        job=job,
        revision=revision,
        runs=[_run_sheet(run, of_end) for run in sorted(runs, key=lambda run: natural_key(run.run))],
        elsewhere=dict(elsewhere),
        shortages=tables["shortages"],
        refusals=tables["refusals"],
        cures=tables["cures"],
    )


def cured_whole(plan: AppliedPlan | None, jobs: Collection[str]) -> set[str]:
    """Those of these jobs whose kit a plan refused, with a cure that would complete it; one query."""
    rows = PlanRow.objects.filter(plan=plan, job__in=jobs, table__in=("refusals", "cures"))
    rows = rows.filter(Q(table="refusals") | Q(table="cures", cells__verified=YES))
    found: dict[str, set[str]] = defaultdict(set)
    for job, table in rows.order_by().values_list("job", "table").distinct():
        found[job].add(table)
    return {job for job, tables in found.items() if len(tables) > 1}


def line_of(number: str, line: str) -> Line:
    """A line of the plan applied last, as its table has it.

    Raises:
        Refusal: ``unknown-line``.
    """
    plan = last_plan()
    found = PlanRow.objects.filter(plan=plan, table="requirements", job=number, cells__line=line).first()
    if plan is None or found is None:
        raise Refusal("unknown-line", f"The plan applied last has no line {line}.", {"line": line})
    cells: Line = found.cells
    return cells


def swap_of(number: str, cure: str) -> tuple[tuple[str, HeldPieces], ...]:
    """The pieces of other jobs that a cure of the plan applied last moves to a job, and the line that gets each.

    Raises:
        Refusal: ``unknown-cure``: no cure of that number moves any; ``nothing-short``.
    """
    rows = PlanRow.objects.filter(plan=last_plan(), job=number, table__in=("cures", "shortages")).order_by("position")
    tables: dict[str, list[Line]] = defaultdict(list)
    for table, cells in rows.values_list("table", "cells"):
        tables[table].append(cells)
    pieces = [
        HeldPieces(
            holder=row["holder"], stock_code=row["stock_code"], quantity=row["quantity"], lot=row["lot"],
            depot="" if row["from"].startswith("order ") else row["from"], in_bag=row["move"] == BORROW,
        )
        for row in tables["cures"]
        if str(row["cure"]) == cure and row.get("holder")
    ]  # fmt: skip
    if not pieces:
        message = f"The plan applied last has no cure {cure} of {number} that moves pieces of other jobs."
        raise Refusal("unknown-cure", message, {"job": number})
    return lines_for(number, pieces, tables["shortages"])


def _where(line: Line) -> str:
    if line["spare"] == "yes":
        return "Spares"
    named = "-".join(filter(None, (line["structure"], line["position"])))
    kind = f" ({line['side']})" if line["side"] else ""
    return f"{named}{kind}" if named else "Whole job"


def _run_sheet(run: Run, of_end: Mapping[tuple[str, str], Sequence[Line]]) -> RunSheet:
    size = " ".join(filter(None, (run.conductor_size, run.metal)))
    kind = run.cable_type.cable_type if run.cable_type else ""
    reel = f"reel {run.reels}" if run.reels else ""
    cable = " · ".join(filter(None, (run.system.system, size, kind, reel, f"phases {run.phases}")))
    ends = tuple(
        RunEnd(side, position, of_end.get((run.run, side), ()))
        for side, position in ((FROM, run.from_position), (TO, run.to_position))
    )
    return RunSheet(run, cable, (ends[0], ends[1]))


def promised_to(job: str, line: str) -> QuerySet[Promise]:
    """What is promised to a line now."""
    found = Promise.objects.filter(job__job=job, line=line, released_at=None)
    return found.select_related("item", "lot", "place__depot", "order_line__order").order_by("ready_on", "pk")
