"""A piece that was scanned with a lot that is not in its bag: from where? Asked on the pages of bags that are out."""

from dataclasses import dataclass
from typing import Unpack

from inventory.models import Item, Lot, Place
from inventory.selectors.finding import lots_by_number
from kitting.errors import Refusal
from kitting.models import Bag
from kitting.pages.asked import ANY_REFUSAL, Asked
from kitting.pages.bag_forms import read_piece
from kitting.selectors.bag_contents import Contents, label_code, lots_inside
from kitting.selectors.lot_origins import lot_origins
from kitting.services.other_lots import bring_in
from kitting.services.scans import Answer, Scan

NOBODY = "nobody"  # knows from where


@dataclass(frozen=True, slots=True)
class Read:
    """What was scanned: item and lot; ``lot`` is '' where neither carton nor person said it."""

    item: Item
    lot: str
    inside: tuple[Lot, ...]  # lots of the item in the bag, of this number where one was read

    @property
    def is_other(self) -> bool:
        """Whether a lot was read that is not in the bag."""
        return bool(self.lot) and not self.inside


def read_for(asked: Asked, contents: Contents, text: str, lot: str = "") -> Read:
    """Read a piece against what is in a bag.

    Raises:
        Refusal: it is no piece of ours.
    """
    piece = read_piece(text, asked.today)
    number = piece.lot or lot
    inside = [one for one in lots_inside(contents) if one.item_id == piece.item.pk and number in ("", one.number)]
    return Read(piece.item, number, tuple(inside))


def question_of(bag: Bag, read: Read) -> dict[str, object]:
    """What the question shows: the piece, whether the books know the lot, and from where it may have come."""
    try:
        known = bool(lots_by_number(item=read.item, number=read.lot))
    except ANY_REFUSAL:
        known = False
    origins = [(str(place.pk), words) for place, words in lot_origins(bag, read.item, read.lot)]
    return {"item": read.item, "lot": read.lot, "known": known, "origins": origins, "nobody": NOBODY}


def source_chosen(asked: Asked, bag: Bag, read: Read) -> Place | None:
    """The place that was chosen; None where nobody knows.

    Raises:
        Refusal: ``no-source``: none was chosen of those that were shown.
    """
    chosen = asked.text("source")
    if chosen == NOBODY:
        return None
    for place, _ in lot_origins(bag, read.item, read.lot):
        if str(place.pk) == chosen:
            return place
    message = f"FROM WHERE: say from where {read.item} lot {read.lot} came."
    raise Refusal("no-source", message, {"lot": read.lot})


def brought_in(
    asked: Asked, bag: Bag, read: Read, pieces: int, source: Place | None, line: str = "", **scan: Unpack[Scan]
) -> Answer:
    """Note that the pieces are in the bag."""
    return bring_in(
        bag=label_code(bag), line=line, stock_code=read.item.stock_code, lot=read.lot, quantity=pieces, source=source,
        confirmed=asked.confirmed, **scan,
    )  # fmt: skip
