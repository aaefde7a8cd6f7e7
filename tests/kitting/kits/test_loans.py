"""Loans to and from a neighbour have a day of return; what is lent stays ours, what is borrowed is not ours."""

from datetime import timedelta
from typing import Any

import pytest
from bag_stores import CREW, MORNING, Stores, demo_sheets, free_lot, planned
from browsing import browser_of, people, send, words
from module_books import books_of_module
from people import BUYER, PLANNER, STORES
from refusals import refusal

from inventory.models import Balance, Lot, LotHold, Place
from inventory.selectors.rebuilding import unequal_balances
from inventory.selectors.trace import trace
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.models import FROM_NEIGHBOUR, TO_NEIGHBOUR, Event, Loan, Promise
from kitting.selectors.buying import consumed
from kitting.selectors.free_shelf import free_on_shelf
from kitting.selectors.loans import loan_stands, stand_of
from kitting.selectors.sheets import sheets_from_records
from kitting.selectors.stock_sums import FREE, LENT_OUT, spots, sums
from kitting.services.lend_pieces import agree_loan, end_loan, give_back, hand_over
from kitting.services.move_pieces import move_pieces

pytestmark = pytest.mark.django_db
TODAY = MORNING.date()
NEIGHBOUR = "Larkfield Line"


def signed_in() -> None:
    planned()
    people(STORES, PLANNER, BUYER)


books = books_of_module(demo_sheets, signed_in)


@pytest.fixture
def stores() -> Stores:
    return Stores(prefix="loan")


def agreed(stores: Stores, item: str, way: str = TO_NEIGHBOUR, **given: Any) -> Loan:
    asked = {
        "way": way, "neighbour": NEIGHBOUR, "stock_code": item, "depot": "N", "quantity": 2000,
        "back_by": TODAY + timedelta(14), "why": "storm there", **stores.scan(PLANNER), **given,
    }  # fmt: skip
    return agree_loan(**asked)


def test_a_loan_needs_a_day_of_return_ahead_a_reason_and_somebody_who_may(stores: Stores) -> None:
    given = {"stores": stores, "item": "EL15-1"}
    assert "say which" in refusal("no-return-date", agreed, **given, back_by=None)
    assert "is not ahead" in refusal("return-date-past", agreed, **given, back_by=TODAY)
    assert "needs a reason" in refusal("no-reason", agreed, **given, why=" ")
    assert "with whom" in refusal("no-neighbour", agreed, **given, neighbour=" ")
    assert "up to 60 characters" in refusal("no-neighbour", agreed, **given, neighbour=f"{NEIGHBOUR} {'x' * 60}")
    assert "may not" in refusal("not-allowed", agreed, **given, actor=CREW)
    assert agreed(**given, actor=BUYER).back_by == TODAY + timedelta(14)
    assert Event.objects.get(name="loan agreed").addressed_to == "storekeeper"


def test_lent_pieces_leave_the_shelf_stay_ours_and_come_back_once(stores: Stores) -> None:
    shelf, free = free_lot()
    item, lot = shelf.lot.item, shelf.lot
    loan = agreed(stores, item.stock_code)
    before = sums(spots([item], today=TODAY))[item.stock_code, "N"]
    given = {"loan": loan.pk, "place": shelf.place, "lot": lot.number}

    assert "2 more" in refusal("more-than-agreed", hand_over, **given, quantity=3000, **stores.scan())
    assert "may not" in refusal("not-allowed", hand_over, **given, quantity=2000, **stores.scan(PLANNER))
    hold = LotHold.objects.create(item=item, lot_number=lot.number, reason="x", placed_by="Ana", placed_at=stores.at)
    assert "is stopped by hold" in refusal("on-hold", hand_over, **given, quantity=2000, **stores.scan())
    hold.delete()
    scan = stores.scan()
    assert hand_over(**given, quantity=2000, **scan) == hand_over(**given, quantity=2000, **scan)

    there = sums(spots([item], today=TODAY))[item.stock_code, "N"]
    assert (there[FREE], there[LENT_OUT]) == (before[FREE] - 2000, 2000)
    lent = Balance.objects.get(place__kind="lent", lot=lot)
    assert (lent.place.code, stand_of(loan, TODAY).left) == (NEIGHBOUR, 2000)
    found = trace(item=item, number=lot.number)
    assert lent.place in found.places, "a recall finds it there"
    planned_again = plan(read_book(sheets_from_records(TODAY)), as_of=TODAY)
    assert NEIGHBOUR not in set(planned_again.promises["place"])
    assert "page Loans" in refusal(
        "own-way", move_pieces, balance=lent.pk, quantity=1000, to=shelf.place, **stores.scan()
    )

    back = {"loan": loan.pk, "balance": lent.pk, "to": shelf.place}
    assert "are to be given back, not 3" in refusal("more-than-lent", give_back, **back, quantity=3000, **stores.scan())
    assert "bin or" in refusal("wrong-place", give_back, **{**back, "to": None}, quantity=1000, **stores.scan())
    give_back(**back, quantity=2000, **stores.scan())
    assert sums(spots([item], today=TODAY))[item.stock_code, "N"] == before
    assert not stand_of(loan, TODAY).is_open
    assert unequal_balances() == []
    assert free == {one.pk: pieces for one, pieces in free_on_shelf([item.pk], "N")}[shelf.pk]


def test_promised_pieces_are_lent_to_nobody(stores: Stores) -> None:
    promise = Promise.objects.filter(place__depot__depot="N", place__kind="bin", released_at=None, lot__isnull=False)[0]
    shelf = Balance.objects.select_related("place__depot", "lot__item").get(place=promise.place, lot=promise.lot)
    loan = agreed(stores, shelf.lot.item.stock_code, quantity=shelf.quantity)
    given = {"loan": loan.pk, "place": shelf.place, "lot": shelf.lot.number, "quantity": shelf.quantity}
    assert "are promised to jobs" in refusal("promised", hand_over, **given, **stores.scan())


def test_borrowed_pieces_are_not_ours_and_what_was_used_is_given_back_in_kind(stores: Stores) -> None:
    shelf, _ = free_lot()
    item, code = shelf.lot.item, shelf.lot.item.stock_code
    place = Place.objects.create(depot=shelf.place.depot, code="N-X", kind="supplier-owned")
    loan = agreed(stores, code, FROM_NEIGHBOUR)
    given = {"loan": loan.pk, "place": place, "quantity": 2000}
    assert "need their lot" in refusal("no-lot", hand_over, **given, lot="", **stores.scan())
    assert "by a place of the kind supplier-owned" in refusal(
        "wrong-place", hand_over, **{**given, "place": shelf.place}, lot="L-LENT", **stores.scan()
    )
    theirs = Lot.objects.create(item=item, number="L-SUPPLIER", supplier_owned=True)
    assert "another's" in refusal("other-owner", hand_over, **given, lot=theirs.number, **stores.scan())
    hand_over(**given, lot="L-LENT", **stores.scan())
    there = Balance.objects.select_related("lot").get(place=place, lot__number="L-LENT")
    assert (there.lot.supplier_owned, there.quantity) == (True, 2000)

    give_back(loan=loan.pk, balance=there.pk, quantity=1000, **stores.scan())
    Balance.objects.filter(pk=there.pk).update(quantity=0)  # the other one was used
    give_back(loan=loan.pk, balance=shelf.pk, quantity=1000, **stores.scan())
    assert (stand_of(loan, TODAY).left, Balance.objects.get(pk=shelf.pk).quantity) == (0, shelf.quantity - 1000)
    assert [one for one in consumed() if one[2] == "L-LENT"] == []


def test_the_ledger_shows_ages_what_is_overdue_and_what_was_ended(stores: Stores) -> None:
    shelf, _ = free_lot()
    loan = agreed(stores, shelf.lot.item.stock_code)
    hand_over(loan=loan.pk, place=shelf.place, lot=shelf.lot.number, quantity=2000, **stores.scan())
    (stand,) = loan_stands(today=TODAY + timedelta(15))
    assert (stand.age_days, stand.is_overdue(TODAY + timedelta(14)), stand.is_overdue(TODAY + timedelta(15))) == (
        15, False, True,
    )  # fmt: skip
    assert "needs a reason" in refusal("no-reason", end_loan, loan=loan.pk, why="", **stores.scan(PLANNER))
    assert "may not" in refusal("not-allowed", end_loan, loan=loan.pk, why="sold", **stores.scan())
    end_loan(loan=loan.pk, why="sold to them", **stores.scan(PLANNER))
    assert not loan_stands(today=TODAY + timedelta(15))[0].is_open
    assert Event.objects.get(name="loan ended").data["not given back"] == "2"


def test_a_planner_agrees_on_the_page_and_stores_hand_over_and_take_back() -> None:
    planner, client = browser_of(PLANNER), browser_of(STORES)
    shelf, _ = free_lot()
    typed = {"way": TO_NEIGHBOUR, "neighbour": NEIGHBOUR, "stock_code": shelf.lot.item.stock_code, "quantity": "2",
             "depot": "N", "why": "storm there"}  # fmt: skip
    refused = send(planner, "/loans", **typed)
    assert "say which" in words(refused)
    assert f'value="{NEIGHBOUR}"' in refused.content.decode()
    assert "AGREED" in words(send(planner, "/loans", **typed, back_by="2026-03-20", action="LN-1"))
    page = f"/loans/{Loan.objects.get().pk}"
    assert "1 loan to hand over or overdue" in words(client.get("/"))
    over = {"do": "over", "place": shelf.place.code, "lot": shelf.lot.number, "pieces": "2"}
    assert planner.post(page, over).status_code == 403
    assert "2 to be given back by 2026-03-20" in words(send(client, page, **over, action="LN-2"))
    lent = Balance.objects.get(place__kind="lent")
    back = {"do": "back", "balance": lent.pk, "given": "2", "to": shelf.place.code}
    assert "GIVEN BACK" in words(send(client, page, **back, action="LN-3"))
    ledger = words(planner.get("/loans"))
    assert f"{NEIGHBOUR} agreed by {PLANNER.name} 2 2 2 0 2026-03-20" in ledger
