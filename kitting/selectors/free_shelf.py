"""Pieces that lie free in the bins of a depot: nobody is promised them, and no hold stops them."""

from collections.abc import Collection

from django.db.models import F

from inventory.models import BIN, Balance
from inventory.selectors.finding import open_holds
from kitting.selectors.promises import promised_at


def free_on_shelf(items: Collection[int], depot: str) -> list[tuple[Balance, int]]:
    """What lies there of these items, and the free thousandths of each, the first to expire first; three queries."""
    here = Balance.objects.filter(
        lot__item__in=items, quantity__gt=0, place__kind=BIN, place__depot__depot=depot
    ).select_related("lot__item", "place__depot")
    lying = [*here.order_by(F("lot__use_by").asc(nulls_last=True), "pk")]
    held = open_holds(one.lot for one in lying)
    good = [one for one in lying if (one.lot.item_id, one.lot.number) not in held]
    promised = promised_at(place__in={one.place_id for one in good})
    return [(one, max(one.quantity - promised[one.place_id, one.lot_id], 0)) for one in good]
