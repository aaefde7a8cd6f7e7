"""What a crew says of a piece with one tap: dropped, damaged, wrong, missing, not needed; and taking that back."""

from typing import Unpack

from inventory.models import Movement
from inventory.services.actions import use_case
from inventory.services.booking import Move, book
from kitting.errors import Refusal
from kitting.models import BagEntry, Event
from kitting.models.bags import LOST, SCRAPPED, TAKEN_BACK
from kitting.roles import STANDARDS_ENGINEER, STOREKEEPER
from kitting.selectors.bag_contents import bare, is_out
from kitting.services.fill_bags import taken_out
from kitting.services.return_bags import write_off
from kitting.services.scans import Answer, Scan, opened, place_of, settled
from kitting.services.undo_scans import number_of_undo

DROPPED, DAMAGED, WRONG, MISSING, NOT_NEEDED = "dropped", "damaged", "wrong", "missing", "no longer needed"
OOPS = (DROPPED, DAMAGED, WRONG, MISSING, NOT_NEEDED)
# What of it is gone for good. A wrong piece, and one that nobody needs, is there still and comes back with the rest.
_GONE = {DROPPED: LOST, DAMAGED: SCRAPPED, MISSING: LOST}
PROBLEM, TOLD_BACK = "piece problem", "oops taken back"
EVENTS = (f"piece {LOST}", f"piece {SCRAPPED}", PROBLEM)
_BACK = {deed: back for back, deed in TAKEN_BACK.items()}


def oops(
    *, bag: str, stock_code: str, lot: str, quantity: int, what: str, note: str = "", **scan: Unpack[Scan]
) -> Answer:
    """Note what happened to pieces of a bag that is out, without blame.

    Args:
        bag: code on its label.
        stock_code, lot, quantity: which pieces, in thousandths.
        what: one of ``OOPS``.
        note: what else there is to say.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``unknown-oops``; ``not-in-bag``; ``not-out``; or the bag's state forbids it.
    """
    if what not in OOPS:
        raise Refusal("unknown-oops", f"Say which: {', '.join(OOPS)}; not {what}.", {"what": what})
    why = f"{what}: {note}" if note else what
    if what in _GONE:
        given = {"bag": bag, "stock_code": stock_code, "lot": lot}
        return write_off(**given, quantity=quantity, deed=_GONE[what], why=why, **scan)
    return _problem(bag=bag, stock_code=stock_code, lot=lot, quantity=quantity, what=what, why=why, **scan)


@use_case
def _problem(
    *, bag: str, stock_code: str, lot: str, quantity: int, what: str, why: str, **scan: Unpack[Scan]
) -> Answer:
    content = {"code": stock_code, "lot": lot, "quantity": quantity, "what": what}
    one = opened(bag, "problem", content, scan, why=why, right="turn in")
    sentence = f"{bare(quantity)} {stock_code} of {one.bag} is {what}: it comes back with the bag."
    if one.repeated:
        return Answer("NOTED", sentence, one.bag, repeated=True)
    if not is_out(one.bag):
        raise Refusal("not-out", f"{one.bag} is {one.bag.state}: nothing of it is with a crew.", {"bag": str(one.bag)})
    [*taken_out(one.contents, stock_code, lot, quantity)]
    told = {"stock_code": stock_code, "lot": lot, "quantity": bare(quantity), "what": what, "why": why}
    role = STANDARDS_ENGINEER if what == WRONG else STOREKEEPER
    settled(one, one.bag.state, PROBLEM, told, addressed_to=role)
    return Answer("NOTED", sentence, one.bag)


@use_case
def _take_back(*, bag: str, undone_action: str, **scan: Unpack[Scan]) -> Answer:
    one = opened(bag, "take back", {"undone": undone_action}, scan, why="pressed by mistake", right="turn in")
    answer = Answer("TAKEN BACK", f"{one.bag}: both stay in the record.", one.bag, repeated=one.repeated)
    if one.repeated:
        return answer
    said = Event.objects.filter(name__in=EVENTS, subject=str(one.bag))
    if not said.filter(data__bag=one.bag.code, data__action=undone_action).exists():
        raise Refusal("cannot-undo", f"That is no oops of {one.bag}: nothing is taken back.", {"action": undone_action})
    if not is_out(one.bag):
        raise Refusal("not-out", f"{one.bag} is {one.bag.state}: it can't be taken back any more.", {})
    entries = [*BagEntry.objects.filter(action__number=undone_action, line__bag=one.bag).select_related("lot", "line")]
    movements = [*Movement.objects.filter(action__number=undone_action).select_related("lot__item")]
    into = place_of(one)
    if movements:
        book(one.action, [Move(lot=moved.lot, quantity=moved.quantity, origin=moved.ending, target=into, reverses=moved)
                          for moved in movements])  # fmt: skip
    for entry in entries:
        one.write(entry.line, entry.lot, _BACK[entry.deed], entry.quantity, facts={"undoes": undone_action})
    settled(one, one.bag.state, TOLD_BACK, {"undone": undone_action})
    return answer


def take_back(*, bag: str, undone_action: str, **scan: Unpack[Scan]) -> Answer:
    """Take an oops back that was pressed by mistake, while the bag is out; both stay in the record.

    Args:
        bag: code on its label.
        undone_action: number of the oops; it gives the number of the new action, so that it is taken back once.
        scan: who and when.

    Raises:
        Refusal: ``cannot-undo``: the number is no oops of this bag; ``not-out``.
    """
    again: Scan = {**scan, "action": number_of_undo(undone_action)}
    return _take_back(bag=bag, undone_action=undone_action, **again)
