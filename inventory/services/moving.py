"""Move pieces between places of one depot: put away, stage, bag, load a truck, turn in, set aside."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Unpack

from inventory.models import Action, Lot, Place
from inventory.services.actions import Stamp, begin, use_case
from inventory.services.booking import Move, book
from inventory.services.rules import check, one_depot, refuse_the_road


@dataclass(frozen=True, slots=True, kw_only=True)
class Carry:
    """Thousandths of a lot from one place to another."""

    lot: Lot
    quantity: int
    source: Place
    target: Place


@use_case
def move(*, carries: Sequence[Carry], why: str = "", **stamp: Unpack[Stamp]) -> Action:
    """Book that pieces were carried; all of it or nothing.

    Raises:
        Refusal: places of several depots, a hold, a missing reason, or fewer pieces there than carried.
    """
    content = {"carries": [[one.lot.pk, one.quantity, one.source.pk, one.target.pk] for one in carries]}
    action, repeated = begin("move", content, stamp, why)
    if not repeated:
        carry(action, carries, why)
    return action


def carry(action: Action, carries: Sequence[Carry], why: str, made_at: datetime | None = None) -> None:
    """Book the carries of an action that another use case has begun, in its transaction.

    ``made_at`` is the moment at which they were really carried, where that is not now: holds placed later stop nothing.

    Raises:
        Refusal: as ``move``.
    """
    places = [place for one in carries for place in (one.source, one.target)]
    one_depot(places)
    refuse_the_road(places)
    moves = [Move(lot=one.lot, quantity=one.quantity, source=one.source, target=one.target) for one in carries]
    book(action, moves, check=lambda: check(moves, why, made_at))
