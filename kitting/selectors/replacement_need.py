"""What has to be found again where a stopped lot lies: for jobs to come, for the reserve, and for what is fitted."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q, Sum

from inventory.models import BAG, INSTALLED, RESERVE, Item, LotHold
from inventory.selectors.trace import trace
from jobs.models import Job
from kitting.models import Promise, Retired
from kitting.selectors.bag_contents import bare

IN_BAGS, PROMISED = "in its bags", "promised when it was stopped"


@dataclass(frozen=True, slots=True)
class Needed:
    """Thousandths to be found again: for a job ('' for none) by its cutover, or for what; ``depot`` '' on the line."""

    quantity: int
    what: str
    job: str = ""
    cutover: str = ""
    depot: str = ""

    @property
    def sentence(self) -> str:
        """In words: ``3 for J12, in its bags, cutover 2026-04-25 06:00``."""
        for_job = f"for {self.job}, " if self.job else ""
        return f"{bare(self.quantity)} {for_job}{self.what}{f', cutover {self.cutover}' if self.cutover else ''}"


def replacement_need(
    *, item: Item, number: str, holds: Iterable[LotHold], today: date, as_of: datetime | None = None
) -> list[Needed]:
    """The pieces of a lot number on hold that somebody counted on, the first cutover first; none without a hold.

    What lies free on shelves and trucks is bought again by its levels. What is fitted is to be replaced as far as an
    inspection refuses it.

    Args:
        item: the stock code.
        number: of the lot.
        holds: that stop it.
        today: jobs whose outage is over by then need nothing.
        as_of: a past moment; now, if absent.
    """
    stopping = [*holds]
    if not stopping:
        return []
    traced = trace(item=item, number=number, as_of=as_of)
    by_job: Counter[tuple[str, str, str]] = Counter()
    rest: list[Needed] = []
    for place, quantity in traced.places.items():
        if place.kind == BAG:
            by_job[place.job, IN_BAGS, place.depot.depot] += quantity
        elif place.kind == RESERVE:
            rest.append(Needed(quantity, f"for the reserve at {place}", depot=place.depot.depot))
    by_job.update(_promised(item, number, stopping, as_of))
    jobs = {job.job: job for job in Job.objects.filter(job__in={job for job, _, _ in by_job})}
    ahead = {name: job for name, job in jobs.items() if (job.cutover_end or job.cutover)[:10] >= today.isoformat()}
    found = [
        Needed(quantity, what, job, ahead[job].cutover, depot)
        for (job, what, depot), quantity in by_job.items()
        if job in ahead
    ]
    fitted = traced.endings.get(INSTALLED, 0) - _retired(item, number, as_of)
    if fitted:
        rest.append(Needed(fitted, "on the line, as far as an inspection refuses them"))
    return [*sorted(found, key=lambda one: (one.cutover, one.job, one.what, one.depot)), *rest]


def _promised(
    item: Item, number: str, holds: Iterable[LotHold], as_of: datetime | None
) -> Counter[tuple[str, str, str]]:
    """What jobs were promised of the lot until it was recalled, but what lies in their bags."""
    stopped = Q()
    for hold in holds:
        stopped |= Q(released_why__startswith=f"{hold}: ")
    found = Promise.objects.filter(stopped, item=item, lot__number=number, released_at__isnull=False)
    found = found.exclude(place__kind=BAG)
    found = found.filter(released_at__lte=as_of) if as_of else found
    sums: Counter[tuple[str, str, str]] = Counter()
    for job, depot, quantity in found.values_list("job__job", "place__depot__depot", "quantity"):
        sums[job, PROMISED, depot or ""] += quantity
    return sums


def _retired(item: Item, number: str, as_of: datetime | None) -> int:
    found = Retired.objects.filter(entry__lot__item=item, entry__lot__number=number)
    found = found.filter(action__at__lte=as_of) if as_of else found
    return found.aggregate(Sum("quantity"))["quantity__sum"] or 0
