"""What waits for a person today, by what they may do."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from django.urls import reverse

from kitting.calculation.answers import READY, READY_IF
from kitting.pages.asked import Asked
from kitting.roles import DO
from kitting.selectors.cutovers import cutovers

_SOON_DAYS = 10


@dataclass(frozen=True, slots=True)
class Task:
    """Something that waits: how many, what, and where it is done."""

    count: int
    what: str
    href: str
    note: str = ""


def tasks_for(asked: Asked) -> list[Task]:
    """All tasks of a person, in the order of the kinds."""
    return [task for kind in KINDS for task in kind(asked)]


def _planning(asked: Asked) -> Iterator[Task]:
    if not asked.actor.may("job dates", DO):
        return
    ahead = [one for one in cutovers() if one.staged_by and (one.staged_by - asked.today).days <= _SOON_DAYS]
    unsure = [one for one in ahead if one.answer not in (READY, READY_IF)]
    note = ", ".join(one.job.job for one in unsure)
    yield Task(len(unsure), f"jobs not ready, staged within {_SOON_DAYS} days", reverse("cutovers"), note)
    undated = sum(not one.job.cutover for one in cutovers())
    if undated:
        yield Task(undated, "jobs without a date", reverse("cutovers"))


KINDS: list[Callable[[Asked], Iterator[Task]]] = [_planning]
