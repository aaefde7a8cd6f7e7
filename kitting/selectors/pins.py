"""Pins in force: who pinned which pieces to which line, why and since when, and what they hold now."""

from collections import Counter, defaultdict
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
    left: dict[tuple[str, int], Counter[tuple[str | None, int]]] = defaultdict(Counter)
    rows = promised.values_list("line", "item", "lot__number", depot).annotate(Sum("quantity"))
    for line, item, lot, place, pieces in rows:
        left[line, item][lot, place] += pieces
    strictest = sorted(found, key=lambda one: (not one.lot, one.depot_id is None))
    held = {one.pk: _taken(one, left[one.line, one.item_id]) for one in strictest}
    return [PinInForce(one, since.get(one.line), held[one.pk]) for one in found]


def _taken(pin: Pin, left: Counter[tuple[str | None, int]]) -> int:
    """Thousandths of what its line is promised, by lot and depot, that it holds; no other pin holds the same pieces."""
    held = 0
    for lot, depot in left:
        if pin.lot in ("", lot) and pin.depot_id in (None, depot):
            pieces = min(left[lot, depot], pin.quantity - held)
            left[lot, depot] -= pieces
            held += pieces
    return held
