"""What a count is compared with: the books at the moment of the count, and the pack in which an item is bought."""

from collections import Counter
from collections.abc import Mapping
from datetime import datetime

from inventory.models import Balance, Item, Movement
from inventory.selectors.words import quantity_text

Key = tuple[int, int]  # place, lot
_ONE = 1000  # thousandths


def moved_since(moments: Mapping[Key, datetime]) -> Counter[Key]:
    """Thousandths by which each place and lot has changed after its moment, more coming than going is above zero.

    A movement counts from the moment at which the pieces were moved, which a device may have told later; one that was
    reversed never was. So what a late paper or a reversal says of the time before the count is no change since; one
    query.
    """
    changes: Counter[Key] = Counter()
    if not moments:
        return changes
    places = {place for place, _ in moments}
    found = Movement.objects.filter(lot__in={lot for _, lot in moments}, action__at__gt=min(moments.values()))
    rows = found.order_by("pk").values_list(
        "lot", "from_place", "to_place", "quantity", "action__at", "action__device_at",
        "reverses__action__at", "reverses__action__device_at",
    )  # fmt: skip
    for lot, source, target, quantity, at, device_at, reversed_at, reversed_device_at in rows:
        when = happened(at, device_at) if reversed_at is None else happened(reversed_at, reversed_device_at)
        for place, change in ((source, -quantity), (target, quantity)):
            if place in places and (place, lot) in moments and when > moments[place, lot]:
                changes[place, lot] += change
    return changes


def happened(at: datetime, device_at: datetime | None) -> datetime:
    """When something was done: as the device says, but never after the server heard of it."""
    return at if device_at is None else min(at, device_at)


def is_pack_ratio(item: Item, counted: int, book: int) -> bool:
    """Whether count and books differ by exactly what a purchase unit of the item holds."""
    factor = item.per_purchase_unit
    if not factor or factor == _ONE or not book or not counted:
        return False
    return counted * _ONE == book * factor or counted * factor == book * _ONE


def pack_text(item: Item) -> str:
    """What a purchase unit holds, in words: ``kit of 3 ea``; '' where it is the stock unit or not known."""
    if item.per_purchase_unit in (None, 0, _ONE):
        return ""
    return f"{item.purchase_unit or 'purchase unit'} of {quantity_text(item.per_purchase_unit, item.stock_unit)}"


def book_at(key: Key, moment: datetime) -> int:
    """Thousandths that the books, as far as they know by now, had of a lot at a place at a moment; two queries."""
    place, lot = key
    balance = Balance.objects.filter(place=place, lot=lot).first()
    return (balance.quantity if balance else 0) - moved_since({key: moment})[key]
