"""What a crew says of a piece with one tap: dropped, damaged, wrong, missing, not needed."""

from typing import Unpack

from inventory.services.actions import use_case
from kitting.errors import Refusal
from kitting.models.bags import LOST, SCRAPPED
from kitting.roles import STANDARDS_ENGINEER, STOREKEEPER
from kitting.selectors.bag_contents import bare, is_out
from kitting.services.fill_bags import taken_out
from kitting.services.return_bags import write_off
from kitting.services.scans import Answer, Scan, opened, settled

DROPPED, DAMAGED, WRONG, MISSING, NOT_NEEDED = "dropped", "damaged", "wrong", "missing", "no longer needed"
OOPS = (DROPPED, DAMAGED, WRONG, MISSING, NOT_NEEDED)
# What of it is gone for good. A wrong piece, and one that nobody needs, is there still and comes back with the rest.
_GONE = {DROPPED: LOST, DAMAGED: SCRAPPED, MISSING: LOST}
PROBLEM, PROBLEM_SCAN = "piece problem", "problem"
EVENTS = (f"piece {LOST}", f"piece {SCRAPPED}", PROBLEM)


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
    one = opened(bag, PROBLEM_SCAN, content, scan, why=why, right="turn in")
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
