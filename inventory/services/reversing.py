"""Undo an action by the same movements the other way round; both stay visible."""

from typing import Unpack

from inventory.errors import Refusal
from inventory.models import Action, Difference, Movement, Transfer
from inventory.selectors.locking import locked_movements
from inventory.services.actions import Stamp, begin, use_case
from inventory.services.booking import Move, book

_SETTLE = "settle difference"


@use_case
def reverse(*, reversed_action: str, why: str, **stamp: Unpack[Stamp]) -> Action:
    """Take back all that an action moved. A transfer that is not counted out any more is on the road again.

    Raises:
        Refusal: there is no such action, it moved nothing, it is a reversal or reversed already; ``stands``: it sent a
            transfer that is received, or settled a difference, or counted out a transfer whose differences are settled;
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
    _open_transfer_again(action, reversed_action)


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
    sent = Transfer.objects.filter(sent=first.action, received__isnull=False).select_related("received").first()
    if sent is not None and sent.received is not None:
        message = f"Transfer {sent} was counted out by {sent.received.by}: that is taken back first."
        raise Refusal("stands", message, facts)
    settled = Difference.objects.filter(transfer__received=first.action, settled__isnull=False).first()
    if settled is not None:
        message = f"{settled}: the difference is settled, so the count stands: adjust the counts instead."
        raise Refusal("stands", message, facts)
    if first.action.use_case == _SETTLE:
        raise Refusal("stands", f"Action {number} settled a difference: adjust the counts instead.", facts)


def _open_transfer_again(action: Action, reversed_action: str) -> None:
    """A transfer whose load was taken back is over; one whose count was taken back waits to be counted out again."""
    Transfer.objects.filter(sent__number=reversed_action).update(taken_back=action)
    counted = Transfer.objects.filter(received__number=reversed_action)
    Difference.objects.filter(transfer__in=counted).delete()
    counted.update(received=None)
