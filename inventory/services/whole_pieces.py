"""What is counted by the piece comes and goes in whole pieces."""

from inventory.errors import Refusal
from inventory.models import Item
from inventory.selectors.words import quantity_text

EACH = "ea"
PIECE = 1000  # thousandths


def need_whole(item: Item, quantity: int) -> None:
    """Refuse a part of a piece, in thousandths, of an item that is counted by the piece.

    Raises:
        Refusal: ``part-of-a-piece``.
    """
    if quantity % PIECE and item.stock_unit == EACH:
        message = f"NO PART OF A PIECE: {item} is counted by the piece, so {quantity_text(quantity, '')} can't be."
        raise Refusal("part-of-a-piece", message, {"stock_code": item.stock_code, "quantity": quantity})
