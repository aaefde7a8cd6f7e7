"""Stop a lot wherever it lies, and let it go again."""

from typing import Unpack

from inventory.errors import Refusal
from inventory.models import Action, LotHold
from inventory.selectors.finding import items_by_code, lots_by_number, open_holds
from inventory.selectors.locking import lock_balances_of
from inventory.services.actions import Stamp, begin, use_case
from inventory.services.lots import lot_number


@use_case
def place_hold(*, stock_code: str, lot: str, reason: str, **stamp: Unpack[Stamp]) -> Action:
    """Stop every piece of a lot number: ours and the supplier's, here, on the road and yet to come.

    Raises:
        Refusal: the lot is unknown (single pieces are set aside at a hold place instead) or not on the books, it is
            stopped already, or there is no reason.
    """
    action, repeated = begin("place hold", {"stock_code": stock_code, "lot": lot}, stamp, reason)
    if not repeated:
        stop_lot(action, stock_code=stock_code, lot=lot, reason=reason)
    return action


def stop_lot(action: Action, *, stock_code: str, lot: str, reason: str) -> LotHold:
    """Stop a lot by an action that another use case has begun, in its transaction.

    Raises:
        Refusal: as ``place_hold``.
    """
    _need_reason(reason)
    number = lot_number(lot)
    if not number:
        raise Refusal("unknown-lot", "Pieces of an unknown lot are set aside: move them to a hold place.", {})
    item = items_by_code([stock_code])[stock_code]
    lots = lots_by_number(item=item, number=number)
    lock_balances_of(lots)  # what is moving now arrives first, what moves later finds the hold
    hold = open_holds(lots).get((item.pk, number))
    if hold is not None:
        raise Refusal("on-hold", f"{item} lot {number} is stopped already by hold {hold.pk}.", {"hold": hold.pk})
    return LotHold.objects.create(item=item, lot_number=number, reason=reason, placed_by=action.by, placed_at=action.at)


@use_case
def release_hold(*, hold: int, reason: str, **stamp: Unpack[Stamp]) -> Action:
    """Let a lot go again; pieces at hold places stay there until somebody carries them back.

    Raises:
        Refusal: there is no such open hold, or no reason.
    """
    action, repeated = begin("release hold", {"hold": hold}, stamp, reason)
    if not repeated:
        lift_hold(action, hold=hold, reason=reason)
    return action


def lift_hold(action: Action, *, hold: int, reason: str) -> None:
    """Let a lot go by an action that another use case has begun, in its transaction.

    Raises:
        Refusal: as ``release_hold``.
    """
    _need_reason(reason)
    released = LotHold.objects.filter(pk=hold, released_at__isnull=True).update(
        released_by=action.by, released_at=action.at, release_reason=reason
    )
    if not released:
        raise Refusal("no-open-hold", f"There is no open hold {hold}.", {"hold": hold})


def _need_reason(reason: str) -> None:
    if not reason.strip():
        raise Refusal("needs-reason", "A hold is placed and released with a reason.", {})
