"""Who else wants pieces: open promises of an item to other jobs."""

from dataclasses import dataclass

from inventory.models import Item, Place
from jobs.models import Job
from kitting.models import Promise


@dataclass(frozen=True, slots=True)
class Wish:
    """Thousandths of a lot that are promised to a line of another job, on a shelf; ``here``: at the place asked for."""

    job: str
    cutover: str
    line: str
    quantity: int
    lot: str
    place: str
    here: bool


def who_wants(*, item: Item, place: Place, but: Job) -> list[Wish]:
    """Whom pieces of an item are promised to beside a job, those at this place first, then by cutover; one query."""
    found = Promise.objects.filter(item=item, released_at=None, place__isnull=False).exclude(job=but)
    rows = [
        Wish(
            one.job.job, one.job.cutover, one.line, one.quantity, one.lot.number if one.lot else "", str(one.place),
            one.place_id == place.pk,
        )
        for one in found.select_related("job", "lot", "place__depot")
    ]  # fmt: skip
    return sorted(rows, key=lambda one: (not one.here, one.cutover, one.line))
