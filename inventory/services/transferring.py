"""Send pieces to another depot and count them there; on the road they lie at a place of their own."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Unpack

from inventory.errors import Doubt, Refusal
from inventory.models import BAG, FOUND, LOST, VAN, Action, Depot, Difference, Lot, Place, Transfer
from inventory.selectors.locking import locked_difference, locked_transfer
from inventory.selectors.words import quantity_text
from inventory.services.actions import Stamp, begin, use_case
from inventory.services.booking import Move, book
from inventory.services.rules import check, one_depot

# How two depots settle a difference.
ARRIVED, STAYED, LOST_ON_THE_ROAD = "arrived later", "never left", "lost on the road"  # pieces missing
SENT_TOO, FOUND_THERE = "sent as well", "found"  # pieces too many


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """Thousandths of a lot that leave a place of the sender."""

    lot: Lot
    quantity: int
    source: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Unload:
    """Thousandths of a lot as counted at the receiver, and where they are put; nothing must be said as 0."""

    lot: Lot
    counted: int
    target: Place


@use_case
def send_transfer(
    *,
    transfer: str,
    to_depot: Depot,
    loads: Sequence[Load],
    why: str = "",
    owner_agrees: bool = False,
    **stamp: Unpack[Stamp],
) -> Action:
    """Load a van: the pieces are on the road until they are counted at the other depot.

    Args:
        transfer: a number of its own, as on its slip.
        to_depot: where it goes.
        loads: what is loaded, all at one depot.
        why: needed where pieces leave the reserve.
        owner_agrees: the supplier lets pieces of his go to another depot.
        stamp: who, when, the number of the action.

    Raises:
        Doubt: ``owner-agrees``: pieces belong to the supplier.
        Refusal: the number is used, places of several depots, a hold, or fewer pieces there than loaded;
            ``goes-whole``: pieces of a bag go only with it.
    """
    bag = next((one.source for one in loads if one.source.kind == BAG), None)
    if bag is not None:
        raise Refusal("goes-whole", f"{bag} is a bag: send it whole by scan, or put its pieces back first.", {})
    content = {
        "transfer": transfer,
        "to_depot": to_depot.pk,
        "loads": [[one.lot.pk, one.quantity, one.source.pk] for one in loads],
    }
    action, repeated = begin("send transfer", content, stamp, why)
    if not repeated:
        load_van(action, transfer=transfer, to_depot=to_depot, loads=loads, why=why, owner_agrees=owner_agrees)
    return action


def load_van(
    action: Action,
    *,
    transfer: str,
    to_depot: Depot,
    loads: Sequence[Load],
    why: str,
    owner_agrees: bool,
    job: str = "",
    structure: str = "",
) -> Transfer:
    """Book the load of a van for an action that another use case has begun, in its transaction.

    ``job`` and ``structure`` say whose bag it is, where all of it stays kept for one on the road.

    Raises:
        Doubt, Refusal: as ``send_transfer``.
    """
    if not loads:
        raise Refusal("moves-nothing", f"Transfer {transfer} is empty.", {"transfer": transfer})
    one_depot([one.source for one in loads])
    sender = loads[0].source.depot
    if sender == to_depot:
        raise Refusal("same-depot", f"Transfer {transfer} stays at {sender}: move the pieces instead.", {})
    theirs = sorted({str(one.lot) for one in loads if one.lot.supplier_owned})
    if theirs and not owner_agrees:
        question = f"{', '.join(theirs)}: the supplier's own; did he agree that it goes to {to_depot}?"
        facts = {"transfer": transfer, "lots": theirs, "questions": {"owner-agrees": question}}
        raise Doubt("owner-agrees", question, facts)
    road, new = Place.objects.get_or_create(depot=to_depot, code=transfer, kind=VAN, job=job, structure=structure)
    if not new:
        raise Refusal("transfer-number-used", f"There is a van or transfer {transfer} already.", {"transfer": transfer})
    van = Transfer.objects.create(number=transfer, from_depot=sender, to_depot=to_depot, place=road, sent=action)
    moves = [Move(lot=one.lot, quantity=one.quantity, source=one.source, target=road) for one in loads]
    book(action, moves, check=lambda: check(moves, why))
    return van


@use_case
def receive_transfer(*, transfer: str, unloads: Sequence[Unload], **stamp: Unpack[Stamp]) -> Action:
    """Count a van out; what is missing stays on the road, what is too much is not booked, and both depots see it.

    Args:
        transfer: its number.
        unloads: every lot of it, those of which nothing came with 0; a lot may go to several places.
        stamp: who, when, the number of the action.

    Raises:
        Refusal: there is no such transfer, it is received already or taken back, a lot of it is not counted, or a place
            is not the receiver's; ``goes-whole``: it is a bag.
    """
    content = {"transfer": transfer, "unloads": [[one.lot.pk, one.counted, one.target.pk] for one in unloads]}
    action, repeated = begin("receive transfer", content, stamp)
    if repeated:
        return action
    known = locked_transfer(transfer)
    if known.received is not None:
        raise Refusal("received-already", f"Transfer {transfer} was received by {known.received.by}.", {})
    if known.taken_back is not None:
        raise Refusal("taken-back", f"Transfer {transfer} was taken back by {known.taken_back.by}.", {})
    if known.place.job:
        raise Refusal("goes-whole", f"Transfer {transfer} is a bag of {known.place.job}: take it in whole by scan.", {})
    _refuse_places_elsewhere(known, unloads)
    sent = {balance.lot: balance.quantity for balance in known.place.balances.select_related("lot__item")}
    counted: Counter[Lot] = Counter()
    for one in unloads:
        counted[one.lot] += one.counted
    not_counted = sorted(str(lot) for lot, quantity in sent.items() if quantity and lot not in counted)
    if not_counted:
        message = f"Not counted: {', '.join(not_counted)}. Say 0 where nothing came."
        raise Refusal("not-counted", message, {"transfer": transfer, "lots": not_counted})
    moves = _unloading(known.place, sent, unloads)
    book(action, moves, check=lambda: check(moves, ""))
    known.received = action
    known.save(update_fields=["received"])
    Difference.objects.bulk_create(
        Difference(transfer=known, lot=lot, sent=sent.get(lot, 0), counted=quantity)
        for lot, quantity in counted.items()
        if quantity != sent.get(lot, 0)
    )
    return action


def unload_whole(action: Action, van: Transfer, target: Place) -> None:
    """Book that all of a load has come, for an action that another use case has begun, in its transaction.

    A bag that was closed is as it was: what has been held meanwhile comes in with it, and goes no further.
    """
    aboard = van.place.balances.filter(quantity__gt=0).select_related("lot__item").order_by("pk")
    book(action, [Move(lot=one.lot, quantity=one.quantity, source=van.place, target=target) for one in aboard])
    van.received = action
    van.save(update_fields=["received"])


def _refuse_places_elsewhere(transfer: Transfer, unloads: Sequence[Unload]) -> None:
    for one in unloads:
        if one.target.depot_id != transfer.to_depot_id or one.counted < 0:
            raise Refusal(
                "not-the-receivers",
                f"Transfer {transfer} is counted out at places of {transfer.to_depot}, nothing less than 0: not "
                f"{quantity_text(one.counted, one.lot.item.stock_unit)} at {one.target}.",
                {"transfer": transfer.number, "place": str(one.target)},
            )


def _unloading(road: Place, sent: dict[Lot, int], unloads: Sequence[Unload]) -> list[Move]:
    """Off the road, in the order of counting, never more than was sent."""
    left = dict(sent)
    moves = []
    for one in unloads:
        taken = min(one.counted, left.get(one.lot, 0))
        if taken:
            left[one.lot] -= taken
            moves.append(Move(lot=one.lot, quantity=taken, source=road, target=one.target))
    return moves


@use_case
def settle_difference(
    *,
    difference: int,
    how: str,
    why: str,
    source: Place | None = None,
    target: Place | None = None,
    **stamp: Unpack[Stamp],
) -> Action:
    """Close a difference between two depots with the movement that explains it.

    Args:
        difference: its number.
        how: missing pieces ``arrived later`` (to a target of the receiver), ``never left`` (to a target of the sender)
            or were ``lost on the road``; pieces too many were ``sent as well`` (from a source of the sender to a target
            of the receiver) or ``found`` (to a target of the receiver).
        why: in words.
        source, target: places, as ``how`` needs them.
        stamp: who, when, the number of the action.

    Raises:
        Refusal: there is no such open difference, ``how`` doesn't explain it, a place is missing or at the wrong depot,
            no reason, or fewer pieces at the source.
    """
    content = {
        "difference": difference,
        "how": how,
        "source": source.pk if source else None,
        "target": target.pk if target else None,
    }
    action, repeated = begin("settle difference", content, stamp, why)
    if repeated:
        return action
    if not why.strip():
        raise Refusal("needs-reason", "Say how the difference is explained.", {"difference": difference})
    known = locked_difference(difference)
    move = _explaining(known, how, source, target)
    book(action, [move], check=lambda: check([move], why))
    known.settled = action
    known.save(update_fields=["settled"])
    return action


def _explaining(difference: Difference, how: str, source: Place | None, target: Place | None) -> Move:
    transfer, lot = difference.transfer, difference.lot
    missing = difference.sent - difference.counted
    if missing > 0 and how == LOST_ON_THE_ROAD and source is None and target is None:
        return Move(lot=lot, quantity=missing, source=transfer.place, ending=LOST)
    at_receiver = target is not None and target.depot_id == transfer.to_depot_id
    at_sender = target is not None and target.depot_id == transfer.from_depot_id
    if missing > 0 and source is None and ((how == ARRIVED and at_receiver) or (how == STAYED and at_sender)):
        return Move(lot=lot, quantity=missing, source=transfer.place, target=target)
    if missing < 0 and how == FOUND_THERE and source is None and at_receiver:
        return Move(lot=lot, quantity=-missing, origin=FOUND, target=target)
    from_sender = source is not None and source.depot_id == transfer.from_depot_id
    if missing < 0 and how == SENT_TOO and from_sender and at_receiver:
        return Move(lot=lot, quantity=-missing, source=source, target=target)
    raise Refusal(
        "does-not-explain",
        f"{difference}: {difference.sent} sent, {difference.counted} counted (thousandths); {how} with these places "
        "doesn't explain that.",
        {"difference": difference.pk, "how": how},
    )
