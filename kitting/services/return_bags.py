"""What becomes of issued pieces: installed, turned in, scrapped or lost; and closing a bag that balances."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Unpack

from inventory.models import BIN, HOLD, RETURNED, SUPPLIER_OWNED, Item, Lot, Place
from inventory.models import INSTALLED as INSTALLED_ENDING
from inventory.models import LOST as LOST_ENDING
from inventory.models import SCRAPPED as SCRAPPED_ENDING
from inventory.selectors.finding import items_by_code, local_day, open_holds
from inventory.services.actions import use_case
from inventory.services.booking import Move, book
from inventory.services.rules import check as allowed
from inventory.services.rules import one_depot
from jobs.models import CANCELLED, COMPLETE
from kitting.calculation.bag_states import CANCEL, CLOSE, CLOSED, INSTALL, TURN_IN, WRITE_OFF
from kitting.errors import Refusal
from kitting.models import Bag, Recipe
from kitting.models.bags import INSTALLED, LOST, ON_PAPER, SCRAPPED, TURNED_IN
from kitting.roles import DO, STANDARDS_ENGINEER
from kitting.selectors.bag_contents import LineStand, bare, contents_of, is_good
from kitting.selectors.fit_margins import fit_margin, measured_fit
from kitting.services.fill_bags import taken_out
from kitting.services.record_events import Happening, record_events
from kitting.services.release_promises import complete_in_place
from kitting.services.scans import Answer, Opened, Scan, advance, opened, place_of, settled

SEALED, OPENED = "sealed", "opened"
STOCK, INSPECT, SCRAP, SUPPLIER = "stock", "inspect", "scrap", "supplier"
DOORS = (STOCK, INSPECT, SCRAP, SUPPLIER)
# Rubber goods that are cut or stretched to a size; opened ones are looked at before anybody trusts them (common
# practice of stores).
_RUBBER = {"elbow", "fused elbow", "tee", "cable adapter", "splice", "termination", "insulated cap", "jacket seal",
           "rejacketing sleeve"}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Installed:
    """Thousandths of a lot that were fitted for a line; ``phase`` is a letter, or '' for all at once.

    ``gauge`` is what the diameter gauge read over the insulation, with its unit: the fit margin is kept beside it;
    ``remark`` what the crew says of it.
    ``position`` is where they went, for a line that names none: a spare's, or an emergency's. ``on_paper`` is whose
    initials stand on the night card from which it is typed; the moment on the card is the scan's on its device.
    """

    line: str
    stock_code: str
    lot: str
    quantity: int
    phase: str = ""
    gauge: str = ""
    remark: str = ""
    position: str = ""
    on_paper: str = ""

    @property
    def asked(self) -> list[object]:
        """What makes it another action."""
        place = [self.position] if self.position else []
        return [self.line, self.stock_code, self.lot, self.quantity, self.phase, *place]


@use_case
def install(*, bag: str, pieces: Iterable[Installed], **scan: Unpack[Scan]) -> Answer:
    """Note which lot is on which end and phase; the pieces leave the books as installed.

    Raises:
        Refusal: ``unknown-line``; ``not-in-bag`` asks where another lot came from; ``other-phases``;
            ``on-hold``; ``no-gauge-reading``;
            or the bag's state.

    A part that does not fit by its gauge reading is noted all the same, as it is there; standards are told. What
    is typed from paper was done at the moment on the paper.
    """
    given = [*pieces]
    if any(piece.on_paper for piece in given):
        scan["made_at"] = scan.get("device_at")
    content = {"pieces": [one.asked for one in given]}
    one = opened(bag, INSTALL, content, scan, right="as-installed", level=DO)
    if one.repeated:
        return Answer("DONE", f"{one.bag}: noted already.", one.bag, repeated=True)
    state = advance(one, INSTALL)
    stands = [_note(one, piece) for piece in given]
    _book(one, {INSTALLED: INSTALLED_ENDING})
    told: dict[str, object] = {
        "pieces": [f"{bare(piece.quantity)} {piece.stock_code} lot {piece.lot}: {piece.line}" for piece in given]
    }
    outside = [f"{entry.lot.item}: {margin.words}" for entry in one.entries if (margin := fit_margin(entry)).is_outside]
    told |= {"why": "; ".join(outside)} if outside else {}
    settled(one, state, "installed", told, addressed_to=STANDARDS_ENGINEER if outside else "")
    return Answer(_how_much(stands), f"{one.bag}: {len(given)} noted as installed.", one.bag)


def _how_much(stands: Iterable[LineStand]) -> str:
    """How much of what the lines want is fitted by now: ``2 OF 3 DONE``; ``DONE`` for spares, which none wants."""
    lines = {stand.line.pk: stand for stand in stands if not stand.line.spare}.values()
    noted, wanted = sum(one.installed for one in lines), sum(one.line.quantity for one in lines)
    return f"{bare(noted)} OF {bare(wanted)} DONE" if wanted else "DONE"


@use_case
def turn_in(
    *, bag: str, stock_code: str, lot: str, quantity: int, condition: str, door: str, place: Place | None = None,
    why: str = "", **scan: Unpack[Scan],
) -> Answer:  # fmt: skip
    """Bring pieces back from the crew: to stock, to inspection, to scrap or to the supplier.

    Args:
        bag: code on its label.
        stock_code, lot, quantity: what came back, in thousandths.
        condition: ``sealed`` or ``opened``.
        door: where it goes; opened rubber goods go to inspection whatever is asked.
        place: bin, the supplier's place, or for inspection a place of the kind hold.
        why: needed for scrap.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-in-bag``: more than was issued, or another lot; ``wrong-door``; ``needs-reason``;
            ``other-depot``; or the state.
    """
    content = {
        "code": stock_code, "lot": lot, "quantity": quantity, "condition": condition, "door": door,
        "place": place.pk if place else None,
    }  # fmt: skip
    one = opened(bag, TURN_IN, content, scan, why=why, right="turn in")
    if one.repeated:
        return Answer("BACK", f"{one.bag}: booked already.", one.bag, repeated=True)
    state = advance(one, TURN_IN)
    item = items_by_code([stock_code])[stock_code]
    require_door(item, condition=condition, door=door, place=place, why=why)
    if place is not None:
        one_depot([place_of(one), place])
    deed = SCRAPPED if door == SCRAP else TURNED_IN
    for line, found, share in taken_out(one.contents, stock_code, lot, quantity):
        if door == STOCK:
            require_sound(found, local_day(one.bag.depot, scan["at"]))
        one.write(line, found, deed, share, facts={"condition": condition, "door": door, "to": str(place or door)})
    endings = {SCRAPPED: SCRAPPED_ENDING, **({TURNED_IN: RETURNED} if door == SUPPLIER else {})}
    _book(one, endings, place)
    told = {"stock_code": stock_code, "lot": lot, "quantity": bare(quantity), "condition": condition, "door": door}
    settled(one, state, "turned in", {**told, "why": why})
    left = contents_of([one.bag])[one.bag.pk].open()
    word = "BALANCED" if not left else f"{' '.join(left)} STILL OPEN"
    return Answer(word, f"{bare(quantity)} {stock_code} turned in from {one.bag}: {door}.", one.bag)


@use_case
def write_off(
    *, bag: str, stock_code: str, lot: str, quantity: int, deed: str, why: str, **scan: Unpack[Scan]
) -> Answer:
    """The crew says that pieces fell, broke or are gone: ``scrapped`` or ``lost``.

    Raises:
        Refusal: ``unknown-ending``; no reason; ``not-in-bag``; or the bag's state forbids it.
    """
    if deed not in (SCRAPPED, LOST):
        raise Refusal("unknown-ending", f"Pieces are scrapped or lost, not {deed}.", {"deed": deed})
    content = {"code": stock_code, "lot": lot, "quantity": quantity, "deed": deed}
    one = opened(bag, WRITE_OFF, content, scan, why=why, right="turn in")
    if not one.repeated:
        state = advance(one, WRITE_OFF, reason=why)
        for line, found, share in taken_out(one.contents, stock_code, lot, quantity):
            one.write(line, found, deed, share, facts={"why": why})
        _book(one, {SCRAPPED: SCRAPPED_ENDING, LOST: LOST_ENDING})
        told = {"stock_code": stock_code, "lot": lot, "quantity": bare(quantity), "deed": deed, "why": why}
        settled(one, state, f"piece {deed}", told, addressed_to="storekeeper")
    spares = [stand for stand in one.contents.lines if stand.line.spare and stand.open and stand.line.item]
    have = any(stand.line.item and stand.line.item.stock_code == stock_code for stand in spares)
    return Answer("NOTED", "A spare is in the bag." if have else "No spare in the bag.", one.bag, repeated=one.repeated)


@use_case
def close(*, bag: str, exception: str = "", **scan: Unpack[Scan]) -> Answer:
    """Close a bag of which every issued piece is accounted for, or with a named exception.

    Raises:
        Refusal: ``bag-not-ready``: names what is still open; or the bag's state forbids it.
    """
    one = opened(bag, CLOSE, {}, scan, why=exception)
    left = one.contents.open()
    if not one.repeated:
        state = advance(one, CLOSE, reason=exception)
        told = {"open": list(left), "reason": exception} if left else {}
        name = "bag closed with exception" if left else "bag closed"
        settled(one, state, name, told, addressed_to="auditor" if left else "", why=exception)
        _complete(one)
    word, still = ("CLOSED BY EXCEPTION", f"; still open: {', '.join(left)}") if left else ("BALANCED", "")
    return Answer(word, f"{one.bag} is closed{still}.", one.bag, repeated=one.repeated)


@use_case
def cancel_bag(*, bag: str, why: str, **scan: Unpack[Scan]) -> Answer:
    """Give up a bag that has not gone out; its pieces are put back by scan before it closes.

    Raises:
        Refusal: no reason, or the bag's state forbids it.
    """
    one = opened(bag, CANCEL, {}, scan, why=why)
    if not one.repeated:
        settled(one, advance(one, CANCEL, reason=why), "bag cancelled", {"why": why}, why=why)
    left = one.contents.open()
    sentence = f"Put back {', '.join(left)}." if left else "Nothing is in it."
    return Answer("CANCELLED", sentence, one.bag, repeated=one.repeated)


def _note(one: Opened, piece: Installed) -> LineStand:
    """Note pieces of a line; how that line stands then."""
    for stand in one.contents.lines:
        item = stand.line.item
        if item is None or (stand.line.line, item.stock_code) != (piece.line, piece.stock_code):
            continue
        here = stand.line.facts.get("phases", "")
        if here and set(piece.phase) - set(here):
            message = f"{piece.line} has phases {here}, not {piece.phase}."
            raise Refusal("other-phases", message, {"phase": piece.phase, "there": here})
        for number, left in stand.inside.items():
            found = one.contents.lots[number]
            if found.number == piece.lot and left >= piece.quantity > 0:
                facts = {"gauge": piece.gauge, "remark": piece.remark, **measured_fit(item, piece.gauge)}
                more = {"position": piece.position, ON_PAPER: piece.on_paper}
                facts |= {name: text for name, text in more.items() if text}
                one.write(stand.line, found, INSTALLED, piece.quantity, phase=piece.phase, facts=facts)
                stand.inside[number] -= piece.quantity
                stand.done[INSTALLED] += piece.quantity
                return stand
        message = (
            f"Not {bare(piece.quantity)} {piece.stock_code} lot {piece.lot or 'unknown'} left for {piece.line} in "
        )
        raise Refusal("not-in-bag", f"{message}{one.bag}: from where?", {"line": piece.line, "lot": piece.lot})
    raise Refusal("unknown-line", f"{one.bag} has no line {piece.line} with {piece.stock_code}.", {"line": piece.line})


def _book(one: Opened, endings: dict[str, str], place: Place | None = None) -> None:
    """Move the pieces of the entries out of the bag: to their ending, else to the place."""
    moves = [
        Move(
            lot=entry.lot,
            quantity=entry.quantity,
            source=place_of(one),
            ending=endings.get(entry.deed, ""),
            target=None if entry.deed in endings else place,
        )
        for entry in one.entries
    ]
    book(one.action, moves, check=lambda: allowed(moves, one.action.why, one.scan.get("made_at")))


def require_door(item: Item, *, condition: str, door: str, place: Place | None, why: str) -> None:
    """Refuse a door that pieces can't go through as they are.

    Raises:
        Refusal: ``wrong-door``; ``needs-reason``: scrap without one.
    """
    kind = item.kind
    if door not in DOORS or condition not in (SEALED, OPENED):
        raise Refusal("wrong-door", f"Pieces come back sealed or opened, to {', '.join(DOORS)}.", {"door": door})
    if door == STOCK and condition == OPENED and kind in _RUBBER:
        raise Refusal("wrong-door", f"An opened {kind} goes to inspection, never straight to stock.", {"kind": kind})
    wanted = {STOCK: (BIN, SUPPLIER_OWNED), INSPECT: (HOLD,)}.get(door)
    if wanted and (place is None or place.kind not in wanted):
        raise Refusal("wrong-door", f"For {door} name a place of the kind {' or '.join(wanted)}.", {"door": door})
    if not wanted and place is not None:
        raise Refusal("wrong-door", f"Pieces for {door} lie at no place of ours.", {"door": door})
    if door == SCRAP and not why.strip():
        raise Refusal("needs-reason", f"Say why {item.stock_code} is scrapped.", {})


def require_sound(lot: Lot, day: date) -> None:
    """Refuse to put pieces back to stock that must not be used as they are.

    Args:
        lot: of the pieces.
        day: the local day.

    Raises:
        Refusal: ``wrong-door``: the lot is on hold, out of date, or has lost its date; or nobody can read it, though
            its item's lots are followed.
    """
    hold = open_holds([lot]).get((lot.item_id, lot.number))
    if hold is not None:
        why = f"is stopped by hold {hold.pk}: {hold.reason}"
    elif lot.item.lot_tracked and not lot.number:
        why = "can't be told from others"
    elif not is_good(lot, day):
        why = f"is out of date since {lot.use_by}" if lot.use_by else "has no use-by date"
    else:
        return
    message = f"{lot} {why}: not to stock, but to a place of the kind hold, to be inspected."
    raise Refusal("wrong-door", message, {"lot": lot.number})


def _complete(one: Opened) -> None:
    """A job whose bags are all closed is complete; a recipe's never is."""
    job = one.bag.job
    if job.ended in (CANCELLED, COMPLETE) or Bag.objects.filter(job=job).exclude(state=CLOSED).exists():
        return
    if Recipe.objects.filter(job=job).exists():
        return
    told = {"promises_released": complete_in_place(job, at=one.scan["at"])}
    done = Happening("job complete", job.job, told, addressed_to="planner", depot=job.depot)
    record_events([done], by=one.scan["actor"].name, at=one.scan["at"])
