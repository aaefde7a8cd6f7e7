"""Pieces that are out with crews though their job is done: somebody brings them back, or says what became of them."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import Q

from inventory.models import Item
from jobs.models import Job
from kitting.calculation.bag_states import OUT
from kitting.calculation.calendars import add_working_days
from kitting.models import Bag
from kitting.models.storms import OPEN
from kitting.selectors.bag_contents import contents_of
from kitting.selectors.job_states import energised_at
from kitting.selectors.working_days import closed_days

NOTICE_DAYS = 3  # working days after an outage by which every piece is accounted for


@dataclass(frozen=True, slots=True)
class ReturnDue:
    """Thousandths of an item in a bag that nobody has accounted for; ``since``: the day its outage ended.

    That is the day on which the line went back in service, where somebody has noted it, else the planned one.
    """

    item: Item
    quantity: int
    bag: Bag
    since: date


def returns_due(today: date) -> list[ReturnDue]:
    """What is due back, by stock code, the longest due first; five queries, however many bags are out.

    None of it is free: what comes back is looked at before anybody is promised it. What is out in a storm is in use
    until the storm is closed.
    """
    out = Q(state__in=OUT) | Q(state_before_hold__in=OUT)
    found = Bag.objects.filter(out).exclude(job__storm_job__storm__state=OPEN)
    energised = energised_at(Job.objects.filter(pk__in=found.values("job")))
    last_days = {}
    for bag in found.select_related("job", "depot"):
        last = _last_day(bag, energised.get(bag.job_id))
        if last and last < today:
            last_days[bag] = last
    contents = contents_of([*last_days])
    left: dict[tuple[int, int], ReturnDue] = {}
    for bag, last in last_days.items():
        for stand in contents[bag.pk].lines:
            item = stand.line.item
            if item is not None and stand.open > 0:
                before = left.get((bag.pk, item.pk))
                quantity = stand.open + (before.quantity if before else 0)
                left[bag.pk, item.pk] = ReturnDue(item, quantity, bag, last)
    return sorted(left.values(), key=lambda one: (one.item.stock_code, one.since, str(one.bag)))


def returns_late(today: date) -> list[ReturnDue]:
    """What is due back for more than three working days of the bag's depot; as many queries as ``returns_due``."""
    return [
        one for one in returns_due(today)
        if add_working_days(one.since, NOTICE_DAYS, closed_days(one.bag.depot)) < today
    ]  # fmt: skip


def due_back(today: date) -> Mapping[tuple[str, str], int]:
    """Thousandths that are due back by stock code and depot, as a plan takes them off a refill."""
    found: dict[tuple[str, str], int] = {}
    for one in returns_due(today):
        place = (one.item.stock_code, one.bag.depot.depot)
        found[place] = found.get(place, 0) + one.quantity
    return found


def _last_day(bag: Bag, energised: datetime | None) -> date | None:
    if energised is not None:
        return energised.astimezone(ZoneInfo(bag.depot.time_zone or "UTC")).date()
    return date.fromisoformat((bag.job.cutover_end or bag.job.cutover)[:10]) if bag.job.cutover else None
