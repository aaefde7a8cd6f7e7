"""Put stored quantities to what the movements give."""

from inventory.models import Balance, OrderLine
from inventory.selectors.rebuilding import Unequal, unequal_balances, unequal_order_lines
from inventory.services.actions import use_case


@use_case
def rebuild() -> list[Unequal]:
    """Store what the movements give wherever something else is stored; returns what was different.

    Nothing is counted as received or moved by this: the movements stay as they are.
    """
    list(Balance.objects.select_for_update(no_key=True).order_by("pk").values_list("pk"))  # nothing moves meanwhile
    balances, lines = unequal_balances(), unequal_order_lines()
    for one in balances:
        place, lot = one.key
        Balance.objects.update_or_create(place_id=place, lot_id=lot, defaults={"quantity": one.derived})
    for one in lines:
        OrderLine.objects.filter(pk=one.key[1]).update(received=one.derived)
    return [*balances, *lines]
