"""Bring the books to what was counted, unless the difference is a mistake of units on a receipt."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Unpack

from inventory.errors import Refusal
from inventory.models import FOUND, LOST, SUPPLIER_OWNED, Action, Balance, Lot, Place
from inventory.selectors.finding import items_by_code, local_day
from inventory.selectors.locking import locked_balances
from inventory.selectors.receipts import last_receipts
from inventory.selectors.words import quantity_text
from inventory.services.actions import Stamp, begin, use_case
from inventory.services.booking import Move, book, ensure_balances
from inventory.services.doubts import Doubts
from inventory.services.lots import Label, lot_number, lots_of
from inventory.services.rules import refuse_the_road

_ONE = 1000  # thousandths


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """Thousandths of the stock unit that a person counted of a lot at a place; nothing must be said as 0."""

    stock_code: str
    place: Place
    counted: int
    lot: str = ""
    use_by: date | None = None
    supplier_owned: bool = False  # needs saying only away from his own places


@use_case
def adjust(*, counts: Sequence[Count], why: str, confirmed: Collection[str] = (), **stamp: Unpack[Stamp]) -> Action:
    """Book more as found and less as lost, and note the day of the count.

    Args:
        counts: each lot and place once.
        why: the explanation of the differences.
        confirmed: keys of the questions that are answered with yes.
        stamp: who, when, the number of the action.

    Raises:
        Doubt: ``each-or-kit``: books and count differ by exactly what a purchase unit holds, so the receipt is wrong,
            not the shelf; ``same-lot``: only one of label and books has a date; ``new-lot``: the number is not on the
            books.
        Refusal: no reason, something unknown, a lot counted twice at one place, or a count below zero.
    """
    content = {
        "counts": [
            [one.stock_code, one.place.pk, one.counted, one.lot, one.use_by, one.supplier_owned] for one in counts
        ]
    }
    action, repeated = begin("adjust", content, stamp, why)
    if not repeated:
        book_counts(action, counts, why, confirmed)
    return action


def book_counts(action: Action, counts: Sequence[Count], why: str, confirmed: Collection[str] = ()) -> None:
    """Bring the books to what was counted by an action that another use case has begun, in its transaction.

    Raises:
        Doubt, Refusal: as ``adjust``.
    """
    if not why.strip():
        raise Refusal("needs-reason", "Say how the difference is explained.", {})
    refuse_the_road(one.place for one in counts)
    doubts = Doubts(confirmed)
    items = items_by_code(one.stock_code for one in counts)
    labels = [
        Label(line, items[one.stock_code], lot_number(one.lot), one.use_by, _is_the_suppliers(one))
        for line, one in enumerate(counts, 1)
    ]
    pairs = [(one.place, lot) for one, lot in zip(counts, lots_of(labels, doubts, ask_new=True), strict=True)]
    ensure_balances(pairs)
    balances = _balances(pairs)
    _ask_about_units(counts, balances, doubts)
    doubts.settle()
    moves = [_difference(one, balance) for one, balance in zip(counts, balances, strict=True)]
    book(action, [move for move in moves if move is not None])
    for one, balance in zip(counts, balances, strict=True):
        balance.counted_on = local_day(one.place.depot, action.at)
    Balance.objects.bulk_update(balances, ["counted_on"])


def _is_the_suppliers(count: Count) -> bool:
    return count.supplier_owned or count.place.kind == SUPPLIER_OWNED


def _balances(pairs: Sequence[tuple[Place, Lot]]) -> list[Balance]:
    """The balance of each line, locked."""
    found = locked_balances((place.pk, lot.pk) for place, lot in pairs)
    if len(found) < len(pairs):
        raise Refusal("counted-twice", "A lot is counted twice at one place: add the two counts.", {})
    balances = []
    for place, lot in pairs:
        balance = found[(place.pk, lot.pk)]
        balance.place, balance.lot = place, lot
        balances.append(balance)
    return balances


def _ask_about_units(counts: Sequence[Count], balances: Sequence[Balance], doubts: Doubts) -> None:
    asked = {}
    for line, (count, balance) in enumerate(zip(counts, balances, strict=True), 1):
        factor = balance.lot.item.per_purchase_unit
        if not factor or factor == _ONE or not balance.quantity or not count.counted:
            continue
        if count.counted * _ONE == balance.quantity * factor or count.counted * factor == balance.quantity * _ONE:
            asked[line] = (count, balance, factor)
    receipts = last_receipts([(balance.place_id, balance.lot_id) for _, balance, _ in asked.values()])
    for line, (count, balance, factor) in asked.items():
        unit = balance.lot.item.stock_unit
        kit = f"{balance.lot.item.purchase_unit or 'purchase unit'} of {quantity_text(factor, unit)}"
        receipt = receipts.get((balance.place_id, balance.lot_id))
        doubts.ask(
            "each-or-kit",
            line,
            f"{balance}: {quantity_text(count.counted, unit)} counted, {quantity_text(balance.quantity, unit)} on the "
            f"books, exactly one {kit}: {unit} taken for {kit}{f' on receipt {receipt}' if receipt else ''}? "
            "Then put the receipt right, not the count.",
        )


def _difference(count: Count, balance: Balance) -> Move | None:
    if count.counted < 0:
        raise Refusal("below-zero", f"{balance}: nothing is counted as 0, and never less.", {"counted": count.counted})
    over = count.counted - balance.quantity
    if not over:
        return None
    if over > 0:
        return Move(lot=balance.lot, quantity=over, origin=FOUND, target=balance.place)
    return Move(lot=balance.lot, quantity=-over, source=balance.place, ending=LOST)
