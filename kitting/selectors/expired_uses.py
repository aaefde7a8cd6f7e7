"""Lots past their date that two persons have let go for a job: which, how many, until when."""

from collections.abc import Callable, Collection, Mapping
from datetime import date

from django.db.models import Sum

from inventory.models import Lot
from jobs.models import Job
from kitting.models import APPROVED, BagEntry, ExpiredUse
from kitting.models.bags import PICKED, PUT_BACK

UseKey = tuple[int, int, str]  # job, item, number of the lot


def expired_uses(jobs: Collection[int]) -> dict[UseKey, list[ExpiredUse]]:
    """What was signed by two, by job, item and lot; one query."""
    found: dict[UseKey, list[ExpiredUse]] = {}
    for one in ExpiredUse.objects.filter(job__in={*jobs}, state=APPROVED).order_by("pk"):
        found.setdefault((one.job_id, one.item_id, one.lot_number), []).append(one)
    return found


def allowed_pieces(uses: Mapping[UseKey, list[ExpiredUse]], key: UseKey, until: date | None) -> int:
    """Thousandths of a lot that may be used on a job that needs it good through a day."""
    return sum(one.quantity for one in uses.get(key, ()) if until is not None and one.good_to >= until)


def allowed_past_date(job: Job, lot: Lot, until: date | None) -> int:
    """The same of one lot and job; one query."""
    return allowed_pieces(expired_uses({job.pk}), (job.pk, lot.item_id, lot.number), until)


def taken_past_date(job: Job, lot: Lot) -> int:
    """Thousandths of a lot that were picked for a job and not put back; one query."""
    entries = BagEntry.objects.filter(line__bag__job=job, lot__item=lot.item_id, lot__number=lot.number)
    sums: dict[str, int] = dict(entries.values_list("deed").annotate(Sum("quantity")))
    return sums.get(PICKED, 0) - sums.get(PUT_BACK, 0)


def signed_words(uses: Mapping[UseKey, list[ExpiredUse]], key: UseKey, read_name: Callable[[str], str]) -> str:
    """Who let a lot go, as the reader may read names, and why, for the record of the end; '' where nobody had to."""
    return "; ".join(
        f"past its date, signed by {read_name(one.asked_by)} and {read_name(one.decided_by)}: {one.why}; {one.decision}"
        for one in uses.get(key, ())
    )
