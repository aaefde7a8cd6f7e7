"""A piece with a lot that is not in its bag: from where it came, and then it is one of the bag's."""

from collections.abc import Collection
from typing import Unpack

from inventory.models import BAG, BIN, FOUND, SUPPLIER_OWNED, TRUCK, Item, Lot, Place
from inventory.selectors.finding import items_by_code
from inventory.services.actions import use_case
from inventory.services.booking import Move, book
from inventory.services.doubts import Doubts
from inventory.services.lots import Label, lot_number, lots_of
from inventory.services.rules import check as allowed
from inventory.services.rules import one_depot
from kitting.calculation.bag_states import OUT
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry, BagLine
from kitting.models.bags import HANDED_BACK, ISSUED, PICKED, PUT_BACK
from kitting.selectors.bag_contents import bare, contents_of, is_out
from kitting.services.fill_bags import taken_out
from kitting.services.release_promises import let_go
from kitting.services.scans import Answer, Opened, Scan, opened, place_of, settled

SOURCES = (BAG, TRUCK, BIN, SUPPLIER_OWNED)


@use_case
def bring_in(
    *,
    bag: str,
    line: str,
    stock_code: str,
    lot: str,
    quantity: int,
    source: Place | None,
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> Answer:
    """Note that pieces of another lot are in a bag that is out, before it is said what became of them.

    What comes from a bin was picked in the place of the lot that the books took: so many of that one lie in the bin
    again, and who was promised the others is promised them no more. What comes from another bag that is out leaves
    that bag. Without a source the pieces are found.

    Args:
        bag: code on its label.
        line: which they serve; '' for the first of the bag with this stock code.
        stock_code, lot, quantity: thousandths, as read from the pieces.
        source: bag, truck or bin of the same depot; None where nobody knows.
        confirmed: keys of questions answered with yes.
        scan: who, when, the number of the action.

    Raises:
        Doubt: ``new-lot``: nobody knows from where, and the number is not on the books.
        Refusal: ``not-out``; ``unknown-line``; ``wrong-source``; ``other-depot``; ``on-hold``; ``not-enough``.
    """
    content = {"line": line, "code": stock_code, "lot": lot, "quantity": quantity, "from": source.pk if source else 0}
    one = opened(bag, "bring in", content, scan, why="another lot than the books took", right="turn in")
    if one.repeated:
        return Answer("NOTED", f"{one.bag}: noted already.", one.bag, repeated=True)
    if not is_out(one.bag):
        raise Refusal("not-out", f"{one.bag} is {one.bag.state}: nothing of it is with a crew.", {"bag": str(one.bag)})
    item = items_by_code([stock_code])[stock_code]
    found = _lot(item, lot, source, confirmed)
    serves = _line(one, item, line)
    moves = _moves(one, serves, found, quantity, source)
    book(one.action, moves, check=lambda: allowed(moves, one.action.why))
    if source is not None:
        let_go([(source.pk, found.pk)], why=f"it went out in {one.bag}", by=scan["actor"].name, at=scan["at"])
    one.write(serves, found, PICKED, quantity, facts={"from": str(source or FOUND)})
    one.write(serves, found, ISSUED, quantity)
    told = {"stock_code": item.stock_code, "lot": found.number, "quantity": bare(quantity), "from": str(source or "")}
    settled(one, one.bag.state, "other lot in bag", told, addressed_to="storekeeper" if source is None else "")
    where = f"from {source}" if source else "nobody knows from where"
    return Answer("NOTED", f"{bare(quantity)} {found} in {one.bag}, {where}.", one.bag)


def _line(one: Opened, item: Item, line: str) -> BagLine:
    found = [stand for stand in one.contents.lines if stand.line.item_id == item.pk and line in ("", stand.line.line)]
    if not found:
        of = f"line {line} with {item}" if line else item
        message = f"{one.bag} has no {of}: hand it in with the bag that it belongs to."
        raise Refusal("unknown-line", message, {"line": line})
    return min(found, key=lambda stand: (stand.line.dropped, -stand.open, stand.line.position)).line


def _lot(item: Item, number: str, source: Place | None, confirmed: Collection[str]) -> Lot:
    if source is None:
        doubts = Doubts(confirmed)
        (found,) = lots_of([Label(1, item, lot_number(number), None)], doubts, ask_new=True)
        doubts.settle()
        return found
    if source.kind not in SOURCES:
        message = f"Pieces with crews come from {', '.join(SOURCES)}, not from {source} ({source.kind})."
        raise Refusal("wrong-source", message, {"place": str(source)})
    there = Lot.objects.filter(item=item, number=lot_number(number), balances__place=source, balances__quantity__gt=0)
    lot = there.select_related("item").order_by("pk").first()
    if lot is None:
        raise Refusal("not-enough", f"{source} holds no {item} lot {number or 'unknown'}.", {"place": str(source)})
    return lot


def _moves(one: Opened, line: BagLine, lot: Lot, quantity: int, source: Place | None) -> list[Move]:
    """What the books move: the pieces into the bag, and what they stand for back into the bin."""
    into = place_of(one)
    if source is None:
        return [Move(lot=lot, quantity=quantity, origin=FOUND, target=into)]
    one_depot([source, into])
    moves = [Move(lot=lot, quantity=quantity, source=source, target=into)]
    if source.kind == BAG:
        _leave_other_bag(one, source, lot, quantity)
    elif source.kind != TRUCK:
        moves += _swapped(one, line, lot, quantity, source)
    return moves


def _leave_other_bag(one: Opened, source: Place, lot: Lot, quantity: int) -> None:
    other = Bag.objects.select_related("job", "depot", "place").select_for_update(of=("self",)).get(place=source)
    if other.state not in OUT or other.pk == one.bag.pk:
        raise Refusal("wrong-source", f"{other} is {other.state}: its pieces are not with a crew.", {"bag": str(other)})
    lender = Opened(other, contents_of([other])[other.pk], one.action, repeated=False, scan=one.scan)
    for line, found, pieces in taken_out(lender.contents, lot.item.stock_code, lot.number, quantity):
        for deed in (HANDED_BACK, PUT_BACK):
            entry = BagEntry(action=one.action, line=line, lot=found, deed=deed, quantity=pieces)
            entry.facts = {"to": str(one.bag)}
            one.entries.append(entry)


def _swapped(one: Opened, line: BagLine, lot: Lot, quantity: int, source: Place) -> list[Move]:
    """The lots that the books took for the line lie in the bin again, as far as they are still in the bag."""
    left, moves = quantity, []
    inside = next(stand.inside for stand in one.contents.lines if stand.line.pk == line.pk)
    for number, there in inside.items():
        pieces, was = min(left, there), one.contents.lots[number]
        if pieces > 0 and was.pk != lot.pk and was.supplier_owned == lot.supplier_owned:
            left -= pieces
            moves.append(Move(lot=was, quantity=pieces, source=place_of(one), target=source))
            for deed in (HANDED_BACK, PUT_BACK):
                one.write(line, was, deed, pieces, facts={"to": str(source)})
    return moves
