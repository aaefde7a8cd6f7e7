"""A staged bag is opened for an emergency only when what is free is gone, and with a name and a day to pay back."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from bag_stores import CREW, NIGHT, Stores, demo_sheets, staged_early
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import BUYER, DUTY, PLANNER, STORES
from refusals import refusal

from inventory.models import Balance, Item, Lot
from kitting.models import AppliedPlan, Bag, BagLine, Borrow, Event, Pin, PlanRow, StandIn
from kitting.selectors.bag_contents import label_code
from kitting.selectors.sources import sources
from kitting.services.borrow_pieces import borrow, give_up_borrow, ledger, pay_back, reasons
from kitting.services.emergency import open_emergency
from kitting.services.fill_bags import pick, put_back
from kitting.services.release_reserve import ask_reserve, release_reserve
from kitting.services.undo_scans import undo

pytestmark = pytest.mark.django_db


books = books_of_module(demo_sheets, staged_early)


@pytest.fixture
def stores() -> Stores:
    """The night of the dig-in."""
    return Stores(NIGHT)


@pytest.fixture
def emergency(stores: Stores) -> str:
    """The code of the bag for Saltmarsh, which wants three splices."""
    found = open_emergency(
        job="E01", structure="Saltmarsh", depot="H", wanted={"CS15-2": 3000}, why="dig-in", **stores.scan(DUTY)
    )
    return label_code(found.bag)


def asked(stores: Stores, emergency: str, **given: Any) -> dict[str, Any]:
    """Three splices from J10's bag, by the storekeeper, with leave of the duty supervisor."""
    return {
        "bag": stores.code("J10", "V9"), "to_bag": emergency, "stock_code": "CS15-2", "lot": "L-2508A",
        "quantity": 3000, "why": "dig-in at Saltmarsh", "authoriser": DUTY, "pay_back_by": date(2026, 4, 9),
        **stores.scan(), **given,
    }  # fmt: skip


def test_free_pieces_near_their_date_are_offered_before_the_staged_bag(stores: Stores) -> None:
    """Trap T15: L-2303B first; J10's bag last."""
    item = Item.objects.get(stock_code="CS15-2")
    found = sources(item=item, depot="H", until=date(2026, 3, 14))
    assert (found[0].kind, found[0].balance.lot.number, found[0].free) == ("near its date", "L-2303B", 3000)
    assert (found[-1].kind, str(found[-1].bag)) == ("staged bag", "J10 V9")
    later = sources(item=item, depot="H", until=date(2026, 4, 11))
    assert "L-2303B" not in {one.balance.lot.number for one in later}
    assert stores.bag("J10", "V9").state == "staged"


def test_a_bag_is_broken_only_when_what_is_free_is_said_to_be_gone(stores: Stores, emergency: str) -> None:
    """Trap T15, where L-2303B is gone: borrow 3 from J10, pay back by 04-09, J10 broken, planner told."""
    question = refusal("to-confirm", borrow, **asked(stores, emergency))
    assert question.startswith("Take these first: 3 of CS15-2 lot L-2303B at H/H-04-2 (near its date")
    assert not Borrow.objects.exists()
    lent = borrow(**asked(stores, emergency, confirmed=("free-first/1",)))
    assert (str(lent), lent.authorised_by, lent.pay_back_by) == (
        "CS15-2 lot L-2508A from J10 V9 to E01", "J. Brandt", date(2026, 4, 9),
    )  # fmt: skip
    assert "3 CS15-2" in stores.contents("J10", "V9").missing()
    assert stores.bag("J10", "V9").state == "broken"
    assert stores.contents("E01", "Saltmarsh").missing() == ()
    told = Event.objects.filter(name="bag broken").values_list("addressed_to", flat=True)
    assert sorted(told) == ["crew lead", "planner", "storekeeper"]
    assert Event.objects.filter(name="spot count wanted", subject="H/H-04-2").exists()


def test_only_what_would_do_in_the_other_bag_is_lent_and_by_a_day_to_come(stores: Stores, emergency: str) -> None:
    gone = {"confirmed": ("free-first/1",)}
    past = asked(stores, emergency, pay_back_by=date(2026, 3, 13), **gone)
    assert "2026-03-13 is past" in refusal("pay-back-past", borrow, **past)
    lot = Lot.objects.filter(number="L-2508A")
    lot.update(use_by=date(2026, 3, 13))
    old = refusal("expires-before-cutover", borrow, **asked(stores, emergency, **gone))
    assert "use by 2026-03-13; E01 needs it good through 2026-03-14" in old
    lot.update(use_by=None)
    assert "has no use-by date" in refusal("expires-before-cutover", borrow, **asked(stores, emergency, **gone))
    assert stores.bag("J10", "V9").state == "staged"


def test_pieces_of_the_reserve_and_of_other_depots_are_offered_before_a_bag_and_no_bin_of_them_is_counted(
    stores: Stores, emergency: str
) -> None:
    fresh = Lot.objects.get(number="L-2508A")
    Balance.objects.filter(lot__number="L-2303B").update(quantity=0)
    for place in (stores.place("H", "H-R-9", "reserve"), stores.place("N", "N-09-9")):
        Balance.objects.create(place=place, lot=fresh, quantity=3000)
    question = refusal("to-confirm", borrow, **asked(stores, emergency))
    offered = [question.index(where) for where in ("H/H-R-9 (reserve", "N/N-09-9 (other depot")]
    assert offered == sorted(offered)
    lent = borrow(**asked(stores, emergency, confirmed=("free-first/1",)))
    assert len(lent.free_first) == 2
    assert not Event.objects.filter(name="spot count wanted").exists()


def test_nothing_goes_from_a_bag_to_another_but_by_a_borrow_nor_from_the_reserve_but_by_its_release(
    stores: Stores, emergency: str
) -> None:
    lender = stores.bag("J10", "V9")
    taken = {"bag": emergency, "stock_code": "CS15-2", "quantity": 1000}
    said = refusal("wrong-place", pick, **taken, lot="L-2508A", place=lender.place, **stores.scan())
    assert "a bag's pieces are borrowed from it" in said
    reserve = stores.place("H", "H-R-2", "reserve")
    asked_for = refusal("wrong-place", pick, **taken, lot="L-2508A", place=reserve, **stores.scan())
    assert "opened by the duty supervisor" in asked_for
    bin_ = stores.place("H", "H-04-2")
    pick(**taken, lot="L-2303B", place=bin_, confirmed=("promised-to-others/1",), **stores.scan())
    for place in (lender.place, reserve, stores.place("H", "truck 9", "truck")):
        refusal("wrong-place", put_back, **taken, lot="L-2303B", place=place, **stores.scan())
    put_back(**taken, lot="L-2303B", place=bin_, **stores.scan())
    truck, by_scan = stores.place("H", "truck 9", "truck"), stores.scan()
    Balance.objects.create(place=truck, lot=Lot.objects.get(number="L-2303B"), quantity=1000)
    pick(**taken, lot="L-2303B", place=truck, confirmed=("other-lot/1",), **by_scan)
    undo(bag=emergency, undone_action=by_scan["action"], **stores.scan())
    assert (stores.bag("J10", "V9").state, stores.contents("E01", "Saltmarsh").open()) == ("staged", ())


def test_an_emergency_has_the_reserve_released_by_the_duty_supervisor_and_picks_it_by_scan(stores: Stores) -> None:
    reserve = Balance.objects.get(place__kind="reserve", place__depot__depot="H", lot__item__stock_code="BI15")
    found = open_emergency(
        job="E01", structure="Saltmarsh", depot="H", wanted={"BI15": 1000}, why="dig-in", **stores.scan(DUTY)
    )
    assert found.sources["BI15"][0].kind == "reserve"
    now, code = stores.scan()["at"], label_code(found.bag)
    want = {"stock_code": "BI15", "depot": "H", "quantity": 1000, "job": "E01", "why": "dig-in"}
    wrong = refusal("not-its-code", ask_reserve, **want, line="E01/x", actor=STORES, at=now)
    assert "its lines: E01/Saltmarsh/emergency/BI15" in wrong
    asked_for = ask_reserve(**want, line="E01/Saltmarsh/emergency/BI15", actor=STORES, at=now)
    given = {"number": asked_for.pk, "place": "H-04-2", "reason": "no other", "at": now}
    refusal("not-allowed", release_reserve, **given, actor=STORES, action="R-1")
    done = release_reserve(**given, actor=DUTY, action="R-2")
    assert done.left == reserve.quantity - 1000
    assert not Pin.objects.filter(job__job="E01").exists()
    assert Event.objects.get(name="reserve released").data["refill"] == "1"
    there = {"lot": reserve.lot.number, "place": stores.place("H", "H-04-2")}
    pick(bag=code, stock_code="BI15", **there, quantity=1000, **stores.scan())
    assert stores.contents("E01", "Saltmarsh").missing() == ()


def test_the_next_plan_shows_what_the_lending_job_lacks(stores: Stores, emergency: str) -> None:
    borrow(**asked(stores, emergency, confirmed=("free-first/1",)))
    balance = Balance.objects.get(lot__number="L-2508A", place__kind="bin")
    balance.quantity = 0
    balance.save()
    stores.plan()
    rows = PlanRow.objects.filter(table="shortages", job="J10").values_list("cells", flat=True)
    assert sum(int(row["short"]) for row in rows if row["stock_code"] == "CS15-2") > 0
    assert AppliedPlan.objects.count() == 2


def test_a_borrow_needs_a_reason_another_persons_leave_and_an_early_day(stores: Stores, emergency: str) -> None:
    gone = {"confirmed": ("free-first/1",)}
    assert "needs a reason" in refusal("no-reason", borrow, **asked(stores, emergency, why=" ", **gone))
    assert "planner or duty supervisor" in refusal(
        "not-allowed", borrow, **asked(stores, emergency, authoriser=STORES, **gone)
    )
    alone = asked(stores, emergency, actor=DUTY, **gone)
    assert "another person authorises" in refusal("own-approval", borrow, **alone)
    assert Event.objects.filter(name="own approval refused").values_list("by", flat=True).get() == DUTY.name
    assert "may not do" in refusal("not-allowed", borrow, **asked(stores, emergency, actor=BUYER, **gone))
    late = refusal("to-confirm", borrow, **asked(stores, emergency, pay_back_by=date(2026, 4, 10), **gone))
    assert late == ("J10 V9 must be ready by 2026-04-09; paid back by 2026-04-10 is too late. Lend all the same?")
    assert "holds 6 CS15-2" in refusal("not-in-bag", borrow, **asked(stores, emergency, quantity=9000, **gone))
    assert stores.bag("J10", "V9").state == "staged"


def test_what_was_lent_stays_on_the_ledger_until_it_is_paid_back(stores: Stores, emergency: str) -> None:
    lent = borrow(**asked(stores, emergency, authoriser=PLANNER, confirmed=("free-first/1",)))
    assert [one.sentence for one in ledger(date(2026, 3, 17))] == [
        "3 CS15-2 for J10 V9, lent to E01 3 days ago (dig-in at Saltmarsh; R. Tolley), due 2026-04-09"
    ]
    item = lent.lot.item
    shelf = stores.place("H", "H-04-2")
    new = Lot.objects.create(item=item, number="L-2602", use_by=date(2029, 2, 28))
    Balance.objects.create(place=shelf, lot=new, quantity=6000)
    back = {"number": lent.pk, "lot": "L-2602", "place": shelf}
    assert "not 4" in refusal("no-open-borrow", pay_back, **back, quantity=4000, **stores.scan())
    asked_first = refusal("to-confirm", pay_back, **back, quantity=1000, **stores.scan())
    assert asked_first == "CS15-2 lot L-2508A was lent; these are of lot L-2602: take them?"
    yes = {**back, "confirmed": ("other-lot/1",)}
    assert pay_back(**yes, quantity=1000, **stores.scan()).sentence == "2 still to come back for J10 V9."
    assert [one.left for one in ledger(date(2026, 3, 17))] == [2000]
    pay_back(**yes, quantity=2000, **stores.scan())
    assert ledger(date(2026, 3, 17)) == []
    assert stores.bag("J10", "V9").state == "picking"
    assert "not 1" in refusal("no-open-borrow", pay_back, **back, quantity=1000, **stores.scan())


def test_another_part_pays_back_only_where_it_stands_in_on_the_list_of_the_lender(
    stores: Stores, emergency: str
) -> None:
    lent = borrow(**asked(stores, emergency, authoriser=PLANNER, confirmed=("free-first/1",)))
    other = Item.objects.get(stock_code="CS25-2")
    lot = Lot.objects.create(item=other, number="L-2603", use_by=date(2029, 2, 28))
    Balance.objects.create(place=stores.place("H", "H-04-2"), lot=lot, quantity=6000)
    back = {"number": lent.pk, "stock_code": "CS25-2", "lot": "L-2603", "place": stores.place("H", "H-04-2")}

    told = refusal("needs-stand-in", pay_back, **back, quantity=1000, **stores.scan())
    assert told == "WRONG ITEM: CS15-2 was lent; CS25-2 needs an approved stand-in on the list of J10 V9."
    StandIn.objects.create(wanted=lent.lot.item, allowed=other, approved_by="I. Varga", reason="14 weeks")
    line = BagLine.objects.filter(bag=lent.bag, item=lent.lot.item)[0]
    BagLine.objects.create(
        bag=lent.bag, line=line.line, position=99, item=other, quantity=1000, instead_of="CS15-2", facts=line.facts
    )
    assert pay_back(**back, quantity=1000, **stores.scan()).word == "PAID BACK"
    assert [one.left for one in ledger(date(2026, 3, 17))] == [2000]
    assert "1 CS25-2" in stores.contents("J10", "V9").open()


def test_the_same_borrow_sent_twice_takes_the_pieces_once(stores: Stores, emergency: str) -> None:
    given = asked(stores, emergency, confirmed=("free-first/1",))
    assert borrow(**given) == borrow(**given)
    assert Borrow.objects.count() == 1


def test_an_emergency_needs_a_new_number_something_to_pick_and_the_right(stores: Stores, emergency: str) -> None:
    given = {"structure": "Saltmarsh", "depot": "H", "why": "dig-in", "wanted": {"CS15-2": 3000}}
    assert emergency
    assert "take another number" in refusal("job-number-used", open_emergency, job="E01", **given, **stores.scan())
    nothing = {**given, "wanted": {}}
    assert "Say what E02 needs" in refusal("moves-nothing", open_emergency, job="E02", **nothing, **stores.scan())
    half = {**given, "wanted": {"CS15-2": 1500}}
    assert "CS15-2 is counted by the piece, so 1.5" in refusal(
        "part-of-a-piece", open_emergency, job="E02", **half, **stores.scan()
    )
    nowhere = {**given, "structure": " "}
    assert "Say where E02 is" in refusal("no-place", open_emergency, job="E02", **nowhere, **stores.scan())
    unknown = {**given, "wanted": {"CS15-9": 1000}}
    assert "CS15-9" in refusal("unknown-stock-code", open_emergency, job="E02", **unknown, **stores.scan())
    assert "no depot Q" in refusal(
        "unknown-depot", open_emergency, job="E02", **{**given, "depot": "Q"}, **stores.scan()
    )
    assert "may not do" in refusal("not-allowed", open_emergency, job="E02", **given, **stores.scan(CREW))
    assert Bag.objects.filter(job__job="E02").count() == 0


def test_looking_for_pieces_asks_the_books_the_same_few_times(stores: Stores) -> None:
    assert stores
    for code in ("CS15-2", "EL15-1"):
        item = Item.objects.get(stock_code=code)
        with CaptureQueriesContext(connection) as queries:
            sources(item=item, depot="H", until=date(2026, 3, 14))
        assert len(queries) == 4


def test_a_borrow_that_will_not_come_back_is_given_up_by_name_and_the_lender_is_really_short(
    stores: Stores, emergency: str
) -> None:
    lent = borrow(**asked(stores, emergency, confirmed=("free-first/1",)))
    assert reasons() == [("dig-in at Saltmarsh", 1, 1)]
    given_up = {"number": lent.pk, "why": "Saltmarsh keeps them"}
    assert "may not approve" in refusal("not-allowed", give_up_borrow, **given_up, **stores.scan(STORES))
    assert "needs a reason" in refusal("no-reason", give_up_borrow, **{**given_up, "why": " "}, **stores.scan(DUTY))
    elsewhere = replace(DUTY, depots=frozenset({"N"}))
    assert "acts for N only" in refusal("other-depot", give_up_borrow, **given_up, **stores.scan(elsewhere))
    scan = stores.scan(PLANNER)
    give_up_borrow(**given_up, **scan)
    give_up_borrow(**given_up, **scan)

    lent.refresh_from_db()
    assert (lent.given_up_why, ledger(date(2026, 3, 16)), reasons()) == (
        "Saltmarsh keeps them", [], [("dig-in at Saltmarsh", 1, 0)],
    )  # fmt: skip
    told = Event.objects.filter(name="borrow given up").values_list("addressed_to", flat=True)
    assert sorted(told) == ["buyer", "planner"]
    assert "nothing is to come back" in refusal("no-open-borrow", give_up_borrow, **given_up, **stores.scan(DUTY))
    assert "3 CS15-2" in stores.contents("J10", "V9").missing()
