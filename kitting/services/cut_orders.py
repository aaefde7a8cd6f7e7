"""What was ordered and is not needed any more: cancel it, reduce it, close it short, keep it or send it back."""

from typing import Unpack

from inventory.models import KEEP, RETURNED, SEND_BACK, Lot, OrderLine, Place
from inventory.selectors.finding import order_lines
from inventory.selectors.locking import lock_balances_of
from inventory.selectors.words import quantity_text
from inventory.services.actions import Stamp, begin, use_case
from inventory.services.booking import Move, book
from inventory.services.rules import check
from kitting.errors import Refusal
from kitting.roles import DO, require
from kitting.selectors.orders import lying_free
from kitting.services.change_orders import WHO_WAITS, need_to_come, own_line, pieces_of, promise_again
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan, stamp_of
from kitting.services.two_persons import need_reason

WAREHOUSE = "warehouse"
_DECIDED = {KEEP: "surplus kept", SEND_BACK: "surplus to go back"}


@use_case
def cut_order(*, order: str, line: str, units: int = 0, why: str, **scan: Unpack[Scan]) -> OrderLine:
    """Order fewer: so many purchase units of what is to come of a line don't come; it nets no need any more.

    All of a line of which nothing came is cancelled, all that is left of another is closed short, less is reduced.

    Args:
        order, line: an order line, or a part of one.
        units: thousandths of the item's purchase unit; 0: all that is to come.
        why: the reason.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``; ``no-reason``; ``unknown-order-line``; ``received-already``;
            ``cut-already``; ``not-whole-units``; ``more-than-open``.
    """
    actor, at = scan["actor"], scan["at"]
    found = own_line(order, line, actor)
    reason = need_reason(why, "An order that is cancelled or reduced")
    _, repeated = begin("cut order", {"order": order, "line": line, "units": units}, stamp_of(scan), reason)
    if repeated:
        return found
    need_to_come(found)
    open_before = found.quantity - found.received
    pieces = pieces_of(found, units) if units else open_before
    found.quantity -= pieces
    found.cut += pieces
    found.version += 1
    found.save(update_fields=("quantity", "cut", "version"))
    waits = promise_again(found, why=f"{found} was cut: {reason}", at=at)
    told = {
        "pieces": quantity_text(pieces, found.item.stock_unit), "why": reason, "stock_code": found.item.stock_code,
        WHO_WAITS: waits,
    }  # fmt: skip
    word = "reduced" if pieces < open_before else "closed short" if found.received else "cancelled"
    happening = Happening(f"order {word}", str(found), told, addressed_to="planner", depot=found.depot.depot)
    record_events([happening], by=actor.name, at=at)
    return found


@use_case
def decide_surplus(*, order: str, line: str, decision: str, why: str, **scan: Unpack[Scan]) -> OrderLine:
    """Decide what becomes of pieces that no job waits for: ``keep`` them as stock, or ``send back`` what has come.

    Stores send it back, and are told.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``; ``no-reason``; ``unknown-order-line``; ``unknown-decision``;
            ``nothing-here``: nothing that came of it lies free.
    """
    actor, at = scan["actor"], scan["at"]
    found = own_line(order, line, actor)
    if decision not in _DECIDED:
        raise Refusal("unknown-decision", f"Pieces are kept or sent back, not {decision!r}.", {"decision": decision})
    reason = need_reason(why, "What becomes of an order")
    _, repeated = begin("decide surplus", {"order": order, "line": line, "decision": decision}, stamp_of(scan), reason)
    if repeated:
        return found
    if decision == SEND_BACK and not lying_free([found])[found.pk]:
        message = f"Nothing that came of {found} lies free: it is promised, used, or has not come."
        raise Refusal("nothing-here", message, {"order": order, "line": line})
    found.surplus, found.surplus_why = decision, reason
    found.version += 1
    found.save(update_fields=("surplus", "surplus_why", "version"))
    told = {"why": reason, "stock_code": found.item.stock_code}
    happening = Happening(_DECIDED[decision], str(found), told, addressed_to="storekeeper", depot=found.depot.depot)
    record_events([happening], by=actor.name, at=at)
    return found


@use_case
def send_back(*, order: str, line: str, place: Place, lot: Lot, quantity: int, **scan: Unpack[Scan]) -> OrderLine:
    """Give pieces that came of an order line back to the supplier, as purchasing decided.

    Args:
        order, line: the order line.
        place, lot: where they lie free, and of which lot.
        quantity: thousandths.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``; ``unknown-order-line``; ``not-decided``: purchasing has not said that
            it goes back; ``more-than-free``: others are promised or gone.
    """
    actor, at = scan["actor"], scan["at"]
    found = order_lines([(order, line)])[(order, line)]
    require(actor, WAREHOUSE, DO, found.depot.depot)
    content = {"order": order, "line": line, "place": place.pk, "lot": lot.pk, "quantity": quantity}
    stamp: Stamp = stamp_of(scan)
    action, repeated = begin("send back", content, stamp, found.surplus_why)
    if repeated:
        return found
    if found.surplus != SEND_BACK:
        message = f"Purchasing has not said that {found} goes back: ask, then send it."
        raise Refusal("not-decided", message, {"order": order, "line": line})
    lock_balances_of([lot])
    here = ((one.quantity, one.balance) for one in lying_free([found])[found.pk])
    free = sum(pieces for pieces, balance in here if (balance.place_id, balance.lot_id) == (place.pk, lot.pk))
    if quantity > free:
        unit = found.item.stock_unit
        message = f"{quantity_text(free, unit)} of {found} lie free at {place}, not {quantity_text(quantity, unit)}."
        raise Refusal("more-than-free", message, {"free": free, "asked": quantity})
    moves = [Move(lot=lot, quantity=quantity, source=place, ending=RETURNED)]
    book(action, moves, check=lambda: check(moves, found.surplus_why))
    pieces = quantity_text(quantity, found.item.stock_unit)
    told = {"pieces": pieces, "lot": lot.number, "why": found.surplus_why, "stock_code": found.item.stock_code}
    happening = Happening("sent back to supplier", str(found), told, addressed_to="buyer", depot=found.depot.depot)
    record_events([happening], by=actor.name, at=at)
    return found
