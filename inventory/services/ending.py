"""Pieces that leave the books: installed, scrapped, returned to the supplier or lost."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Unpack

from inventory.errors import Refusal
from inventory.models import ENDINGS, LOST, SCRAPPED, Action, Lot, Place
from inventory.services.actions import Stamp, begin, use_case
from inventory.services.booking import Move, book
from inventory.services.rules import check, refuse_the_road


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """Thousandths of a lot that leave a place for good."""

    lot: Lot
    quantity: int
    source: Place
    ending: str


@use_case
def end(*, pieces: Sequence[Ended], why: str = "", **stamp: Unpack[Stamp]) -> Action:
    """Book where pieces ended; all of it or nothing.

    Raises:
        Refusal: an unknown ending, no reason for scrapped or lost pieces, a hold on what would be installed, or fewer
            pieces there than end.
    """
    content = {"pieces": [[one.lot.pk, one.quantity, one.source.pk, one.ending] for one in pieces]}
    action, repeated = begin("end", content, stamp, why)
    if repeated:
        return action
    for one in pieces:
        if one.ending not in ENDINGS:
            raise Refusal("unknown-ending", f"Pieces end {', '.join(ENDINGS)}; not {one.ending}.", {})
        if one.ending in (SCRAPPED, LOST) and not why.strip():
            raise Refusal("needs-reason", f"Say why pieces of {one.lot} are {one.ending}.", {"lot": one.lot.number})
    refuse_the_road(one.source for one in pieces)
    moves = [Move(lot=one.lot, quantity=one.quantity, source=one.source, ending=one.ending) for one in pieces]
    book(action, moves, check=lambda: check(moves, why))
    return action
