"""Lots past their date that two persons have let go for a job: which, how many, until when."""

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Sum

from kitting.calculation.supply import PastDate
from kitting.models import APPROVED, BagEntry, ExpiredUse
from kitting.models.bags import PICKED, PUT_BACK

UseKey = tuple[int, int, str]  # job, item, number of the lot


@dataclass(frozen=True, slots=True)
class LetGo:
    """What two persons let go of a lot for a job; ``taken``: thousandths that were picked for it and not put back."""

    uses: Sequence[ExpiredUse] = ()
    taken: int = 0

    def pieces(self, until: date | None) -> int:
        """Thousandths that may be used where the lot is needed good through a day."""
        return sum(one.quantity for one in self.uses if until is not None and one.good_to >= until)

    def covers(self, until: date | None, more: int = 0) -> bool:
        """Whether all that was taken, and so many thousandths more, may be used."""
        pieces = self.pieces(until)
        return bool(pieces) and self.taken + more <= pieces

    def words(self, read_name: Callable[[str], str]) -> str:
        """Who let it go, as the reader may read names, and why, for the record of the end; '' where nobody had to."""
        return "; ".join(
            f"past its date, signed by {read_name(one.asked_by)} and {read_name(one.decided_by)}: "
            f"{one.why}; {one.decision}"
            for one in self.uses
        )


NOTHING_LET_GO = LetGo()


def expired_uses(jobs: Collection[int]) -> dict[UseKey, LetGo]:
    """What was signed by two, by job, item and lot; one query, and one more where anything was."""
    found: dict[UseKey, list[ExpiredUse]] = {}
    for one in ExpiredUse.objects.filter(job__in={*jobs}, state=APPROVED).order_by("pk"):
        found.setdefault((one.job_id, one.item_id, one.lot_number), []).append(one)
    taken = _taken(found) if found else Counter()
    return {key: LetGo(uses, taken[key]) for key, uses in found.items()}


def past_dates() -> list[PastDate]:
    """What was signed by two for jobs that go on, as a plan reads it; one query."""
    found = ExpiredUse.objects.filter(state=APPROVED, job__ended="").select_related("item", "job").order_by("pk")
    return [
        PastDate(one.item.stock_code, one.lot_number, one.job.job, one.quantity, one.good_to,
                 f"{one.asked_by} and {one.decided_by}")
        for one in found
    ]  # fmt: skip


def _taken(keys: Collection[UseKey]) -> Counter[UseKey]:
    entries = BagEntry.objects.filter(
        line__bag__job__in={job for job, _, _ in keys}, lot__item__in={item for _, item, _ in keys},
        deed__in=(PICKED, PUT_BACK),
    )  # fmt: skip
    taken: Counter[UseKey] = Counter()
    sums = entries.order_by().values_list("line__bag__job", "lot__item", "lot__number", "deed")
    for job, item, number, deed, pieces in sums.annotate(Sum("quantity")):
        taken[job, item, number] += pieces if deed == PICKED else -pieces
    return taken
