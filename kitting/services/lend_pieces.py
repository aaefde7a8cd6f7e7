"""Loans to and from neighbours: agreed with a day of return, handed over and given back by stores.

What is lent stays ours and lies at a place of the kind lent; what is borrowed is not ours and lies with the suppliers'
pieces, where planned work of its depot may use it. What was used of it is given back in kind.
"""

from datetime import date
from typing import Unpack

from inventory.models import (
    BIN,
    FROM_SUPPLIER,
    HOLD,
    LENT,
    RETURNED,
    SUPPLIER_OWNED,
    Action,
    Balance,
    Lot,
    Place,
)
from inventory.selectors.finding import depot_named, items_by_code, local_day
from inventory.services.actions import begin, use_case
from inventory.services.booking import Move, book
from inventory.services.doubts import Doubts
from inventory.services.lots import Label, lot_number, lots_of
from inventory.services.moving import Carry, carry
from inventory.services.rules import check
from kitting.errors import Refusal
from kitting.models import FROM_NEIGHBOUR, TO_NEIGHBOUR, Loan, LoanMove
from kitting.roles import DO, STOREKEEPER, require
from kitting.selectors.bag_contents import bare, is_good
from kitting.selectors.loans import lots_with, stand_of
from kitting.services.free_pieces import refuse_promised
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan, stamp_of
from kitting.services.two_persons import need_reason

LOAN, WAREHOUSE = "loan", "warehouse"
_LONGEST_NAME = 60  # characters, as of the place where what is lent to a neighbour lies


@use_case
def agree_loan(
    *,
    way: str,
    neighbour: str,
    stock_code: str,
    depot: str,
    quantity: int,
    back_by: date | None,
    why: str,
    **scan: Unpack[Scan],
) -> Loan:
    """Note that thousandths of an item are lent to a neighbour, or borrowed from one; nothing moves by that.

    Raises:
        Refusal: ``not-allowed``; ``unknown-depot``; ``unknown-stock-code``; ``no-reason``; ``no-neighbour``;
            ``moves-nothing``; ``no-return-date``; ``return-date-past``.
    """
    actor, at = scan["actor"], scan["at"]
    require(actor, LOAN, DO, depot)
    found = depot_named(depot)
    told = need_reason(why, "A loan")
    content = {"way": way, "with": neighbour, "code": stock_code, "depot": depot, "quantity": quantity, "by": back_by}
    action, repeated = begin("agree loan", content, stamp_of(scan), told)
    if repeated:
        return Loan.objects.get(agreed=action)
    item = items_by_code([stock_code])[stock_code]
    named = neighbour.strip()
    if way not in (TO_NEIGHBOUR, FROM_NEIGHBOUR) or not 0 < len(named) <= _LONGEST_NAME:
        message = f"Say with whom, in up to {_LONGEST_NAME} characters, and whether {TO_NEIGHBOUR} or {FROM_NEIGHBOUR}."
        raise Refusal("no-neighbour", message, {})
    if quantity <= 0:
        raise Refusal("moves-nothing", "Say how many.", {})
    if back_by is None:
        raise Refusal("no-return-date", "A loan has a day by which it is given back: say which.", {})
    if back_by <= local_day(found, at):
        raise Refusal("return-date-past", f"{back_by} is not ahead: say a later day of return.", {"by": back_by})
    loan = Loan.objects.create(
        way=way, neighbour=named, item=item, depot=found, quantity=quantity, back_by=back_by, why=told,
        agreed=action,
    )  # fmt: skip
    data = {"pieces": bare(quantity), "back by": back_by, "why": told}
    agreed = Happening("loan agreed", str(loan), data, addressed_to=STOREKEEPER, depot=depot)
    record_events([agreed], by=actor.name, at=at)
    return loan


@use_case
def hand_over(
    *, loan: int, place: Place, lot: str, quantity: int, use_by: date | None = None, **scan: Unpack[Scan]
) -> Action:
    """Book that thousandths of a lot go to the neighbour from a bin, or come from one to a supplier-owned place.

    Args:
        loan: its number.
        place: bin from which ours go, or supplier-owned place to which the neighbour's come.
        lot, use_by: as on the carton; the date only for what comes.
        quantity: thousandths.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``no-open-loan``; ``not-allowed``; ``more-than-agreed``; ``wrong-place``; ``not-there``;
            ``out-of-date``; ``promised``; ``no-lot``; ``other-owner``: the supplier's pieces have this number;
            ``on-hold``; ``not-enough``.
    """
    found = _locked(loan)
    require(scan["actor"], WAREHOUSE, DO, found.depot.depot)
    content = {"loan": loan, "place": place.pk, "lot": lot, "quantity": quantity, "use by": use_by}
    action, repeated = begin("hand over loan", content, stamp_of(scan, str(found)))
    if repeated:
        return action
    left = stand_of(found, local_day(found.depot, scan["at"])).to_hand_over
    if quantity > left:
        message = f"{bare(left)} more {found.item} are agreed to go over, not {bare(quantity)}."
        raise Refusal("more-than-agreed", message, {"left": left})
    wanted = BIN if found.way == TO_NEIGHBOUR else SUPPLIER_OWNED
    _need_place(found, place, wanted)
    if found.way == TO_NEIGHBOUR:
        taken = _lend(action, found, place, lot, quantity)
    else:
        taken = _borrow(
            action, found, place, Label(1, found.item, lot_number(lot), use_by, supplier_owned=True), quantity
        )
    _noted(found, action, taken, quantity, "loan handed over", scan, place)
    return action


def _lend(action: Action, loan: Loan, place: Place, lot: str, quantity: int) -> Lot:
    there = Balance.objects.select_for_update(of=("self",), no_key=True).select_related("lot__item", "place__depot")
    one = there.filter(place=place, lot__item=loan.item, lot__number=lot_number(lot)).order_by("pk").first()
    if one is None:
        raise Refusal("not-there", f"{place} holds no {loan.item} lot {lot or 'unknown'}.", {"place": str(place)})
    if not is_good(one.lot, local_day(loan.depot, action.at)):
        raise Refusal("out-of-date", f"{one.lot} is out of date, or has none: it is lent to nobody.", {})
    refuse_promised([(one, quantity)])
    carry(action, [Carry(lot=one.lot, quantity=quantity, source=place, target=_lent_place(loan))], loan.why)
    return one.lot


def _lent_place(loan: Loan) -> Place:
    place, _ = Place.objects.get_or_create(depot=loan.depot, code=loan.neighbour, kind=LENT)
    return place


def _borrow(action: Action, loan: Loan, place: Place, label: Label, quantity: int) -> Lot:
    if not label.number:
        raise Refusal("no-lot", "Borrowed pieces need their lot: read it from the carton.", {})
    known = Lot.objects.filter(item=loan.item, number=label.number, supplier_owned=True).first()
    if known is not None and known.pk not in lots_with(loan.neighbour):
        message = f"{known} is on the books as another's: pieces of two owners can't be told apart."
        raise Refusal("other-owner", message, {"lot": label.number})
    doubts = Doubts()
    (lot,) = lots_of([label], doubts)
    doubts.settle()
    moves = [Move(lot=lot, quantity=quantity, origin=FROM_SUPPLIER, target=place)]
    book(action, moves, check=lambda: check(moves, loan.why))
    return lot


@use_case
def give_back(*, loan: int, balance: int, quantity: int, to: Place | None = None, **scan: Unpack[Scan]) -> Action:
    """Book that thousandths come back from the neighbour to a bin or to inspection, or go back to them.

    Args:
        loan: its number.
        balance: number of what lies lent; for what goes back, of the borrowed pieces or of ours in a bin, in kind.
        quantity: thousandths.
        to: where they are put; None for what goes back.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``no-open-loan``; ``not-allowed``; ``not-there``; ``more-than-lent``; ``wrong-place``; ``promised``;
            ``not-enough``.
    """
    found = _locked(loan)
    require(scan["actor"], WAREHOUSE, DO, found.depot.depot)
    content = {"loan": loan, "balance": balance, "quantity": quantity, "to": to.pk if to else None}
    action, repeated = begin("give back loan", content, stamp_of(scan, str(found)))
    if repeated:
        return action
    lying = Balance.objects.select_for_update(of=("self",), no_key=True).select_related("lot__item", "place__depot")
    one = lying.filter(pk=balance, lot__item=found.item, place__depot=found.depot).first()
    left = stand_of(found, local_day(found.depot, scan["at"])).left
    if one is None:
        raise Refusal("not-there", f"The books have no such pieces of {found.item} there.", {"balance": balance})
    if quantity > left:
        message = f"{bare(left)} {found.item} of this loan are to be given back, not {bare(quantity)}."
        raise Refusal("more-than-lent", message, {"left": left})
    if found.way == TO_NEIGHBOUR:
        _come_back(action, found, one, quantity, to)
    else:
        _go_back(action, found, one, quantity)
    _noted(found, action, one.lot, quantity, "loan given back", scan, to or one.place, back=True)
    return action


def _come_back(action: Action, loan: Loan, one: Balance, quantity: int, to: Place | None) -> None:
    if to is None or to.kind not in (BIN, HOLD) or one.place_id != _lent_place(loan).pk:
        raise Refusal(
            "wrong-place", f"What comes from {loan.neighbour} is put at a bin or a place of the kind hold.", {}
        )
    carry(action, [Carry(lot=one.lot, quantity=quantity, source=one.place, target=to)], "given back")


def _go_back(action: Action, loan: Loan, one: Balance, quantity: int) -> None:
    theirs = one.lot_id in lots_with(loan.neighbour)
    if one.place.kind not in (BIN, SUPPLIER_OWNED) or one.lot.supplier_owned is not theirs:
        message = f"Give back the pieces of {loan.neighbour}, or as many of ours from a bin."
        raise Refusal("wrong-place", message, {"place": str(one.place)})
    refuse_promised([(one, quantity)])
    moves = [Move(lot=one.lot, quantity=quantity, source=one.place, ending=RETURNED)]
    book(action, moves, check=lambda: check(moves, f"given back to {loan.neighbour}"))


@use_case
def end_loan(*, loan: int, why: str, **scan: Unpack[Scan]) -> Loan:
    """Say that nothing more goes over or comes back, such as that the rest was sold; nothing moves by that.

    Raises:
        Refusal: ``no-open-loan``; ``not-allowed``; ``no-reason``.
    """
    found = _locked(loan)
    require(scan["actor"], LOAN, DO, found.depot.depot)
    told = need_reason(why, "Ending a loan")
    _, repeated = begin("end loan", {"loan": loan}, stamp_of(scan), told)
    if not repeated:
        found.ended_why = told
        found.save(update_fields=("ended_why",))
        left = bare(stand_of(found, local_day(found.depot, scan["at"])).left)
        ended = Happening("loan ended", str(found), {"why": told, "not given back": left}, depot=found.depot.depot)
        record_events([ended], by=scan["actor"].name, at=scan["at"])
    return found


def _locked(number: int) -> Loan:
    loans = Loan.objects.select_for_update(of=("self",)).select_related("item", "depot", "agreed")
    found = loans.filter(pk=number).first()
    if found is None:
        raise Refusal("no-open-loan", f"There is no loan {number}.", {"loan": number})
    return found


def _need_place(loan: Loan, place: Place, kind: str) -> None:
    if place.kind != kind or place.depot_id != loan.depot_id:
        message = f"This loan goes by a place of the kind {kind} of depot {loan.depot}, not by {place} ({place.kind})."
        raise Refusal("wrong-place", message, {"place": str(place)})


def _noted(
    loan: Loan, action: Action, lot: Lot, quantity: int, name: str, scan: Scan, place: Place, *, back: bool = False
) -> None:
    LoanMove.objects.create(loan=loan, action=action, lot=lot, quantity=quantity, back=back)
    told = {"pieces": bare(quantity), "lot": str(lot), "place": str(place), "action": action.number}
    record_events([Happening(name, str(loan), told, depot=loan.depot.depot)], by=scan["actor"].name, at=scan["at"])
