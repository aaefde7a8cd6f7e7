"""Who sees to lines that are short, and since when they are, so that none waits because each thinks another does it."""

from collections.abc import Collection, Sequence
from dataclasses import replace

from kitting.calculation.plan_result import Plan
from kitting.calculation.shortages import Care, with_care
from kitting.models import Person, ShortLine
from kitting.roles import BUYER, PLANNER

_FEW = 500  # names in one query; of more all are read


def cares(lines: Collection[str]) -> dict[str, Care]:
    """Owner and first day of lines by their names; two queries, however many they are.

    Where nobody is named it is the buyer, if there is just one. A line that no applied plan calls short has no day.
    """
    owner = _only_buyer()
    found = ShortLine.objects.filter(ended=None)
    if len(lines) <= _FEW:
        found = found.filter(line__in=lines)
    known = {one.line: Care(one.owner or owner, one.since) for one in found}
    return {line: known.get(line) or Care(owner, None) for line in lines}


def cared_for(plan: Plan) -> Plan:
    """A plan whose table of shortages tells owner and age of each line; two queries."""
    lines = plan.shortages["line"].tolist()
    return replace(plan, shortages=with_care(plan.shortages, cares(lines), plan.as_of))


def possible_owners() -> Sequence[str]:
    """Names of buyers and planners who may sign in; one query."""
    return sorted(one.name for one in _active() if {BUYER, PLANNER} & {*one.roles})


def _only_buyer() -> str:
    buyers = [one.name for one in _active() if BUYER in one.roles]
    return buyers[0] if len(buyers) == 1 else ""


def _active() -> list[Person]:
    return [*Person.objects.filter(is_active=True)]
