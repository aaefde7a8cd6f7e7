"""Undo an action by the same movements the other way round; both stay visible."""

from typing import Unpack

from inventory.errors import Refusal
from inventory.models import Action, Movement, Transfer
from inventory.selectors.locking import locked_movements
from inventory.services.actions import Stamp, begin, use_case
from inventory.services.booking import Move, book

# What was counted at the end of a transfer stands: a wrong count there is settled or adjusted, not undone.
_CURE = "settle its differences"
_STANDS = {"receive transfer": _CURE, "settle difference": "adjust the counts"}


@use_case
def reverse(*, reversed_action: str, why: str, **stamp: Unpack[Stamp]) -> Action:
    """Take back all that an action moved.

    Raises:
        Refusal: there is no such action, it moved nothing, it is a reversal or reversed already, it ended a transfer,
            there is no reason, or its pieces have gone on meanwhile.
    """
    action, repeated = begin("reverse", {"reversed_action": reversed_action}, stamp, why)
    if not repeated:
        take_back(action, reversed_action, why)
    return action


def take_back(action: Action, reversed_action: str, why: str) -> None:
    """Book the reversal by an action that another use case has begun, in its transaction.

    Raises:
        Refusal: as ``reverse``.
    """
    if not why.strip():
        raise Refusal("needs-reason", "Say why the action is reversed.", {"action": reversed_action})
    movements = locked_movements(reversed_action)
    _refuse_what_stands(reversed_action, movements)
    moves = [
        Move(
            lot=one.lot,
            quantity=one.quantity,
            source=one.to_place,
            origin=one.ending,
            target=one.from_place,
            ending=one.origin,
            order_line=one.order_line,
            reverses=one,
        )
        for one in movements
    ]
    book(action, moves)


def _refuse_what_stands(number: str, movements: list[Movement]) -> None:
    facts = {"action": number}
    if not movements:
        raise Refusal("nothing-to-reverse", f"No action {number} has moved anything.", facts)
    first = movements[0]
    if first.reverses_id is not None:
        raise Refusal("is-a-reversal", f"Action {number} is a reversal: book the right movement instead.", facts)
    again = Movement.objects.filter(reverses=first).select_related("action").first()
    if again is not None:
        other = again.action
        raise Refusal("reversed-already", f"Action {number} was reversed by {other.by} with {other.number}.", facts)
    if Transfer.objects.filter(sent=first.action, received__isnull=False).exists():
        raise Refusal("stands", f"Action {number} sent a transfer that is received: {_CURE} instead.", facts)
    cure = _STANDS.get(first.action.use_case)
    if cure:
        raise Refusal("stands", f"Action {number} was a {first.action.use_case}: {cure} instead.", facts)
