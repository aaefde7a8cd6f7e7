"""Fill a bag by scan and have a second person check it."""

from collections.abc import Collection, Iterator, Mapping
from datetime import datetime
from typing import Unpack

from inventory.models import BAG, BIN, HOLD, RESERVE, STAGING, SUPPLIER_OWNED, TRUCK, Balance, Item, Lot, Place
from inventory.selectors.finding import items_by_code, lots_by_number, open_holds
from inventory.services.actions import use_case
from inventory.services.doubts import Doubts
from inventory.services.moving import Carry, carry
from kitting.calculation.bag_states import (
    CANCELLED,
    CHECK,
    FINISH,
    LIFT,
    ON_HOLD,
    PICK,
    PUT_BACK,
    REOPEN,
    REOPENED,
    SHORT,
)  # fmt: skip
from kitting.calculation.quantities import PER_UNIT
from kitting.errors import Refusal
from kitting.models import Bag, BagLine, Promise
from kitting.models.bags import IN_WORDS, PICKED, SHORT_CAUSES
from kitting.models.bags import PUT_BACK as BACK
from kitting.selectors.bag_contents import Contents, bare, good_until, is_good, label_state, lots_inside
from kitting.selectors.exceptions import SHORT_EVENT
from kitting.selectors.expired_uses import NOTHING_LET_GO, expired_uses
from kitting.selectors.promises import promised_at
from kitting.services.list_bags import review
from kitting.services.release_promises import let_go, release, rest_of
from kitting.services.scans import Answer, Opened, Scan, advance, opened, place_of, settled
from kitting.services.two_persons import attempts_kept, need_reason

RIGHT = "RIGHT"
_TAKEN_FROM, _PUT_BACK_TO = (BIN, SUPPLIER_OWNED, STAGING, TRUCK), (BIN, SUPPLIER_OWNED, HOLD)
_OWN_WAYS = {
    BAG: "a bag's pieces are borrowed from it, or put back to a bin first",
    RESERVE: "the reserve is opened by the duty supervisor: ask for it",
    HOLD: "its pieces are set aside: put them back to a bin with a reason first",
}


@use_case
def pick(
    *,
    bag: str,
    stock_code: str,
    lot: str,
    place: Place,
    quantity: int,
    as_spare: bool = False,
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> Answer:
    """Put thousandths of a scanned lot from a place into a bag.

    Args:
        bag: code on its label.
        stock_code, lot: as scanned from the piece or its carton.
        place: where it was taken.
        quantity: thousandths of the stock unit.
        as_spare: the pieces are for the bag's spare lines only.
        confirmed: keys of questions answered with yes.
        scan: who, when, the number of the action. A lot that was put on hold after the scan was made is in the bag all
            the same, and the bag goes on hold.

    Raises:
        Doubt: ``other-lot``: another lot was promised, and this one is still good; ``promised-to-others``: it is
            promised to another job.
        Refusal: ``wrong-place``: pieces leave it another way; ``wrong-item``, ``over-pick``, ``lot-held``,
            ``expires-before-cutover``; or the bag's state forbids it.
    """
    content = {"code": stock_code, "lot": lot, "place": place.pk, "quantity": quantity, "as_spare": as_spare}
    one = opened(bag, PICK, content, scan)
    item = items_by_code([stock_code])[stock_code]
    if one.repeated:
        return Answer(RIGHT, f"{item} is in {one.bag} already.", one.bag, repeated=True)
    state = advance(one, PICK)
    taken = put_in(one, item, lot, place, quantity, as_spare=as_spare, confirmed=confirmed)
    told = {"stock_code": item.stock_code, "lot": taken.number, "quantity": bare(quantity), "from": str(place)}
    settled(one, state, "picked", told, checked_by="")
    if scan.get("made_at") and open_holds([taken, *lots_inside(one.contents)]):
        review(Bag.objects.filter(pk=one.bag.pk), by=scan["actor"].name, at=scan["at"])
        one.bag.refresh_from_db(fields=("state", "state_before_hold", "why", "version"))
        return Answer("ON HOLD", f"{bare(quantity)} {item} in {one.bag}: {one.bag.why}.", one.bag)
    still = sum(stand.missing for stand in one.contents.lines if stand.line.item_id == item.pk) - quantity
    return Answer(RIGHT, f"{bare(quantity)} {item} in {one.bag}; {bare(max(still, 0))} more to come.", one.bag)


def put_in(
    one: Opened,
    item: Item,
    lot: str,
    place: Place,
    quantity: int,
    *,
    as_spare: bool,
    confirmed: Collection[str],
) -> Lot:
    """Move pieces into a bag and note the lines they serve, in the transaction of a scan; returns their lot.

    Raises:
        Doubt, Refusal: as ``pick``.
    """
    if place.kind not in _TAKEN_FROM:
        way = _OWN_WAYS.get(place.kind, f"pieces for a bag are taken from {', '.join(_TAKEN_FROM)}")
        raise Refusal("wrong-place", f"{place} ({place.kind}): {way}.", {"place": str(place)})
    shares = _shares(one, item, quantity, as_spare)
    taken, made_at = _lot_at(item, lot, place), one.scan.get("made_at")
    is_held = refuse_unfit(one.bag, taken, quantity, made_at)
    if not is_held:  # else it lies in the bag already, whatever was promised: the promise moves
        _ask_about_promises(one, shares, taken, place, confirmed)
    moved = Carry(lot=taken, quantity=quantity, source=place, target=place_of(one))
    carry(one.action, [moved], one.action.why, made_at)
    for line, pieces in shares:
        one.write(line, taken, PICKED, pieces, facts={"from": str(place)})
    _keep_promises(one, shares, taken, place)
    let_go([(place.pk, taken.pk)], why=f"picked for {one.bag}", by=one.scan["actor"].name, at=one.scan["at"])
    return taken


@use_case
def put_back(
    *,
    bag: str,
    stock_code: str,
    lot: str,
    place: Place,
    quantity: int,
    why: str = "",
    takes_back: str = "",
    **scan: Unpack[Scan],
) -> Answer:
    """Take pieces out of a bag that stores hold, to a bin or a place of the kind hold.

    Args:
        bag, stock_code, lot, place, quantity: as of ``pick``.
        why: in words.
        takes_back: number of the pick that this undoes; its lines are promised the pieces again, as far as they are
            free, so that the walk leads there.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-in-bag``: so many of this lot are not inside; ``wrong-place``; or the bag's state forbids it.
    """
    content = {"code": stock_code, "lot": lot, "place": place.pk, "quantity": quantity}
    one = opened(bag, PUT_BACK, content, scan, why=why)
    if one.repeated:
        return Answer("BACK", f"{one.bag}: put back already.", one.bag, repeated=True)
    state = advance(one, PUT_BACK)
    back_to = _TAKEN_FROM if takes_back else _PUT_BACK_TO
    if place.kind not in back_to:
        message = f"{place} ({place.kind}): pieces of a bag are put back to {', '.join(back_to)}."
        raise Refusal("wrong-place", message, {"place": str(place)})
    for line, found, pieces in taken_out(one.contents, stock_code, lot, quantity):
        one.write(line, found, BACK, pieces, facts={"to": str(place)})
    carry(
        one.action,
        [Carry(lot=entry.lot, quantity=entry.quantity, source=place_of(one), target=place) for entry in one.entries],
        why or "put back",
    )
    if takes_back:
        _promise_again(one, place, takes_back)
    told = {"stock_code": stock_code, "lot": lot, "quantity": bare(quantity), "to": str(place), "why": why}
    given_up = one.bag.state_before_hold == CANCELLED
    changed = {"checked_by": "", **({"state_before_hold": REOPENED} if state == ON_HOLD and not given_up else {})}
    settled(one, state, "put back", told, **changed)
    return Answer("BACK", f"{bare(quantity)} {stock_code} back at {place}.", one.bag)


@use_case
def finish_short(*, bag: str, cause: str = "", why: str = "", **scan: Unpack[Scan]) -> Answer:
    """Say that all there is has been picked, and why something is missing; the bag and its label name it.

    Args:
        bag: code on its label.
        cause: one of ``SHORT_CAUSES``.
        why: more in words, which the cause ``other`` needs.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``no-cause``; ``no-reason``; nothing is missing, or the bag's state forbids it.
    """
    if cause not in SHORT_CAUSES:
        message = f"Say why it is short: {', '.join(SHORT_CAUSES)}."
        raise Refusal("no-cause", message, {"cause": cause, "causes": [*SHORT_CAUSES]})
    if cause == IN_WORDS:
        need_reason(why, "A short bag for another cause")
    one = opened(bag, FINISH, {"cause": cause}, scan, why=why)
    if not one.repeated:
        state = advance(one, FINISH)
        told = {"missing": list(one.contents.missing()), "cause": cause, "why": why}
        settled(one, state, SHORT_EVENT, told, addressed_to="planner", checked_by="")
    misses = f"{one.bag} misses {', '.join(one.contents.missing())}; another person checks it."
    return Answer(SHORT.upper(), misses, one.bag, repeated=one.repeated)


@attempts_kept
@use_case
def check(*, bag: str, counted: Mapping[str, int], **scan: Unpack[Scan]) -> Answer:
    """A second person counts what is in the bag, without seeing the list.

    Args:
        bag: code on its label.
        counted: thousandths by stock code; what is not named was not found.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``count-differs`` says what is missing or extra; the same person filled it; or a guard doesn't hold.
    """
    one = opened(bag, CHECK, {"counted": dict(counted)}, scan)
    if one.repeated:
        return Answer(label_state(one.contents), f"{one.bag} is checked already.", one.bag, repeated=True)
    state = advance(one, CHECK)
    _refuse_difference(one, counted)
    settled(one, state, "bag checked", {"counted": dict(counted)}, checked_by=scan["actor"].name)
    answer = label_state(one.contents)
    return Answer(answer.partition(":")[0], f"{one.bag}: {answer}.", one.bag)


@use_case
def reopen(*, bag: str, why: str, **scan: Unpack[Scan]) -> Answer:
    """Open a bag that was checked or staged again, so that pieces can go in or come out.

    Raises:
        Refusal: no reason, or the bag's state forbids it.
    """
    one = opened(bag, REOPEN, {}, scan, why=why)
    if not one.repeated:
        settled(one, advance(one, REOPEN, reason=why), "bag reopened", {"why": why}, checked_by="", why=why)
    return Answer("OPEN", label_state(one.contents), one.bag, repeated=one.repeated)


@use_case
def lift(*, bag: str, **scan: Unpack[Scan]) -> Answer:
    """Let a bag on hold go on where it was, once nothing in it is held any more.

    Raises:
        Refusal: a lot in it is still on hold, or the bag's state forbids it.
    """
    one = opened(bag, LIFT, {}, scan)
    if not one.repeated:
        settled(one, advance(one, LIFT), "bag hold lifted", {}, state_before_hold="", why="")
    return Answer("LIFTED", label_state(one.contents), one.bag, repeated=one.repeated)


def taken_out(contents: Contents, stock_code: str, lot: str, quantity: int) -> Iterator[tuple[BagLine, Lot, int]]:
    """Lines, lot and thousandths that leave a bag: what no line wants first, then spares, then the last lines.

    Raises:
        Refusal: ``not-in-bag``.
    """
    item = items_by_code([stock_code])[stock_code]
    wanted = {number for number, found in contents.lots.items() if (found.item_id, found.number) == (item.pk, lot)}
    left = quantity
    stands = [stand for stand in contents.lines if stand.line.item_id == item.pk]
    stands.sort(key=lambda stand: (not stand.too_many, not stand.line.spare, -stand.line.position))
    parts = []
    for stand in stands:
        for number in sorted(wanted):
            pieces = min(stand.inside[number], left)
            if pieces > 0:
                parts.append((stand.line, contents.lots[number], pieces))
                left -= pieces
    if left or quantity <= 0:
        there = bare(quantity - left)
        message = f"{contents.bag} holds {there} {stock_code} lot {lot or 'unknown'}, not {bare(quantity)}."
        raise Refusal("not-in-bag", message, {"bag": str(contents.bag), "there": quantity - left, "wanted": quantity})
    yield from parts


def _lot_at(item: Item, number: str, place: Place) -> Lot:
    """The lot of this number at a place, the supplier's only where it lies there and ours doesn't.

    Raises:
        Refusal: ``unknown-lot``.
    """
    lots = lots_by_number(item=item, number=number)
    if len(lots) == 1:
        return lots[0]
    there = Balance.objects.filter(place=place, lot__in=lots, quantity__gt=0).order_by("lot__use_by", "pk").first()
    return next((lot for lot in lots if there and lot.pk == there.lot_id), lots[0])


def lot_to_put_in(bag: Bag, item: Item, lot: str, place: Place) -> Lot:
    """The lot of this number, if a piece of it at a place may go into a bag.

    Raises:
        Refusal: ``unknown-lot``, ``lot-held``, ``expires-before-cutover``.
    """
    found = _lot_at(item, lot, place)
    refuse_unfit(bag, found, PER_UNIT, None)
    return found


def refuse_unfit(bag: Bag, lot: Lot, quantity: int, made_at: datetime | None) -> bool:
    """Refuse thousandths of a lot that must not go in; True where a hold was placed on it after it went in.

    Raises:
        Refusal: ``lot-held``, ``expires-before-cutover``.
    """
    hold = open_holds([lot]).get((lot.item_id, lot.number))
    is_later = hold is not None and made_at is not None and made_at < hold.placed_at
    if hold and not is_later:
        message = f"HELD: {lot} is stopped by hold {hold.pk}: {hold.reason}."
        raise Refusal("lot-held", message, {"hold": hold.pk, "lot": lot.number, "bag": str(bag)})
    until = good_until(bag.job)
    if is_good(lot, until):
        return is_later
    job = bag.job_id
    signed = expired_uses({job}).get((job, lot.item_id, lot.number), NOTHING_LET_GO)
    if not signed.covers(until, quantity):
        let = signed.pieces(until)
        date = f"use by {lot.use_by}" if lot.use_by else "has no use-by date"
        most = f" {bare(let)} may be used past it, and no more." if let else ""
        message = f"EXPIRES BEFORE CUTOVER: {lot} {date}; {bag.job} needs it good through {until}.{most}"
        data = {"lot": lot.number, "use_by": lot.use_by, "until": until, "bag": str(bag)}
        raise Refusal("expires-before-cutover", message, data)
    return is_later


def _shares(one: Opened, item: Item, quantity: int, as_spare: bool) -> list[tuple[BagLine, int]]:
    """Lines that still want pieces of an item, and how many of these each takes, in the order of the lines."""
    stands = [stand for stand in one.contents.lines if stand.line.item_id == item.pk and not stand.line.dropped]
    if not stands:
        wanted = sorted({str(stand.line.item) for stand in one.contents.lines if stand.missing})
        need = f"need {', '.join(wanted)}" if wanted else "nothing more is needed"
        message = f"WRONG ITEM: this is {item} ({item.called}); {one.bag}: {need}."
        raise Refusal("wrong-item", message, {"is": item.stock_code, "needed": wanted})
    shares: list[tuple[BagLine, int]] = []
    left = quantity
    for stand in sorted(stands, key=lambda stand: (stand.line.spare, stand.line.position)):
        pieces = min(stand.missing, left) if stand.line.spare or not as_spare else 0
        if pieces > 0:
            shares.append((stand.line, pieces))
            left -= pieces
    if left or quantity <= 0:
        message = (
            f"TOO MANY: {one.bag} wants {bare(quantity - left)} more {item}, not {bare(quantity)}: put the rest back."
        )
        raise Refusal("over-pick", message, {"wanted": quantity - left, "scanned": quantity})
    return shares


def _ask_about_promises(
    one: Opened, shares: list[tuple[BagLine, int]], lot: Lot, place: Place, confirmed: Collection[str]
) -> None:
    doubts = Doubts(confirmed)
    lines = {line.line for line, _ in shares}
    quantity = sum(pieces for _, pieces in shares)
    ours = Promise.objects.filter(job=one.bag.job, line__in=lines, item=lot.item, released_at=None, lot__isnull=False)
    numbers = sorted({promise.lot.number for promise in ours.select_related("lot") if promise.lot})
    if numbers and lot.number not in numbers:
        named = ", ".join(number or "unknown" for number in numbers)
        doubts.ask("other-lot", 1, f"WRONG LOT – STILL GOOD: {lot} instead of lot {named}: take it?")
    there = Balance.objects.filter(lot=lot, place=place).values_list("quantity", flat=True).first() or 0
    others = [*Promise.objects.filter(lot=lot, place=place, released_at=None).exclude(job=one.bag.job, line__in=lines)]
    if there >= quantity > there - sum(promise.quantity for promise in others):
        named = ", ".join(sorted({promise.line for promise in others}))
        doubts.ask("promised-to-others", 1, f"{lot} at {place} is promised to {named}: take it all the same?")
    doubts.settle()


def _keep_promises(one: Opened, shares: list[tuple[BagLine, int]], lot: Lot, place: Place) -> None:
    """What lies in the bag is promised no more: the physical piece takes the promise's place, this lot's first."""
    open_ = [*Promise.objects.select_for_update().filter(job=one.bag.job, item=lot.item, released_at=None)]
    kept: list[Promise] = []
    met: list[int] = []
    at = one.scan["at"]
    for line, pieces in shares:
        left = pieces
        mine = [promise for promise in open_ if promise.line == line.line]
        mine.sort(key=lambda promise: ((promise.lot_id, promise.place_id) != (lot.pk, place.pk), promise.pk))
        for promise in mine:
            used = min(left, promise.quantity)
            if used:
                left -= used
                met.append(promise.pk)
                if promise.quantity > used:
                    kept.append(rest_of(promise, promise.quantity - used, at))
    release(Promise.objects.filter(pk__in=met), why=_picked_with(one.action.number), at=at)
    Promise.objects.bulk_create(kept)


def _promise_again(one: Opened, place: Place, pick_action: str) -> None:
    lot = one.entries[0].lot
    if open_holds([lot]):
        return
    free = Balance.objects.get(place=place, lot=lot).quantity - promised_at(place=place, lot=lot)[place.pk, lot.pk]
    met = Promise.objects.filter(released_why=_picked_with(pick_action)).order_by("-pk")
    before = {promise.line: promise for promise in met}
    for entry in one.entries:
        promise, quantity = before.get(entry.line.line), min(entry.quantity, free)
        if promise and quantity > 0:
            free -= quantity
            again = rest_of(promise, quantity, one.scan["at"])
            again.lot, again.place, again.order_line = lot, place, None
            again.save(force_insert=True)


def _picked_with(action: str) -> str:
    """Why a promise was released whose pieces an action of this number put into a bag."""
    return f"picked with action {action}"


def _refuse_difference(one: Opened, counted: Mapping[str, int]) -> None:
    inside: dict[str, int] = {}
    kinds: dict[str, str] = {}
    for stand in one.contents.lines:
        if stand.line.item and (stand.open or stand.missing):
            code = stand.line.item.stock_code
            inside[code] = inside.get(code, 0) + stand.open
            kinds[code] = stand.line.item.kind
    items = items_by_code(counted)
    found = {items[code].stock_code: number for code, number in counted.items()}
    missing = [
        f"MISSING {bare(number - found.get(code, 0))} {kinds[code]} ({code})"
        for code, number in sorted(inside.items())
        if found.get(code, 0) < number
    ]
    extra = [
        f"EXTRA {bare(number - inside.get(code, 0))} {code}"
        for code, number in sorted(found.items())
        if number > inside.get(code, 0)
    ]
    if missing or extra:
        raise Refusal(
            "count-differs", f"{one.bag}: {'; '.join(missing + extra)}.", {"missing": missing, "extra": extra}
        )
