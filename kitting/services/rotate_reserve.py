"""Book that old pieces of the reserve and fresh ones of the shelf have changed places: the reserve rotates."""

from typing import Unpack

from inventory.models import Action, Balance
from inventory.selectors.finding import local_day
from inventory.services.actions import begin, use_case
from inventory.services.moving import Carry, carry
from kitting.errors import Refusal
from kitting.models import Promise
from kitting.roles import DO, require
from kitting.selectors.bag_contents import bare
from kitting.selectors.reserve import ROTATION
from kitting.selectors.rotation import Rotation, by_key, rotations
from kitting.services.record_events import Happening, record_events
from kitting.services.release_promises import release, rest_of
from kitting.services.scans import Scan, stamp_of

WAREHOUSE = "warehouse"
_WHY = "the reserve rotates: what expires first is used first"


@use_case
def rotate_reserve(*, old: int, fresh: int, quantity: int, **scan: Unpack[Scan]) -> Action:
    """Carry fresh thousandths to the reserve and as many old ones to their bin; who was promised the fresh has the old.

    The reserve holds as many pieces as before, so nobody's leave is needed.

    Args:
        old, fresh: numbers of the balances of the reserve and of the bin.
        quantity: thousandths, as the swap was shown.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-there``; ``not-allowed``; ``not-proposed``: pieces, promises or dates have changed meanwhile.
    """
    found = Balance.objects.filter(pk=old).select_related("place__depot").first()
    if found is None:
        raise Refusal("not-there", "Nothing lies there any more.", {"balance": old})
    depot = found.place.depot
    require(scan["actor"], WAREHOUSE, DO, depot.depot)
    content = {"old": old, "fresh": fresh, "quantity": quantity}
    action, repeated = begin(ROTATION, content, stamp_of(scan), _WHY)
    if repeated:
        return action
    [*Balance.objects.select_for_update(no_key=True).filter(pk__in=(old, fresh)).order_by("pk")]
    swaps = by_key(rotations(today=local_day(depot, scan["at"]), depots=[depot.depot]))
    swap = swaps.get((old, fresh))
    if swap is None or swap.quantity != quantity:
        message = (
            "CHANGED: pieces, promises or dates are others now, and this swap isn't proposed any more: look again."
        )
        raise Refusal("not-proposed", message, {"old": old, "fresh": fresh})
    carries = [
        Carry(lot=one.lot, quantity=quantity, source=one.place, target=other.place)
        for one, other in ((swap.fresh, swap.old), (swap.old, swap.fresh))
    ]
    carry(action, carries, _WHY)
    _change_lots(swap, scan)
    told = {
        "quantity": bare(quantity), "to reserve": str(swap.fresh.lot), "from reserve": str(swap.old.lot),
        "bin": str(swap.fresh.place), "jobs": [*swap.jobs], "action": action.number,
    }  # fmt: skip
    rotated = Happening("reserve rotated", f"{swap.old.lot.item} at {depot}", told, depot=depot.depot)
    record_events([rotated], by=scan["actor"].name, at=scan["at"])
    return action


def _change_lots(swap: Rotation, scan: Scan) -> None:
    """Promise the old pieces, which lie in the bin now, to whom the fresh ones were promised."""
    at, again = scan["at"], []
    for promise, pieces in swap.promises:
        given = rest_of(promise, pieces, at)
        given.lot = swap.old.lot
        again.append(given)
        if promise.quantity > pieces:
            again.append(rest_of(promise, promise.quantity - pieces, at))
    release(Promise.objects.filter(pk__in=[promise.pk for promise, _ in swap.promises]), why=_WHY, at=at)
    Promise.objects.bulk_create(again)
