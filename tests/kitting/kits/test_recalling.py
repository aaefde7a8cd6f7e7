"""A recalled lot is stopped everywhere at once, and every piece of it is named."""

from datetime import date, timedelta

import pytest
from bag_stores import CREW, Stores, demo_sheets
from django.db.models import Sum
from module_books import books_of_module
from people import BUYER, DUTY
from refusals import refusal

from inventory.models import Balance, LotHold
from inventory.services.holding import place_hold
from kitting.documents.from_records import lot_trace_of
from kitting.documents.lot_trace import NEEDED
from kitting.models import Event, Promise
from kitting.selectors.bag_contents import accounts
from kitting.selectors.replacement_need import IN_BAGS, PROMISED, replacement_need
from kitting.services.fill_bags import lift, put_back
from kitting.services.issue_bags import begin_work
from kitting.services.recall_lots import recall_lot
from kitting.services.return_bags import Installed, install, turn_in, write_off

pytestmark = pytest.mark.django_db
LOT = {"stock_code": "BI25", "lot": "L-2409-17", "reason": "maker's recall"}


def one_bag_out() -> None:
    """The demo with one insert of the lot on the line at T1 and the rest of its bag with the crew."""
    made = Stores(prefix="before")
    made.plan()
    made.out("J04", "T1")
    code = made.code("J04", "T1")
    begin_work(bag=code, **made.scan(CREW))
    line = next(stand.line.line for stand in made.contents("J04", "T1").lines if "BI25" in str(stand.line.item))
    piece = Installed(line=line, stock_code="BI25", lot="L-2409-17", quantity=1000, phase="A")
    install(bag=code, pieces=[piece], **made.scan(CREW))
    made.bags("J09")
    made.fetch("J09", "HL1")


books = books_of_module(demo_sheets, one_bag_out)


@pytest.fixture
def stores() -> Stores:
    """The stores after that."""
    return Stores()


def test_every_piece_of_the_lot_is_named_and_the_sum_is_what_was_received(stores: Stores) -> None:
    found = recall_lot(**LOT, **stores.scan(DUTY))
    assert (found.received, found.gap) == (25_000, 0)
    assert sum(found.pieces.values()) == found.received
    assert found.pieces["installed"] == 1_000
    assert [(one.structure, one.phases, one.quantity) for one in found.inspect] == [("T1", "A", 1000)]


def test_bags_with_a_piece_stop_and_promises_of_it_are_free_for_another_lot(stores: Stores) -> None:
    before = Promise.objects.filter(lot__number="L-2409-17", released_at=None)
    assert before.exists()
    found = recall_lot(**LOT, **stores.scan(DUTY))
    assert found.bags == ("J09 HL1",)
    assert stores.bag("J09", "HL1").state == "on hold"
    assert set(found.jobs) == {"J04", "J09", "J12"} & set(found.jobs)
    assert "J12" in found.jobs
    assert not before.exists()
    told = set(Event.objects.filter(name="lot recalled").values_list("addressed_to", flat=True))
    assert told >= {"planner", "storekeeper", "buyer", "standards engineer", "duty supervisor", "auditor"}


def test_what_jobs_reserve_and_line_lose_by_a_recall_is_told_to_the_buyer_and_stands_in_the_trace(
    stores: Stores,
) -> None:
    in_bag = stores.counted("J09", "HL1")["BI25"]
    open_ones = Promise.objects.filter(lot__number=LOT["lot"], released_at=None)
    promised = dict(open_ones.values_list("job__job").annotate(Sum("quantity")))
    reserve = Balance.objects.get(place__kind="reserve", lot__number=LOT["lot"])
    scan = stores.scan(DUTY)
    found = recall_lot(**LOT, **scan)
    for_jobs = {(one.job, one.what): one.quantity for one in found.needed if one.job}
    assert for_jobs == {("J09", IN_BAGS): in_bag, **{(job, PROMISED): pieces for job, pieces in promised.items()}}
    assert [(one.quantity, one.what) for one in found.needed if not one.job] == [
        (reserve.quantity, f"for the reserve at {reserve.place}"),
        (1000, "on the line, as far as an inspection refuses them"),
    ]
    told = Event.objects.get(name="lot recalled", addressed_to="buyer").data["replace"]
    assert told == [one.sentence for one in found.needed]
    assert f"{in_bag // 1000} for J09, in its bags, cutover 2026-04-04 05:00" in told
    traced = lot_trace_of(item=reserve.lot.item, lot=LOT["lot"], as_of=scan["at"] + timedelta(1))
    assert (
        sum(line.quantity or 0 for line in traced.lines if line.part == NEEDED)
        == sum(one.quantity for one in found.needed) // 1000
    )
    late = replacement_need(item=reserve.lot.item, number=LOT["lot"], holds=[found.hold], today=date(2027, 1, 1))
    assert {one.job for one in late} == {""}


def test_a_bag_with_the_crew_stops_as_well_and_the_crew_is_told(stores: Stores) -> None:
    bag = stores.bag("J04", "T1")
    lot = next(lot for lot in stores.contents("J04", "T1").lots.values() if lot.item.stock_code == "EL25-1")
    recall_lot(stock_code="EL25-1", lot=lot.number, reason="maker's recall", **stores.scan(DUTY))
    bag.refresh_from_db()
    assert (bag.state, bag.state_before_hold) == ("on hold", "in work")
    told = Event.objects.filter(name="lot recalled", addressed_to="crew lead")
    assert told.count() == 1
    recall_lot(stock_code="CS15-2", lot="L-2303B", reason="maker's recall", **stores.scan(DUTY))
    assert told.count() == 1, "it lies in a bin only"
    recall_lot(**LOT, **stores.scan(DUTY))
    assert told.count() == 2, "trucks carry it"
    assert Event.objects.filter(name="bag on hold", subject="J04 T1").count() == 1


def test_a_recall_needs_the_right_a_known_lot_and_a_reason_and_is_made_once(stores: Stores) -> None:
    assert "may not do this" in refusal("not-allowed", recall_lot, **LOT, **stores.scan(BUYER))
    unknown = {**LOT, "lot": "L-2409-71"}
    assert "L-2409-17" in refusal("unknown-lot", recall_lot, **unknown, **stores.scan(DUTY))
    assert "reason" in refusal("needs-reason", recall_lot, **{**LOT, "reason": " "}, **stores.scan(DUTY)).lower()
    scan = stores.scan(DUTY)
    assert recall_lot(**LOT, **scan).pieces == recall_lot(**LOT, **scan).pieces
    assert LotHold.objects.count() == 1
    assert "stopped already by hold" in refusal("on-hold", recall_lot, **LOT, **stores.scan(DUTY))


def test_a_lot_on_hold_is_recalled_by_its_hold_once_and_only_with_a_reason(stores: Stores) -> None:
    scan = stores.scan(DUTY)
    place_hold(**LOT, by=DUTY.name, at=scan["at"], action=scan["action"])
    hold = LotHold.objects.get()
    assert Promise.objects.filter(lot__number="L-2409-17", released_at=None).exists()

    assert "reason" in refusal("needs-reason", recall_lot, **{**LOT, "reason": " "}, **stores.scan(DUTY)).lower()
    scan = stores.scan(DUTY)
    found, again = recall_lot(**LOT, **scan), recall_lot(**LOT, **scan)

    assert found.hold == again.hold == hold
    assert found.bags == again.bags != ()
    assert not Promise.objects.filter(lot__number="L-2409-17", released_at=None).exists()
    assert "stopped already by hold" in refusal("on-hold", recall_lot, **LOT, **stores.scan(DUTY))


def test_a_held_bag_that_no_crew_has_is_emptied_by_putting_back_and_then_it_is_short_of_what_came_out(
    stores: Stores,
) -> None:
    recall_lot(**LOT, **stores.scan(DUTY))
    code, set_aside = stores.code("J09", "HL1"), stores.place("N", "T-1", "hold")
    held = {"bag": code, "stock_code": LOT["stock_code"], "lot": LOT["lot"], "quantity": 1000}
    back = {**held, "condition": "sealed", "door": "inspect", "place": set_aside}
    assert "no crew has it" in refusal("bag-not-ready", turn_in, **back, **stores.scan())
    gone = refusal("bag-not-ready", write_off, **held, deed="lost", why="fell", **stores.scan())
    assert "no crew has it" in gone
    put_back(**held, place=set_aside, why="recalled", **stores.scan())
    assert "1 BI25" in stores.contents("J09", "HL1").missing()


def test_a_held_piece_that_a_crew_has_comes_back_or_is_gone_and_the_bag_balances(stores: Stores) -> None:
    code = stores.code("J04", "T1")
    lot = next(lot for lot in stores.contents("J04", "T1").lots.values() if lot.item.stock_code == "EL25-1")
    recall_lot(stock_code="EL25-1", lot=lot.number, reason="maker's recall", **stores.scan(DUTY))
    held = {"bag": code, "stock_code": "EL25-1", "lot": lot.number}
    left = accounts(stores.contents("J04", "T1"))["EL25-1", lot.number]["open"]
    set_aside = stores.place("H", "T-1", "hold")
    wrong_way = refusal("bag-not-ready", put_back, **held, quantity=1000, place=set_aside, **stores.scan())
    assert "the crew has it" in wrong_way
    write_off(**held, quantity=1000, deed="lost", why="fell in the sump", **stores.scan(CREW))
    back = {"condition": "sealed", "door": "inspect", "place": set_aside}
    turn_in(**held, quantity=left - 1000, **back, **stores.scan(CREW))
    found = accounts(stores.contents("J04", "T1"))["EL25-1", lot.number]
    assert (found["issued"], found["lost"], found["open"]) == (left, 1000, 0)
    lift(bag=code, **stores.scan())
    assert stores.bag("J04", "T1").state == "in work"
