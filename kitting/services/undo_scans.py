"""Take back what a scan did with pieces of a bag, by another scan the other way round; both stay visible."""

from collections.abc import Collection
from typing import Unpack

from inventory.models import Action, Movement
from kitting.calculation.bag_states import PICK
from kitting.calculation.bag_states import PUT_BACK as BACK
from kitting.errors import Refusal
from kitting.models import Bag, Event
from kitting.selectors.bag_contents import bag_by_code
from kitting.services.fill_bags import pick, put_back
from kitting.services.scans import Answer, Scan

UNDONE = "U-"  # begins the number of what takes an action back, so that it is taken back once
PAID_BACK = "paid back"


def number_of_undo(action: str) -> str:
    """The number under which an action is taken back."""
    return f"{UNDONE}{action}"


def undone(actions: Collection[str]) -> set[str]:
    """Those of these actions that were taken back; one query."""
    found = Action.objects.filter(number__in=[number_of_undo(one) for one in actions])
    return {number.removeprefix(UNDONE) for number in found.values_list("number", flat=True)}


def undo(*, bag: str, undone_action: str, confirmed: Collection[str] = (), **scan: Unpack[Scan]) -> Answer:
    """Put what was picked back where it was taken, promised as before; or pick again what was put back.

    Args:
        bag: code on its label.
        undone_action: number of what is taken back; it gives the number of the new action.
        confirmed: keys of questions answered with yes.
        scan: who and when.

    Raises:
        Doubt: as ``pick``.
        Refusal: ``cannot-undo``: the action moved nothing in this bag, or several lots; or as ``pick`` and
            ``put_back``.
    """
    found = bag_by_code(bag)
    moved = [*Movement.objects.filter(action__number=undone_action).select_related(
        "action", "lot__item", "from_place__depot", "to_place__depot"
    )]  # fmt: skip
    if Event.objects.filter(name=PAID_BACK, data__action=undone_action).exists():
        raise _refused(found, "it paid a borrow back: lend the pieces again")
    if len({(one.lot.item_id, one.lot.number, one.from_place_id, one.to_place_id) for one in moved}) != 1:
        raise _refused(found, "it moved no piece, or pieces of several lots: put them back by scan")
    (one, *_), quantity = moved, sum(movement.quantity for movement in moved)
    again: Scan = {**scan, "action": number_of_undo(undone_action)}
    code, lot = one.lot.item.stock_code, one.lot.number
    deed = one.action.use_case
    if deed == f"bag {PICK}" and one.from_place and one.to_place_id == found.place_id:
        why = f"undo of {undone_action}"
        return put_back(
            bag=bag, stock_code=code, lot=lot, place=one.from_place, quantity=quantity, why=why,
            takes_back=undone_action, **again,
        )  # fmt: skip
    if deed == f"bag {BACK}" and one.to_place and one.from_place_id == found.place_id:
        return pick(
            bag=bag, stock_code=code, lot=lot, place=one.to_place, quantity=quantity, confirmed=confirmed, **again
        )
    raise _refused(found, "nothing takes back what was done with these pieces: say what became of them by scan")


def _refused(bag: Bag, why: str) -> Refusal:
    return Refusal("cannot-undo", f"{bag}: {why}.", {"bag": str(bag)})
