"""Keep since when lines are short, from plan to plan, and say who sees to them."""

from collections.abc import Mapping
from datetime import date, datetime

from inventory.services.actions import use_case
from jobs.models import Job
from kitting.errors import Refusal
from kitting.models import ShortLine
from kitting.roles import Actor
from kitting.selectors.short_lines import possible_owners
from kitting.services.record_events import Happening, record_events
from kitting.services.rights import need_own_short_lines

_BATCH = 500  # names in one query


def keep_short_lines(job_of: Mapping[str, str], *, as_of: date) -> None:
    """Note, inside the transaction that applies a plan, which lines turn short on its day and which are so no longer.

    Lines that were short before keep their day and their owner.

    Args:
        job_of: the job of each line that is short, by the line's name.
        as_of: day of the plan.
    """
    open_ones = dict(ShortLine.objects.filter(ended=None).values_list("line", "pk"))
    gone = [number for line, number in open_ones.items() if line not in job_of]
    for at in range(0, len(gone), _BATCH):
        ShortLine.objects.filter(pk__in=gone[at : at + _BATCH]).update(ended=as_of)
    jobs = dict(Job.objects.values_list("job", "pk"))
    new = (ShortLine(job_id=jobs[job], line=line, since=as_of) for line, job in job_of.items() if line not in open_ones)
    ShortLine.objects.bulk_create(new, batch_size=_BATCH)


@use_case
def own_short_lines(*, job: str, owner: str, actor: Actor, at: datetime, line: str = "") -> int:
    """Name who sees to a job's short lines, or to one of them; how many there are.

    Args:
        job, line: which lines; '' as line for all of the job.
        owner: name of a buyer or planner; '' for nobody named.
        actor, at: who says so, and when.

    Raises:
        Refusal: ``not-allowed``; ``unknown-person``; ``not-short``: no plan that was applied calls such a line short.
    """
    need_own_short_lines(actor)
    possible = possible_owners()
    if owner and owner not in possible:
        message = f"{owner} is no buyer or planner who may sign in; choose {' or '.join(possible) or 'nobody yet'}."
        raise Refusal("unknown-person", message, {"owner": owner})
    found = ShortLine.objects.select_for_update(of=("self",)).filter(job__job=job, ended=None)
    rows = [*(found.filter(line=line) if line else found)]
    if not rows:
        raise Refusal("not-short", f"No line {line or f'of {job}'} is short by a plan that was applied.", {"job": job})
    data = {"lines": [one.line for one in rows], "before": sorted({one.owner for one in rows}), "after": owner}
    for one in rows:
        one.owner = owner
    ShortLine.objects.bulk_update(rows, ["owner"], batch_size=_BATCH)
    record_events([Happening("short lines owned", job, data)], by=actor.name, at=at)
    return len(rows)
