"""Balances as the movements alone give them, beside those that are stored."""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, Sum

from inventory.models import FROM_SUPPLIER, Balance, Lot, Movement, OrderLine, Place

Key = tuple[int, int]  # place, lot


@dataclass(frozen=True, slots=True)
class Unequal:
    """What is stored about something, and what the movements give; thousandths."""

    name: str
    key: Key
    stored: int
    derived: int


def derived_balances(*, depot: str = "", until: datetime | None = None) -> Counter[Key]:
    """Thousandths by place and lot, summed over movements by the database; two queries.

    Args:
        depot: only places of this one; '' for all.
        until: only what was booked up to that moment; None for all.
    """
    derived: Counter[Key] = Counter()
    movements = Movement.objects.filter(action__at__lte=until) if until else Movement.objects.all()
    to_there: dict[str, object] = {"to_place__depot__depot": depot} if depot else {"to_place__isnull": False}
    from_there: dict[str, object] = {"from_place__depot__depot": depot} if depot else {"from_place__isnull": False}
    arriving = movements.order_by().filter(**to_there).values_list("to_place", "lot").annotate(Sum("quantity"))
    leaving = movements.order_by().filter(**from_there).values_list("from_place", "lot").annotate(Sum("quantity"))
    for place, lot, quantity in arriving:
        derived[(place, lot)] += quantity
    for place, lot, quantity in leaving:
        derived[(place, lot)] -= quantity
    return derived


def unequal_balances() -> list[Unequal]:
    """Balances that are not what the movements give."""
    derived = derived_balances()
    stored = {
        (place, lot): quantity for place, lot, quantity in Balance.objects.values_list("place", "lot", "quantity")
    }
    keys = sorted(key for key in stored.keys() | derived.keys() if stored.get(key, 0) != derived[key])
    places = Place.objects.select_related("depot").in_bulk({place for place, _ in keys})
    lots = Lot.objects.select_related("item").in_bulk({lot for _, lot in keys})
    return [
        Unequal(f"{lots[lot]} at {places[place]}", (place, lot), stored.get((place, lot), 0), derived[(place, lot)])
        for place, lot in keys
    ]


def unequal_order_lines() -> list[Unequal]:
    """Order lines of which not as much is noted as received as the movements give."""
    came = Sum("movements__quantity", filter=Q(movements__origin=FROM_SUPPLIER), default=0)
    back = Sum("movements__quantity", filter=Q(movements__ending=FROM_SUPPLIER), default=0)
    lines = OrderLine.objects.annotate(derived=came - back).select_related("order").order_by("pk")
    return [
        Unequal(f"order line {line}", (line.order_id, line.pk), line.received, line.derived)
        for line in lines
        if line.received != line.derived
    ]
