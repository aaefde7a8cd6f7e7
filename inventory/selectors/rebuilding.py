"""Balances as the movements alone give them, beside those that are stored."""

from collections import Counter
from dataclasses import dataclass

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


def derived_balances() -> Counter[Key]:
    """Thousandths by place and lot, summed over all movements by the database."""
    derived: Counter[Key] = Counter()
    movements = Movement.objects.order_by()
    arriving = movements.filter(to_place__isnull=False).values_list("to_place", "lot").annotate(Sum("quantity"))
    leaving = movements.filter(from_place__isnull=False).values_list("from_place", "lot").annotate(Sum("quantity"))
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
