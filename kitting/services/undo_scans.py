"""Take back what a scan did with pieces of a bag, by another scan the other way round; both stay visible."""

from collections.abc import Collection, Mapping
from typing import Unpack

from inventory.models import Action, LotHold, Movement
from inventory.services.actions import use_case
from inventory.services.reversing import take_back
from kitting.calculation.bag_states import AS_BEFORE, BEGIN, INSTALL, ISSUED, ON_HOLD, PICK, TURN_IN, UNDO, WRITE_OFF
from kitting.calculation.bag_states import PUT_BACK as BACK
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry, Event, Retired
from kitting.selectors.bag_contents import bag_by_code, is_out
from kitting.services.fill_bags import pick, put_back
from kitting.services.job_steps import note_no_outage
from kitting.services.oops import PROBLEM_SCAN
from kitting.services.release_promises import let_go
from kitting.services.scans import Answer, Opened, Scan, advance, opened, settled

UNDONE = "U-"  # begins the number of what takes an action back, so that it is taken back once
PAID_BACK, TAKEN_BACK = "paid back", "taken back"
# What a crew, or stores with what a crew brings, take back by one record: the action of the table of roles each needs.
OF_CREWS: Mapping[str, str] = {
    f"bag {INSTALL}": "as-installed", f"bag {BEGIN}": "as-installed", f"bag {TURN_IN}": "turn in",
    f"bag {WRITE_OFF}": "turn in", f"bag {PROBLEM_SCAN}": "turn in",
}  # fmt: skip
_MISTAKE = "pressed by mistake"


def number_of_undo(action: str) -> str:
    """The number under which an action is taken back."""
    return f"{UNDONE}{action}"


def undone(actions: Collection[str]) -> set[str]:
    """Those of these actions that were taken back; one query."""
    found = Action.objects.filter(number__in=[number_of_undo(one) for one in actions])
    return {number.removeprefix(UNDONE) for number in found.values_list("number", flat=True)}


def undo(*, bag: str, undone_action: str, confirmed: Collection[str] = (), **scan: Unpack[Scan]) -> Answer:
    """Put what was picked back where it was taken, promised as before; or pick again what was put back.

    What was installed, turned in, scrapped or lost is in the bag again, which is as it was before where nothing else
    was done with it since.

    Args:
        bag: code on its label.
        undone_action: number of what is taken back; it gives the number of the new action.
        confirmed: keys of questions answered with yes.
        scan: who and when.

    Raises:
        Doubt: as ``pick``.
        Refusal: ``cannot-undo``: the action did nothing with this bag, or something that no scan takes back, or its
            pieces were taken off the line or are on hold since; ``not-enough``: they have gone on; the bag's state
            forbids it; or as ``pick`` and ``put_back``.
    """
    found = bag_by_code(bag)
    again: Scan = {**scan, "action": number_of_undo(undone_action)}
    deed = Action.objects.filter(number=undone_action).values_list("use_case", flat=True).first() or ""
    if deed in OF_CREWS:
        return _of_crew(bag=bag, undone_action=undone_action, right=OF_CREWS[deed], **again)
    moved = [*Movement.objects.filter(action__number=undone_action).select_related(
        "action", "lot__item", "from_place__depot", "to_place__depot"
    )]  # fmt: skip
    if Event.objects.filter(name=PAID_BACK, data__action=undone_action).exists():
        raise _refused(found, "it paid a borrow back: lend the pieces again")
    if len({(one.lot.item_id, one.lot.number, one.from_place_id, one.to_place_id) for one in moved}) != 1:
        raise _refused(found, "it moved no piece, or pieces of several lots: put them back by scan")
    (one, *_), quantity = moved, sum(movement.quantity for movement in moved)
    code, lot = one.lot.item.stock_code, one.lot.number
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


@use_case
def _of_crew(*, bag: str, undone_action: str, right: str, **scan: Unpack[Scan]) -> Answer:
    one = opened(bag, "take back", {"undone": undone_action}, scan, why=_MISTAKE, right=right)
    answer = Answer("TAKEN BACK", f"{one.bag}: both stay in the record.", one.bag, repeated=one.repeated)
    if one.repeated:
        return answer
    if not Event.objects.filter(subject=str(one.bag), data__bag=one.bag.code, data__action=undone_action).exists():
        raise _refused(one.bag, "that was done with another bag: nothing is taken back")
    state, before = advance(one, UNDO), one.bag.state
    if before == ON_HOLD and not is_out(one.bag):
        raise _refused(one.bag, "stores have it: put the pieces back by scan")
    entries = BagEntry.objects.filter(action__number=undone_action, line__bag=one.bag).order_by("pk")
    for entry in entries.select_related("lot__item", "line"):
        _refuse_what_stands(one.bag, entry)
        one.write_back(entry)
    moves = [*Movement.objects.filter(action__number=undone_action).select_related("to_place", "lot")]
    if moves:
        take_back(one.action, undone_action, _MISTAKE)
    state = _as_before(one, undone_action) if state == AS_BEFORE else state
    settled(one, state, TAKEN_BACK, {"undone": undone_action})
    by, at = scan["actor"].name, scan["at"]
    let_go([(move.to_place_id, move.lot_id) for move in moves if move.to_place_id], why=_MISTAKE, by=by, at=at)
    if state == ISSUED != before:
        note_no_outage(one.bag.job, by=by, at=at)
    return answer


def _refuse_what_stands(bag: Bag, entry: BagEntry) -> None:
    """Pieces that were taken off the line, or that a hold stops where they are, stay as they were noted."""
    if Retired.objects.filter(entry=entry).exists():
        raise _refused(bag, f"{entry.lot} was taken off the line since: that can't be undone any more")
    held = LotHold.objects.filter(released_at=None, item=entry.lot.item, lot_number=entry.lot.number)
    if entry.facts.get("door") and held.exists():
        raise _refused(bag, f"{entry.lot} is on hold since: it stays where it was turned in to")


def _as_before(one: Opened, undone_action: str) -> str:
    """The state to which all that was done with a bag, and is not taken back, has led."""
    told = Event.objects.filter(subject=str(one.bag), data__bag=one.bag.code, data__has_key="after")
    rows = [*told.exclude(name=TAKEN_BACK).order_by("-number").values_list("data", flat=True)]
    back = undone([str(data.get("action", "")) for data in rows]) | {undone_action}
    return next((str(data["after"]) for data in rows if data.get("action", "") not in back), one.bag.state)


def _refused(bag: Bag, why: str) -> Refusal:
    return Refusal("cannot-undo", f"{bag}: {why}.", {"bag": str(bag)})
