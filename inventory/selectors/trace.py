"""Where every piece of a lot is and went, as the books said at any moment."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, Sum

from inventory.errors import Refusal
from inventory.models import INSTALLED, LOST, ORIGINS, SCRAPPED, Action, Balance, Item, Lot, LotHold, Movement, Place
from inventory.selectors.finding import lots_by_number

_USED = (INSTALLED, SCRAPPED, LOST)


@dataclass(frozen=True, slots=True)
class Trace:
    """Thousandths of a lot number: what was received is what lies at places and what ended; ``gap`` is the rest.

    Args:
        received: from suppliers, opening balances and finds, less what was reversed.
        places: by place, those on the road too; nothing is left out, and places that hold none any more are.
        endings: by ending.
        gap: what the books can't account for; 0 unless they are broken.
        holds: holds that were open at the moment.
    """

    received: int
    places: dict[Place, int]
    endings: dict[str, int]
    gap: int
    holds: tuple[LotHold, ...]


def trace(*, item: Item, number: str, as_of: datetime | None = None) -> Trace:
    """Where all pieces of a lot number are, ours and the supplier's; '' traces those whose lot nobody knows.

    Args:
        item: the stock code.
        number: of the lot.
        as_of: a past moment (the server's); now, if absent, from the stored balances.

    Raises:
        Refusal: there is no such lot, or nothing was booked before that moment.
    """
    lots = lots_by_number(item=item, number=number)
    movements = Movement.objects.filter(lot__in=lots)
    if as_of is not None:
        first = Action.objects.order_by("at").first()
        if first is None or as_of < first.at:
            raise Refusal("before-first-record", f"Nothing was booked before {as_of:%Y-%m-%d %H:%M}.", {"as_of": as_of})
        movements = movements.filter(action__at__lte=as_of)
    received: Counter[str] = Counter()
    ended: Counter[str] = Counter()
    lying: Counter[int] = Counter()
    sides = movements.order_by().values_list("from_place", "origin", "to_place", "ending").annotate(Sum("quantity"))
    for from_place, origin, to_place, ending, quantity in sides:
        for place, outside, change in ((from_place, origin, -quantity), (to_place, ending, quantity)):
            if place is not None:
                lying[place] += change
            else:
                (received if outside in ORIGINS else ended)[outside] += change
    if as_of is None:
        balances = Balance.objects.filter(lot__in=lots).order_by().values_list("place").annotate(Sum("quantity"))
        lying = Counter(dict(balances))
    total = -received.total()
    return Trace(
        received=total,
        places=_by_place(lying),
        endings={ending: quantity for ending, quantity in sorted(ended.items()) if quantity},
        gap=total - lying.total() - ended.total(),
        holds=_holds(item, number, as_of),
    )


def _by_place(lying: Counter[int]) -> dict[Place, int]:
    held = {place: quantity for place, quantity in lying.items() if quantity}
    places = Place.objects.filter(pk__in=held).select_related("depot").order_by("depot__depot", "code", "pk")
    return {place: held[place.pk] for place in places}


def _holds(item: Item, number: str, as_of: datetime | None) -> tuple[LotHold, ...]:
    holds = LotHold.objects.filter(item=item, lot_number=number).order_by("pk")
    if as_of is None:
        return tuple(holds.filter(released_at__isnull=True))
    return tuple(holds.filter(Q(released_at__isnull=True) | Q(released_at__gt=as_of), placed_at__lte=as_of))


def history(*, lots: Iterable[Lot]) -> list[Movement]:
    """Everything that happened to these lots in the order in which it was booked, whatever the devices' clocks said."""
    found = Movement.objects.filter(lot__in=lots).order_by("pk")
    return [*found.select_related("action", "lot__item", "from_place__depot", "to_place__depot", "reverses__action")]


def consumed(*, item: Item) -> int:
    """Thousandths of the supplier's own pieces that were used: installed, scrapped or lost, less what was reversed."""
    theirs = Movement.objects.filter(lot__item=item, lot__supplier_owned=True).order_by()
    used = theirs.aggregate(
        out=Sum("quantity", filter=Q(ending__in=_USED)), back=Sum("quantity", filter=Q(origin__in=_USED))
    )
    return (used["out"] or 0) - (used["back"] or 0)
