"""Opening balances: what is on the shelves on the day the books begin."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from inventory.models import OPENING, SUPPLIER_OWNED, Action, Item, Place
from inventory.services.booking import Move, book, note_counts
from inventory.services.doubts import Doubts
from inventory.services.lots import Label, lot_number, lots_of

_AT_ONCE = 5000  # rows, so that a statement stays a megabyte at most


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """Thousandths of an item that lie at a place; nothing is a fact too."""

    item: Item
    place: Place
    quantity: int
    lot: str = ""
    use_by: date | None = None
    counted_on: date | None = None


def open_balances(action: Action, openings: Sequence[Opening]) -> None:
    """Book what lies where, inside the transaction of the use case that began the action and holds all balances still.

    Raises:
        Doubt: a lot number has a date on one row and none on another.
        Refusal: ``two-dates``: a lot number has two dates.
    """
    by_item = sorted(openings, key=lambda one: one.item.pk)  # so that the lots of an item are looked up once
    for first in range(0, len(by_item), _AT_ONCE):
        _open(action, by_item[first : first + _AT_ONCE], first + 1)


def _open(action: Action, openings: Sequence[Opening], first_line: int) -> None:
    doubts = Doubts()
    labels = [
        Label(line, one.item, lot_number(one.lot), one.use_by, one.place.kind == SUPPLIER_OWNED)
        for line, one in enumerate(openings, first_line)
    ]
    lots = lots_of(labels, doubts)
    doubts.settle()
    pairs = [*zip(openings, lots, strict=True)]
    moves = [
        Move(lot=lot, quantity=one.quantity, origin=OPENING, target=one.place) for one, lot in pairs if one.quantity
    ]
    book(action, moves, first_line=first_line, in_parts=True)
    note_counts({(one.place.pk, lot.pk): one.counted_on for one, lot in pairs if one.counted_on or not one.quantity})
