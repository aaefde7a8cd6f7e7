"""How often spares are used, by kind of part: whether an outage needs more of them, or fewer."""

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Sum

from kitting.calculation.quantities import PER_UNIT
from kitting.models import BagEntry
from kitting.models.bags import HANDED_BACK, INSTALLED, ISSUED, LOST, SCRAPPED, TAKEN_BACK, and_taken_back

LEAST_OUTAGES = 10  # before any advice (owner's default)
_MORE, _FEWER = (1, 2), (1, 20)  # used spares an outage, as fractions: owner's defaults


@dataclass(frozen=True, slots=True)
class SpareUse:
    """Outages that spares of a kind went out with, thousandths that went, and that were used."""

    kind: str
    outages: int
    went: int
    used: int

    @property
    def advice(self) -> str:
        """What follows for the spares policy."""
        if self.outages < LEAST_OUTAGES:
            return f"under {LEAST_OUTAGES} outages: no advice yet"
        if self.used * _MORE[1] >= _MORE[0] * self.outages * PER_UNIT:
            return "take one more of it to an outage"
        if self.used * _FEWER[1] < _FEWER[0] * self.outages * PER_UNIT:
            return "fewer would do"
        return "keep as it is"


def spare_use() -> list[SpareUse]:
    """Use of spares by kind, the kind most used first; one query, however many outages.

    What was handed back before the work did not go.
    """
    deeds = (ISSUED, HANDED_BACK, *and_taken_back(INSTALLED, SCRAPPED, LOST))
    found = BagEntry.objects.filter(line__spare=True, deed__in=deeds)
    went: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    used: dict[str, int] = defaultdict(int)
    names = ("line__item__kind", "line__bag__job", "deed")
    for kind, job, deed, pieces in found.values_list(*names).annotate(Sum("quantity")).order_by(*names):
        if deed in (ISSUED, HANDED_BACK):
            went[kind][job] += pieces if deed == ISSUED else -pieces
        else:
            used[kind] += -pieces if deed in TAKEN_BACK else pieces
    rows = [
        SpareUse(kind, sum(pieces > 0 for pieces in jobs.values()), sum(jobs.values()), used[kind])
        for kind, jobs in went.items()
    ]
    return sorted((one for one in rows if one.outages), key=lambda one: (-one.used, one.kind))
