"""Open promises, as a plan writes them, and the order in which jobs are served."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import pandas as pd
from django.db.models import Sum

from kitting.calculation.plan_result import PROMISE_COLUMNS
from kitting.calculation.quantities import as_decimal
from kitting.models import AppliedPlan, Promise

_PATHS = (
    "line", "job__job", "item__stock_code", "lot__number", "place__depot__depot", "order_line__depot__depot",
    "place__code", "quantity", "source", "order_line__order__number",
    "order_line__line", "ready_on",
)  # fmt: skip


def open_promises() -> pd.DataFrame:
    """The promises that are not released, with the columns of ``promises.csv``; in the order they were stored."""
    found = Promise.objects.filter(released_at__isnull=True).order_by("pk").values_list(*_PATHS)
    rows = [
        (
            line, job, code, lot or "", shelf or landing, place or "",
            as_decimal(quantity), source, order or "",
            order_line or "", ready.isoformat(),
        )
        for line, job, code, lot, shelf, landing, place, quantity, source, order, order_line, ready in found
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(PROMISE_COLUMNS))


def promised_at(**where: object) -> Counter[tuple[int, int]]:
    """Thousandths of pieces that lie somewhere and are promised, by place and lot; one query.

    Args:
        where: which promises, as a query of them says it.
    """
    found = Promise.objects.filter(released_at__isnull=True, place__isnull=False, **where)
    sums = found.order_by().values_list("place", "lot").annotate(Sum("quantity"))
    return Counter({(place, lot): pieces for place, lot, pieces in sums})


def in_turn(promises: Iterable[Promise]) -> list[Promise]:
    """Promises in the order of service of the plans that made them; each comes with its plan and job."""
    found = [*promises]
    turns = {plan.pk: service_turns(plan) for plan in {promise.plan for promise in found}}
    return sorted(found, key=lambda one: turns[one.plan_id].get(one.job.job, len(turns[one.plan_id])))


def service_turns(plan: AppliedPlan) -> Mapping[str, int]:
    """The turn of each job in the order in which a plan served them, the first is 0."""
    return {job["job"]: turn for turn, job in enumerate(plan.summary["jobs"])}


@dataclass(frozen=True, slots=True)
class StagedDays:
    """The day by which the bags of each dated job must be ready; ``depots`` by job and depot, where they differ."""

    jobs: Mapping[str, date]
    depots: Mapping[tuple[str, str], date]

    def of(self, job: str, depot: str) -> date | None:
        """The day for bags of a job at a depot; None where the plan has none."""
        return self.depots.get((job, depot), self.jobs.get(job))

    def at(self, depot: str) -> dict[str, date]:
        """The day by job for bags at a depot."""
        return {job: self.depots.get((job, depot), day) for job, day in self.jobs.items()}


def staged_days() -> StagedDays:
    """The days as the plan applied last has them; one query."""
    plan = AppliedPlan.objects.order_by("-pk").first()
    jobs = [one for one in plan.summary["jobs"] if one["staged_by"]] if plan else []
    days = {(one["job"], depot): day for one in jobs for depot, day in one.get("days", {}).items()}
    return StagedDays(
        {one["job"]: date.fromisoformat(one["staged_by"]) for one in jobs},
        {key: date.fromisoformat(day) for key, day in days.items()},
    )
