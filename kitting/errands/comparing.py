"""What storing a file would do to the cable schedules, run by run with the bags that it touches, and to other jobs."""

from collections import Counter
from collections.abc import Collection, Mapping
from typing import Any

import pandas as pd

from jobs.selectors.schedules import (
    FACT_PATHS,
    RUN_PATHS,
    Facts,
    RunChanges,
    Schedule,
    compare_schedules,
    live_schedules,
)
from kitting.calculation.bag_states import IN_STORE, ON_HOLD, OUT
from kitting.models import Bag
from kitting.selectors.record_sheets import RECORDS
from kitting.services.load_sheets import LISTS_OF_JOBS, schedules_of
from kitting.services.upsert_rows import JOB_FIELD, kept_rows, named_in, stored_rows

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
            "differs": {run: _differences(before[run], schedule[run]) for run in changes.changed},
            "is_new": bool(changes.new or changes.changed or changes.gone),
            "bags": [f"{bag} ({bag.state})" for bag in bags if bag.job.job == job and bag.structure in touched],
        })  # fmt: skip
    return found


def _differences(before: Facts, after: Facts) -> list[str]:
    """Each fact of a run that is another, as its column says it: ``phases: B, now A``."""
    records = RECORDS["schedule"]
    texts = zip(records.columns, records.texts([("", "", *before), ("", "", *after)]), strict=True)
    return [f"{column.header}: {old or 'blank'}, now {new or 'blank'}" for column, (old, new) in texts if old != new]


def jobs_that_change(frames: Mapping[str, pd.DataFrame], came: Collection[str]) -> list[str]:
    """Jobs whose facts, pins or added lines would be others, beside those whose schedules are compared.

    Args:
        frames: the sheets as read, with no cell in doubt.
        came: names of the sheets that a person sent.
    """
    found: set[str] = set()
    for name in ("jobs", *LISTS_OF_JOBS):
        if name in came:
            records = RECORDS[name]
            given, kept = Counter(stored_rows(records, frames[name])), Counter(row for _, row in kept_rows(records))
            gone = kept - given if name in LISTS_OF_JOBS else ()
            found |= named_in(records, [*(given - kept), *gone], JOB_FIELD)
    return sorted(found)


def _structures(changes: RunChanges, before: Schedule, after: Mapping[str, Any]) -> set[str]:
    """Structures at which anything would change."""
    runs = {*changes.new, *changes.changed, *changes.gone}
    return {facts[at] for schedule in (before, after) for run in runs & set(schedule) for facts in (schedule[run],)
            for at in _ENDS}  # fmt: skip
