"""The reorder sheet is sent once; what it names is on order, and a new day that a supplier gives is told."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from bag_stores import Stores, demo_sheets, planned
from module_books import books_of_module
from people import BUYER, STORES
from refusals import refusal

from inventory.models import Depot, OrderLine
from inventory.services.receiving import Arrival, receive
from kitting.models import Event, PlanRow, SentLine
from kitting.selectors.orders import to_give_out
from kitting.services.change_orders import redate_order, split_order
from kitting.services.cut_orders import cut_order, decide_surplus
from kitting.services.send_orders import send_reorder_sheet
from kitting.services.settle_deliveries import settle_deliveries

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)


def test_a_sent_sheet_becomes_order_lines_and_a_second_one_holds_only_what_is_new() -> None:
    stores = Stores()
    asked = PlanRow.objects.filter(table="reorder").count()
    scan = stores.scan(BUYER)
    sheet = send_reorder_sheet(**scan)
    assert send_reorder_sheet(**scan) == sheet
    lines = {(one.item.stock_code, one.depot.depot): one for one in OrderLine.objects.filter(sent_line__sheet=sheet)}
    assert len(lines) == asked
    # Traps T43 and T47: a pack of three with a minimum of six; kits of three.
    assert (lines["EA15-15.3", "M"].quantity, lines["CS25-2", "H"].quantity) == (6000, 6000)
    assert lines["EA15-15.3", "M"].promised == date(2026, 3, 12)  # ten days of lead
    assert "sent already" in refusal("nothing-to-order", send_reorder_sheet, **stores.scan(BUYER))
    stores.plan()
    left = {row["stock_code"] for row in PlanRow.objects.filter(table="reorder").values_list("cells", flat=True)}
    assert left.isdisjoint({"EA15-15.3", "CS25-2"})


def test_a_sheet_of_one_supplier_leaves_the_others_for_the_next() -> None:
    stores = Stores()
    rows = PlanRow.objects.filter(table="reorder").values_list("cells", flat=True)
    suppliers = sorted({row["supplier"] for row in rows})
    first = send_reorder_sheet(suppliers=suppliers[:1], **stores.scan(BUYER))
    assert {line.cells["supplier"] for line in first.lines.all()} == {suppliers[0]}
    if suppliers[1:]:
        second = send_reorder_sheet(**stores.scan(BUYER))
        assert (second.number, {line.cells["supplier"] for line in second.lines.all()}) == (2, set(suppliers[1:]))
    assert SentLine.objects.count() == len(rows)


def test_a_new_day_of_an_order_needs_a_reason_and_the_planner_is_told() -> None:
    stores = Stores()
    new = {"order": "PO-1", "line": "1", "promised": date(2026, 4, 10)}
    assert "needs a reason" in refusal("no-reason", redate_order, **new, why=" ", **stores.scan(BUYER))
    assert "may not do" in refusal("not-allowed", redate_order, **new, why="strike", **stores.scan(STORES))
    unknown = {**new, "order": "PO-9"}
    assert "PO-9/1" in refusal("unknown-order-line", redate_order, **unknown, why="strike", **stores.scan(BUYER))
    assert redate_order(**new, why="strike", **stores.scan(BUYER)).promised == date(2026, 4, 10)
    event = Event.objects.get(name="order re-dated")
    assert (event.addressed_to, event.data["before"], event.data["after"]) == ("planner", "2026-03-18", "2026-04-10")
    OrderLine.objects.filter(order__number="PO-1").update(received=24_000)
    assert "has come already" in refusal("received-already", redate_order, **new, why="strike", **stores.scan(BUYER))


def test_a_buyer_for_some_depots_orders_and_changes_for_these_and_a_buyer_without_any_for_all() -> None:
    """By the table a buyer buys for every depot; whoever was given depots does so for them only, wherever it is."""
    stores = Stores()
    at_n, at_m, at_h = (replace(BUYER, depots=frozenset({depot})) for depot in "NMH")
    redate = {"order": "PO-1", "line": "1", "promised": date(2026, 4, 10), "why": "strike"}
    split = {"order": "PO-1", "line": "1", "units": 9000, "promised": date(2026, 4, 20), "why": "9 later"}
    cut = {"order": "PO-1", "line": "1", "units": 1000, "why": "fewer"}
    keep = {"order": "PO-1", "line": "1", "decision": "keep", "why": "next year"}
    for act, given in ((redate_order, redate), (split_order, split), (cut_order, cut), (decide_surplus, keep)):
        assert "acts for M only, not for N" in refusal("other-depot", act, **given, **stores.scan(at_m))
        act(**given, **stores.scan(at_n))
    asked = {row["depot"] for row in PlanRow.objects.filter(table="reorder").values_list("cells", flat=True)}
    sent = send_reorder_sheet(**stores.scan(at_m))
    assert asked == {"N", "M", "H"}
    assert {line.cells["depot"] for line in sent.lines.all()} == {"M"}
    assert "acts for M only" in refusal("other-depot", send_reorder_sheet, **stores.scan(at_m))
    rest = [send_reorder_sheet(**stores.scan(buyer)) for buyer in (at_h, BUYER)]
    assert [{line.cells["depot"] for line in one.lines.all()} for one in rest] == [{"H"}, {"N"}]


def test_what_came_is_given_out_where_a_person_acts_and_in_the_same_order_whoever_does_it() -> None:
    stores = Stores()
    arrival = Arrival(
        stock_code="EL25-2", place=stores.place("N", "arrived"), count=15_000, lot="L-9", order="PO-1", line="1"
    )
    came, later = (stores.at + timedelta(hours=hours) for hours in (1, 2))
    receive(depot=Depot.objects.get(depot="N"), arrivals=[arrival], by="M. Osei", at=came, action="in-1")
    assert to_give_out({"M"}) == []
    assert to_give_out({"N"}) == to_give_out() == ["PO-1/1"]
    assert settle_deliveries(by="P. Nakamura", at=later, depots={"M"}) == 0
    assert settle_deliveries(by="P. Nakamura", at=later, depots={"N"}) > 0
    assert to_give_out() == []
