"""What storing a file would do to the cable schedules: run by run, with the bags that it touches."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from jobs.selectors.schedules import FACT_PATHS, RUN_PATHS, RunChanges, Schedule, compare_schedules, live_schedules
from kitting.calculation.bag_states import IN_STORE, ON_HOLD, OUT
from kitting.models import Bag
from kitting.services.load_sheets import schedules_of

_ENDS = tuple(FACT_PATHS.index(RUN_PATHS[f"{side}_structure"]) for side in ("from", "to"))


def compared_with_live(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Of each job on the schedule sheet: runs that would be new, changed, gone or the same; two queries.

    Args:
        frame: the schedule as read, with no cell in doubt.
    """
    live, given = live_schedules(), schedules_of(frame)
    bags = list(Bag.objects.filter(job__job__in=given, state__in=(*IN_STORE, *OUT, ON_HOLD)).select_related("job"))
    found = []
    for job, schedule in given.items():
        before = live.get(job, {})
        changes = compare_schedules(before, schedule)
        touched = _structures(changes, before, schedule)
        found.append({
            "job": job, "changes": str(changes), "new": changes.new, "changed": changes.changed, "gone": changes.gone,
            "is_new": bool(changes.new or changes.changed or changes.gone),
            "bags": [f"{bag} ({bag.state})" for bag in bags if bag.job.job == job and bag.structure in touched],
        })  # fmt: skip
    return found


def _structures(changes: RunChanges, before: Schedule, after: Mapping[str, Any]) -> set[str]:
    """Structures at which anything would change."""
    runs = {*changes.new, *changes.changed, *changes.gone}
    return {facts[at] for schedule in (before, after) for run in runs & set(schedule) for facts in (schedule[run],)
            for at in _ENDS}  # fmt: skip
