"""Which item and lot an address names, although both may hold a stroke."""

from inventory.models import Item, Lot
from inventory.selectors.words import near, near_names
from kitting.errors import Refusal

UNKNOWN_LOT = "-"  # stands in an address for pieces whose lot nobody knows


def lot_address(code: str, number: str) -> str:
    """How an address names a lot: ``BI25/L-2409-17``, ``BI25/-`` for the one that nobody knows."""
    return f"{code}/{number or UNKNOWN_LOT}"


def lot_of_address(name: str) -> tuple[Item, str]:
    """The item and the lot number, '' for the unknown lot, of a name such as ``BI25/L-2409-17`` or ``BI25/-``.

    Raises:
        Refusal: ``unknown-stock-code`` with those that come near.
        Refusal: ``unknown-lot``: the item has no such lot; ``data`` holds the item's code and the numbers that come
            near.
    """
    parts = name.split("/")
    splits = {"/".join(parts[:at]): "/".join(parts[at:]) for at in range(1, len(parts))}
    items = {item.stock_code: item for item in Item.objects.filter(stock_code__in=splits)}
    if not items:
        code = parts[0]
        close = near(code, Item.objects.values_list("stock_code", flat=True))
        raise Refusal("unknown-stock-code", f"There is no stock code {code}{close}", {"stock_code": code})
    for code, item in items.items():
        number = "" if splits[code] == UNKNOWN_LOT else splits[code]
        if Lot.objects.filter(item=item, number=number).exists():
            return item, number
    code, item = next(iter(items.items()))
    known = item.lots.exclude(number="").values_list("number", flat=True)
    found = near_names(splits[code].upper(), known) or near_names(splits[code], known)
    message = f"{item} has no lot {splits[code]}."
    raise Refusal("unknown-lot", message, {"stock_code": item.stock_code, "near": found})
