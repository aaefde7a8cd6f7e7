"""Pins in force: who pinned which pieces to which line, why and since when, and what they hold now."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Sum

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
    promised = Promise.objects.filter(released_at__isnull=True, line__in=lines).values_list("line", "item")
    held = {(line, item): pieces for line, item, pieces in promised.annotate(Sum("quantity"))}
    return [
        PinInForce(one, since.get(one.line), min(held.get((one.line, one.item_id), 0), one.quantity)) for one in found
    ]
