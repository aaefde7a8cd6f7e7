"""Pins in force: who pinned which pieces to which line, why and since when, and what they hold now."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Sum
from django.db.models.functions import Coalesce

from kitting.models import Event, Pin, Promise
from kitting.selectors.bag_contents import bare

_PINNED = ("pinned", "pin loaded")


@dataclass(frozen=True, slots=True)
class PinInForce:
    """A pin with the moment at which it was made, None where no event tells; ``held``: thousandths promised by it."""

    pin: Pin
    since: datetime | None
    held: int

    @property
    def words(self) -> str:
        """What it holds: ``3 of 3``, or that the next plan gives it."""
        wanted = bare(self.pin.quantity)
        return f"{bare(self.held)} of {wanted}" if self.held else f"none of {wanted} by the plan applied last"


def pins_in_force() -> list[PinInForce]:
    """Pins of jobs that have not ended, by job and line; three queries."""
    pins = Pin.objects.filter(job__ended="").select_related("job", "item", "depot").order_by("job__job", "line", "pk")
    found = [*pins]
    lines = {one.line for one in found}
    told = Event.objects.filter(name__in=_PINNED, subject__in=lines).order_by("number").values_list("subject", "at")
    since = dict(told)  # the last one of each line
    depot = Coalesce("place__depot", "order_line__depot")
    promised = Promise.objects.filter(released_at__isnull=True, line__in=lines)
    by_line: dict[tuple[str, int], list[tuple[str | None, int, int]]] = defaultdict(list)
    rows = promised.values_list("line", "item", "lot__number", depot).annotate(Sum("quantity"))
    for line, item, lot, place, pieces in rows:
        by_line[line, item].append((lot, place, pieces))
    return [PinInForce(one, since.get(one.line), _held(one, by_line[one.line, one.item_id])) for one in found]


def _held(pin: Pin, promised: Iterable[tuple[str | None, int, int]]) -> int:
    """Thousandths of what its line is promised, by lot and depot, that are of the lot and from the depot it names."""
    found = sum(pieces for lot, depot, pieces in promised if pin.lot in ("", lot) and pin.depot_id in (None, depot))
    return min(found, pin.quantity)
