"""The reorder sheet is sent once; what it names is on order, and a new day that a supplier gives is told."""

from datetime import date

import pytest
from bag_stores import Stores, demo_sheets, planned
from module_books import books_of_module
from people import BUYER, STORES
from refusals import refusal

from inventory.models import OrderLine
from kitting.models import Event, PlanRow, SentLine
from kitting.services.change_orders import redate_order
from kitting.services.send_orders import send_reorder_sheet

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
