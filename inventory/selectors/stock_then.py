"""What lay at a depot at a past moment, from the movements until then."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Min, Q

from inventory.models import Action, Lot, LotHold, Place
from inventory.selectors.rebuilding import derived_balances


@dataclass(frozen=True, slots=True)
class LayThere:
    """Thousandths of a lot at a place at a moment; ``hold`` is why it was stopped then, '' where it was not."""

    lot: Lot
    place: Place
    quantity: int
    hold: str


def stock_then(*, depot: str, at: datetime, stock_code: str = "") -> list[LayThere]:
    """What lay at a depot at a moment, by stock code, place and lot; five queries.

    Args:
        depot: its code.
        at: what was booked at that moment has happened.
        stock_code: only this one; '' for all.
    """
    found = {key: pieces for key, pieces in derived_balances(depot=depot, until=at).items() if pieces}
    places = Place.objects.select_related("depot").in_bulk({place for place, _ in found})
    lots = Lot.objects.select_related("item").in_bulk({lot for _, lot in found})
    standing = Q(released_at__isnull=True) | Q(released_at__gt=at)
    holds = {
        (hold.item_id, hold.lot_number): hold.reason
        for hold in LotHold.objects.filter(standing, placed_at__lte=at).order_by("pk")
    }
    rows = [
        LayThere(lots[lot], places[place], pieces, holds.get((lots[lot].item_id, lots[lot].number), ""))
        for (place, lot), pieces in found.items()
        if stock_code in ("", lots[lot].item.stock_code)
    ]
    return sorted(rows, key=lambda one: (one.lot.item.stock_code, one.place.code, one.place.kind, one.lot.number))


def first_record(depot: str) -> datetime | None:
    """The moment at which anything was first moved at a depot; None where nothing ever was; one query."""
    there = Q(movements__to_place__depot__depot=depot) | Q(movements__from_place__depot__depot=depot)
    return Action.objects.filter(there).aggregate(first=Min("at"))["first"]  # type: ignore[no-any-return]
