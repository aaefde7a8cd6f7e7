"""From where a piece may have come whose lot is not in its bag."""

from inventory.models import BAG, BIN, SUPPLIER_OWNED, TRUCK, Balance, Item, Place
from kitting.calculation.bag_states import OUT
from kitting.models import Bag
from kitting.selectors.bag_contents import bare


def lot_origins(bag: Bag, item: Item, lot: str) -> list[tuple[Place, str]]:
    """Places of the bag's depot that hold the lot, in words: other bags with crews, trucks, then bins; two queries."""
    found = Balance.objects.filter(
        lot__item=item, lot__number=lot, quantity__gt=0, place__depot=bag.depot,
        place__kind__in=(BAG, TRUCK, BIN, SUPPLIER_OWNED),
    ).exclude(place=bag.place_id).select_related("place__depot")  # fmt: skip
    lying = [*found.order_by("place__code", "pk")]
    bags = {one.place_id: one for one in Bag.objects.filter(
        place__in=[one.place_id for one in lying], state__in=OUT).select_related("job")}  # fmt: skip
    named: list[tuple[int, Place, str]] = []
    for one in lying:
        other = bags.get(one.place_id)
        if other:
            named.append((0, one.place, f"bag {other}, with {other.crew or 'a crew'}: {bare(one.quantity)} of it"))
        elif one.place.kind == TRUCK:
            named.append((1, one.place, f"truck {one.place.code}: {bare(one.quantity)} of it"))
        elif one.place.kind != BAG:
            words = f"picked at {one.place.code} in the place of the lot that the books took"
            named.append((2, one.place, f"{words}: {bare(one.quantity)} of it there"))
    return [(place, words) for _, place, words in sorted(named, key=lambda row: row[0])]
