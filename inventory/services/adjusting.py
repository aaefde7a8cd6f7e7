"""Bring the books to what was counted, unless the difference is a mistake of units on a receipt."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Unpack

from inventory.errors import Refusal
from inventory.models import FOUND, LOST, SUPPLIER_OWNED, Action, Balance, Lot, Place
from inventory.selectors.counting import is_pack_ratio, pack_text
from inventory.selectors.finding import items_by_code, local_day
from inventory.selectors.locking import locked_balances
from inventory.selectors.receipts import last_receipts
from inventory.selectors.words import quantity_text
from inventory.services.actions import Stamp, begin, use_case
from inventory.services.booking import Move, book, ensure_balances
from inventory.services.doubts import Doubts
from inventory.services.lots import Label, lot_number, lots_of
from inventory.services.rules import refuse_the_road
from inventory.services.whole_pieces import need_whole


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


def book_counts(
    action: Action,
    counts: Sequence[Count],
    why: str,
    confirmed: Collection[str] = (),
    missing_to: Place | None = None,
) -> None:
    """Bring the books to what was counted by an action that another use case has begun, in its transaction.

    What is missing is lost, or stands at ``missing_to`` until somebody has looked for it.

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
    balances = balances_to_count(pairs)
    _ask_about_units(counts, balances, doubts)
    doubts.settle()
    book_counted(
        action,
        [Counted(balance, one.counted, action.at) for one, balance in zip(counts, balances, strict=True)],
        missing_to,
    )


@dataclass(frozen=True, slots=True)
class Counted:
    """Thousandths that are to be on the books of a locked balance, and when a person looked."""

    balance: Balance
    quantity: int
    at: datetime


def book_counted(action: Action, counts: Sequence[Counted], missing_to: Place | None = None) -> None:
    """Book differences as found or lost, in the transaction of the use case that began the action.

    Args:
        action: with the reason of the differences.
        counts: balances of ``balances_to_count``, each once.
        missing_to: where missing pieces stand from now on; None: they are lost.

    Raises:
        Refusal: ``below-zero``.
    """
    moves = [_difference(one, missing_to) for one in counts]
    book(action, [move for move in moves if move is not None], in_parts=True)
    for one in counts:
        day = local_day(one.balance.place.depot, one.at)
        one.balance.counted_on = max(one.balance.counted_on or day, day)
    Balance.objects.bulk_update([one.balance for one in counts], ["counted_on"])


def _is_the_suppliers(count: Count) -> bool:
    return count.supplier_owned or count.place.kind == SUPPLIER_OWNED


def balances_to_count(pairs: Sequence[tuple[Place, Lot]]) -> list[Balance]:
    """The balance of each place and lot, made where there was none, locked until the transaction ends.

    Raises:
        Refusal: ``counted-twice``.
    """
    ensure_balances(pairs)
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
    asked = {
        line: (count, balance)
        for line, (count, balance) in enumerate(zip(counts, balances, strict=True), 1)
        if is_pack_ratio(balance.lot.item, count.counted, balance.quantity)
    }
    receipts = last_receipts([(balance.place_id, balance.lot_id) for _, balance in asked.values()])
    for line, (count, balance) in asked.items():
        unit = balance.lot.item.stock_unit
        kit = pack_text(balance.lot.item)
        receipt = receipts.get((balance.place_id, balance.lot_id))
        doubts.ask(
            "each-or-kit",
            line,
            f"{balance}: {quantity_text(count.counted, unit)} counted, {quantity_text(balance.quantity, unit)} on the "
            f"books, exactly one {kit}: {unit} taken for {kit}{f' on receipt {receipt}' if receipt else ''}? "
            "Then put the receipt right, not the count.",
        )


def _difference(count: Counted, missing_to: Place | None) -> Move | None:
    balance = count.balance
    if count.quantity < 0:
        raise Refusal("below-zero", f"{balance}: nothing is counted as 0, and never less.", {"counted": count.quantity})
    need_whole(balance.lot.item, count.quantity)
    over = count.quantity - balance.quantity
    if not over:
        return None
    if over > 0:
        return Move(lot=balance.lot, quantity=over, origin=FOUND, target=balance.place)
    ending = "" if missing_to else LOST
    return Move(lot=balance.lot, quantity=-over, source=balance.place, target=missing_to, ending=ending)
