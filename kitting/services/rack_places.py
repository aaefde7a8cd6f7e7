"""Rack places of a depot: which one is meant by what was scanned when a bag is staged."""

from inventory.models import STAGING, Depot, Item, Place
from inventory.selectors.words import near_names
from inventory.services.doubts import Doubts
from kitting.calculation.carton_codes import is_carton
from kitting.errors import Refusal


def rack_scanned(depot: Depot, text: str, doubts: Doubts) -> str:
    """The rack place; where the books of the depot know rack places, only one of them will do.

    Asks ``near-rack`` where just one comes near.

    Raises:
        Refusal: ``no-rack``; ``not-a-rack``: it is a bin, a piece or the like; ``unknown-rack`` names the near ones.
    """
    rack = text.strip().removeprefix(f"{depot.depot}/")
    if not rack:
        raise Refusal("no-rack", "Scan the rack place.", {})
    known = [*Place.objects.filter(depot=depot, kind=STAGING).order_by("code").values_list("code", flat=True)]
    if rack in known:
        return rack
    if is_carton(rack) or Item.objects.filter(stock_code__iexact=rack).exists():
        raise Refusal("not-a-rack", f"NO RACK PLACE: {rack} is read from a piece or its carton.", {"rack": rack})
    other = Place.objects.filter(depot=depot, code__iexact=rack).exclude(kind=STAGING).first()
    if other:
        raise Refusal("not-a-rack", f"NO RACK PLACE: {other.code} is a {other.kind} of depot {depot}.", {"rack": rack})
    if not known:
        return rack
    close = near_names(rack, known)
    if len(close) != 1:
        which = f"; near it: {', '.join(close)}" if close else ""
        message = f"UNKNOWN RACK PLACE: depot {depot} has no {rack} on its books{which}. Scan the place's own label."
        raise Refusal("unknown-rack", message, {"rack": rack, "near": close})
    doubts.ask("near-rack", 1, f"UNKNOWN RACK PLACE: depot {depot} has no {rack}: is it {close[0]}?")
    return close[0]
