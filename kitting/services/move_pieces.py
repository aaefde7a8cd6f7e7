"""Move what lies at a place of the warehouse, send it off for good, and take a wrong move, van or receipt back.

Pieces in bags, in the reserve and on the road have use cases of their own.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Unpack

from inventory.models import (
    BAG,
    BIN,
    LENT,
    RESERVE,
    RETURNED,
    SCRAPPED,
    SUPPLIER_OWNED,
    VAN,
    Action,
    Balance,
    Movement,
    Place,
)
from inventory.services.actions import begin, use_case
from inventory.services.booking import Move, book
from inventory.services.moving import Carry, carry
from inventory.services.reversing import take_back
from inventory.services.rules import check, refuse_the_road
from kitting.calculation.promising.model import TRANSFER
from kitting.errors import Refusal
from kitting.models import Promise
from kitting.roles import DO, require
from kitting.services.release_promises import follow, let_go
from kitting.services.scans import Scan, stamp_of

WAREHOUSE = "warehouse"
FOR_GOOD = (SCRAPPED, RETURNED)
SEND, COUNT_OUT = "send transfer", "receive transfer"  # names of use cases
TAKEN_BACK_HERE = ("move pieces", SEND, COUNT_OUT)
_KEEP_PROMISES = (BIN, SUPPLIER_OWNED)
_OWN_WAYS: Mapping[str, str] = {
    BAG: "a bag's pieces leave it by scan of the bag",
    RESERVE: "the reserve is opened by the duty supervisor: ask for it",
    LENT: "what is lent is handed over and given back on the page Loans",
}


@dataclass(frozen=True, slots=True)
class Moved:
    """What was booked, and the promises that could not be kept: job, line and thousandths of each."""

    action: Action
    lost: Sequence[tuple[str, str, int]]


@use_case
def move_pieces(
    *, balance: int, quantity: int, to: Place | None = None, ending: str = "", why: str = "", **scan: Unpack[Scan]
) -> Moved:
    """Put thousandths of a lot at another place of its depot, or book that they are scrapped or sent back.

    Promises of pieces that still lie on a shelf go along; others are let go, and planners hear of it.

    Args:
        balance: number of the record of what lies there.
        quantity: thousandths of the stock unit.
        to: where they lie now; None where they leave for good.
        ending: how they leave then, one of ``FOR_GOOD``.
        why: the reason; needed for what leaves for good, or leaves a place of the kind hold.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-there``; ``own-way``: bags and the reserve have use cases of their own; ``no-way``: neither a
            place nor an ending; ``needs-reason``; ``not-allowed``; as ``inventory``'s moving.
    """
    found = Balance.objects.filter(pk=balance).select_related("place__depot", "lot__item").first()
    if found is None:
        raise Refusal("not-there", "Nothing lies there any more.", {"balance": balance})
    require(scan["actor"], WAREHOUSE, DO, found.place.depot.depot)
    content = {"balance": balance, "quantity": quantity, "to": to.pk if to else None, "ending": ending}
    action, repeated = begin("move pieces", content, stamp_of(scan), why)
    if repeated:
        return Moved(action, ())
    for place in (found.place, to):
        if place is not None and place.kind in _OWN_WAYS:
            raise Refusal("own-way", f"{place}: {_OWN_WAYS[place.kind]}.", {"place": str(place)})
    if (to is None) == (ending not in FOR_GOOD):
        raise Refusal("no-way", f"Say where the pieces go: a place, or {' or '.join(FOR_GOOD)}.", {"ending": ending})
    if to is not None:
        carry(action, [Carry(lot=found.lot, quantity=quantity, source=found.place, target=to)], why)
    else:
        _send_off(action, found, quantity, ending, why)
    reason = f"moved: {why}" if why else "moved"
    if to is not None and to.kind in _KEEP_PROMISES:
        follow(found, to, why=reason, at=scan["at"])
        return Moved(action, ())
    lost = let_go([(found.place_id, found.lot_id)], why=reason, by=scan["actor"].name, at=scan["at"])
    return Moved(action, lost)


def _send_off(action: Action, found: Balance, quantity: int, ending: str, why: str) -> None:
    if not why.strip():
        raise Refusal("needs-reason", f"Say why pieces of {found.lot} are {ending}.", {"lot": found.lot.number})
    refuse_the_road([found.place])
    moves = [Move(lot=found.lot, quantity=quantity, source=found.place, ending=ending)]
    book(action, moves, check=lambda: check(moves, why))


@use_case
def undo_receipt(*, receipt: str, why: str, **scan: Unpack[Scan]) -> Moved:
    """Take back all that a receipt booked, because it was wrong; both stay visible, and its pieces are awaited again.

    Raises:
        Refusal: ``unknown-receipt``; ``not-allowed``; no reason, undone already, or its pieces have gone on meanwhile.
    """
    moves = _moved_by("receive", receipt, scan)
    if not moves:
        raise Refusal("unknown-receipt", f"There is no receipt {receipt}.", {"receipt": receipt})
    action, repeated = begin("undo receipt", {"receipt": receipt}, stamp_of(scan), why)
    if repeated:
        return Moved(action, ())
    take_back(action, receipt, why)
    return Moved(action, _lost(moves, f"receipt undone: {why}", scan))


@use_case
def undo_move(*, moved: str, why: str, **scan: Unpack[Scan]) -> Moved:
    """Bring back all that one action moved, scrapped, sent back, loaded on a van or counted out of one.

    Both stay visible, and promises go along. What was counted out is on the road again.

    Raises:
        Refusal: ``unknown-move``; ``not-allowed``, ``other-depot``; no reason, undone already, or the pieces have gone
            on meanwhile; ``stands``: the van was counted out since, or what differed there is settled.
    """
    use = Action.objects.filter(number=moved).values_list("use_case", flat=True).first() or ""
    moves = _moved_by(use, moved, scan) if use in TAKEN_BACK_HERE else []
    if not moves:
        raise Refusal("unknown-move", f"There is no move {moved}.", {"moved": moved})
    action, repeated = begin("undo move", {"moved": moved}, stamp_of(scan), why)
    if repeated:
        return Moved(action, ())
    take_back(action, moved, why)
    for move in moves:
        if move.to_place and move.from_place and move.from_place.kind in (*_KEEP_PROMISES, VAN):
            there = Balance.objects.get(place=move.to_place, lot=move.lot)
            follow(there, move.from_place, why=f"move undone: {why}", at=scan["at"])
    vans = {move.from_place_id for move in moves if move.from_place and move.from_place.kind == VAN}
    Promise.objects.filter(place__in=vans, released_at=None).update(source=TRANSFER)
    return Moved(action, _lost(moves, f"move undone: {why}", scan))


def _moved_by(use: str, number: str, scan: Scan) -> list[Movement]:
    """What an action of this kind moved, if it may be taken back by this person."""
    found = Movement.objects.filter(action__number=number, action__use_case=use).order_by("pk")
    moves = [*found.select_related("from_place__depot", "to_place__depot", "lot__item")]
    for move in moves:
        place = move.from_place if use == SEND else move.to_place or move.from_place
        require(scan["actor"], WAREHOUSE, DO, place.depot.depot if place else None)
    return moves


def _lost(moves: Iterable[Movement], why: str, scan: Scan) -> Sequence[tuple[str, str, int]]:
    there = [(move.to_place_id or 0, move.lot_id) for move in moves]
    return let_go(there, why=why, by=scan["actor"].name, at=scan["at"])
