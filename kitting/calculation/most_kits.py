"""What if only the number of kits counted? The plan stays; this says what such a plan would win, and from whom."""

from dataclasses import dataclass, replace
from datetime import date

import pandas as pd

from kitting.calculation.promising import promise
from kitting.calculation.promising.model import NEVER, Problem, Promised

MOST_KITS_COLUMNS = ("job", "staged_by", "completed_by_plan", "completed_by_most_kits")
NEAR_DAYS = 60


@dataclass(frozen=True, slots=True)
class MostKits:
    """Kits completed in turn (buying in time counts) by the plan, and by one that aims at their number alone.

    Args:
        by_plan: kits that the plan completes.
        most: kits that the other one completes.
        policy: how it was found.
        status: ``proven``, ``at most n kits from best``, or ``not proven``.
        near_until: last staged-by day of the near jobs.
        changed: the near jobs that only one of the two completes, in order of service.
    """

    by_plan: int
    most: int
    policy: str
    status: str
    near_until: date
    changed: pd.DataFrame


def most_kits(problem: Problem, promised: Promised) -> MostKits:
    """All kits as one tier of equal weights, beside what was promised.

    Raises:
        Refusal: ``audit-failed`` where the other plan does not hold.
    """
    kits = tuple(replace(kit, weight=1) for kit in problem.kits)
    other = promise(replace(problem, kits=kits, tier_days=NEVER), priced=False)
    until = problem.as_of_day + NEAR_DAYS
    rows = [
        (kit.job, date.fromordinal(kit.staged_by_day).isoformat(), "yes" if now else "no", "yes" if then else "no")
        for kit, now, then in zip(problem.kits, promised.served_in_turn, other.served_in_turn, strict=True)
        if now != then and kit.staged_by_day <= until
    ]
    return MostKits(
        by_plan=sum(promised.served_in_turn),
        most=sum(other.served_in_turn),
        policy=other.policy,
        status=other.status,
        near_until=date.fromordinal(until),
        changed=pd.DataFrame(rows, columns=list(MOST_KITS_COLUMNS), dtype=object),
    )
