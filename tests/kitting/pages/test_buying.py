"""Purchasing's pages: what to order, the sheet as it was sent, what is on order and who waits for it."""

import re
from datetime import date, timedelta
from decimal import Decimal

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import browser_of, paper_text, people, send, words
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import BUYER, CREW, PLANNER, STORES

from inventory.models import Action, Balance, Depot, Item, Lot, Movement, OrderLine
from inventory.services.receiving import Arrival, receive
from jobs.models import CANCELLED, Job
from kitting.models import AppliedPlan, Event, PlanRow, Promise, SentLine, SentSheet
from kitting.services.return_bags import turn_in, write_off
from kitting.services.send_orders import send_reorder_sheet

pytestmark = pytest.mark.django_db


def prepared() -> None:
    planned()
    people()


books = books_of_module(demo_sheets, prepared)
SUPPLIERS = ["Larkfield Supply", "Ostrey Surge Goods", "Penhallow Jointing"]


def plan_number() -> int:
    return AppliedPlan.objects.get().pk


def came(pieces: int, action: str = "in-1") -> None:
    """So many elbows of PO-1 come to N."""
    place = Stores().place("N", "arrived")
    arrival = Arrival(stock_code="EL25-2", place=place, count=pieces * 1000, lot="L-9", order="PO-1", line="1")
    stamp = {"by": STORES.name, "at": Stores().at + timedelta(hours=1), "action": action}
    receive(depot=Depot.objects.get(depot="N"), arrivals=[arrival], **stamp)


def test_what_is_to_be_ordered_stands_under_its_supplier_in_the_units_they_sell() -> None:
    seen = words(browser_of(BUYER).get("/buying"))

    # Traps T42, T43 and T47.
    assert "need 1 ea, order 1 kit of 3 ea (3 ea), 2 over" in seen
    assert "need 3 ea, order 6 ea, 3 over" in seen
    assert "2026-01-08 TOO LATE" in seen
    assert all(name in seen for name in SUPPLIERS)
    assert "4 lines to order, 1 of them TOO LATE" in seen


def test_a_joint_whose_pieces_come_from_two_makers_is_told_to_the_buyer() -> None:
    problem = "J09 HJ1-j: makers differ in this joint: CS25-2 by Aldergate (H/H-04-3); SC-750C by Brimfield (H/H-06-1)"
    cells = {"sheet": "items", "row": "0", "column": "maker", "read": "", "problem": problem, "severity": "note"}
    PlanRow.objects.create(plan=AppliedPlan.objects.get(), table="questions", position=900, cells=cells)

    seen = words(browser_of(BUYER).get("/buying"))

    assert f"ONE MAKER? {problem}." in seen
    assert "NOT ON THE SHEET" not in seen


def test_the_sheet_of_chosen_suppliers_is_sent_once_and_the_next_holds_only_what_is_new() -> None:
    client = browser_of(BUYER)
    form = {"plan": plan_number(), "supplier": SUPPLIERS[2], "action": "P-1"}

    none = send(client, "/buying", plan=plan_number())
    first = send(client, "/buying", **form)
    again = send(client, "/buying", **form)
    rest = send(client, "/buying", plan=plan_number(), supplier=SUPPLIERS, action="P-2")
    empty = send(client, "/buying", plan=plan_number(), supplier=SUPPLIERS, action="P-3")

    assert "tick the suppliers" in words(none)
    assert "SENT 2 lines are on order now" in words(first)
    assert "Reorder sheet 1" in words(again)
    assert "Reorder sheet 2" in words(rest)
    listed = words(client.get("/buying"))
    assert "on sheet 1" in listed
    assert "Nothing to order that is not sent already" in listed
    assert "is to be ordered that is not sent already" in words(empty)
    assert list(SentSheet.objects.order_by("number").values_list("number", flat=True)) == [1, 2]


def test_a_sheet_is_not_sent_for_a_plan_that_nobody_has_looked_at() -> None:
    seen = plan_number()
    Stores(prefix="again").plan()

    told = send(browser_of(BUYER), "/buying", plan=seen, supplier=SUPPLIERS)

    assert f"was applied since you looked at plan {seen}" in words(told)
    assert not SentSheet.objects.exists()


def test_only_a_buyer_sends_and_a_crew_sees_no_purchase_at_all() -> None:
    form = {"plan": plan_number(), "supplier": SUPPLIERS}

    assert browser_of(PLANNER).get("/buying").status_code == 200
    assert send(browser_of(PLANNER), "/buying", **form).status_code == 403
    assert browser_of(CREW).get("/buying").status_code == browser_of(CREW).get("/orders").status_code == 403
    assert "Send the sheet" not in words(browser_of(PLANNER).get("/buying"))
    assert not SentSheet.objects.exists()


def test_an_old_price_is_marked_and_only_shown_to_who_may_see_money() -> None:
    Item.objects.filter(stock_code="BI35L").update(price="41.5", price_date=date(2025, 11, 1))
    Item.objects.filter(stock_code="CS25-2").update(price="99", price_date=date(2026, 2, 1))

    buyer, planner = (words(browser_of(actor).get("/buying")) for actor in (BUYER, PLANNER))

    assert "41.5 2025-11-01, OLDER THAN 90 DAYS" in buyer
    assert "99 2026-02-01 " in buyer
    assert "99 2026-02-01, OLDER" not in buyer
    assert "41.5" not in planner
    assert "Last price" not in planner


def test_a_line_that_no_purchase_unit_counts_is_named_and_blocked() -> None:
    assert "NOT ON THE SHEET" not in words(browser_of(BUYER).get("/buying"))
    Item.objects.filter(stock_code="CS25-2").update(per_purchase_unit=None)
    Stores(prefix="again").plan()

    seen = words(browser_of(BUYER).get("/buying"))

    assert "NOT ON THE SHEET" in seen
    assert "nobody has said how many ea a kit holds" in seen
    assert "Penhallow Jointing: " not in seen


def used(code: str, pieces: int) -> None:
    """So many pieces of an item were installed a month ago."""
    place = Stores().place("N", "N-01-1")
    lot = Lot.objects.get_or_create(item=Item.objects.get(stock_code=code), number="L-USED")[0]
    action = Action.objects.create(
        number="installed", use_case="install", digest="-", by=STORES.name, at=Stores().at - timedelta(days=30)
    )
    Movement.objects.create(
        action=action, line=1, lot=lot, quantity=pieces * 1000, from_place=place, ending="installed"
    )


def test_what_is_bought_beyond_the_need_is_held_against_its_use_before_it_expires() -> None:
    client = browser_of(BUYER)
    Item.objects.filter(stock_code="CS25-2").update(minimum_order=24_000)
    Stores(prefix="again").plan()

    unknown = words(client.get("/buying"))
    used("CS25-2", 3)
    known = words(client.get("/buying"))
    Item.objects.filter(stock_code="CS25-2").update(shelf_months=120)
    lasting = words(client.get("/buying"))

    assert "nobody knows whether 18 are used within 36 months" in unknown
    assert "MAY EXPIRE: 18 more than jobs need, about 9 are used in 36 months" in known
    assert "MAY EXPIRE" not in lasting


def test_the_next_price_break_stands_beside_the_price_and_what_it_buys_beyond_the_need_may_expire() -> None:
    ordered = Decimal(
        PlanRow.objects.filter(table="reorder", cells__stock_code="CS25-2").latest("pk").cells["order_quantity"]
    )
    item = Item.objects.filter(stock_code="CS25-2")
    more = int(ordered) + 2
    item.update(price="100", price_breaks=f"{more}: 10")
    used("CS25-2", 1)
    cheaper = words(browser_of(BUYER).get("/buying"))
    item.update(price_breaks=f"{more}: 99")
    dearer = words(browser_of(BUYER).get("/buying"))

    saved = ordered * 100 - more * 10
    assert f"FROM {more}: 10 each, {more} cost {saved:f} LESS than {ordered:f} · MAY EXPIRE" in cheaper
    assert f"FROM {more}: 99 each" in dearer
    assert "LESS than" not in dearer
    assert "FROM" not in words(browser_of(PLANNER).get("/buying"))
    assert "Price breaks" in words(browser_of(BUYER).get("/items/CS25-2"))
    assert "Price breaks" not in words(browser_of(PLANNER).get("/items/CS25-2"))


def test_a_sent_sheet_keeps_what_was_known_and_its_files_hold_text_that_never_runs() -> None:
    Item.objects.filter(stock_code="BI35L").update(price="41.5", price_date=date(2025, 11, 1))
    PlanRow.objects.filter(table="reorder", cells__stock_code="BI35L").update(
        cells=PlanRow.objects.get(table="reorder", cells__stock_code="BI35L").cells | {"description": "=1+1"}
    )
    send_reorder_sheet(**Stores().scan(BUYER))
    Item.objects.filter(stock_code="BI35L").update(price="77")

    page = words(browser_of(BUYER).get("/buying/sheets/1"))
    table = browser_of(BUYER).get("/buying/sheets/1.csv").content.decode()
    book = browser_of(BUYER).get("/buying/sheets/1.xlsx")
    of_planner = browser_of(PLANNER).get("/buying/sheets/1.csv").content.decode()

    assert "41.5" in page
    assert "77" not in page
    assert "'=1+1" in table
    assert "41.5" in table
    assert book.content.startswith(b"PK")
    assert "RS1-1/1" in of_planner
    assert "41.5" not in of_planner
    assert Event.objects.filter(name="printed", subject__startswith="reorder sheet 1 as csv").count() == 2
    prints = [browser_of(BUYER).post("/buying/sheets/1/print") for _ in range(2)]
    texts = [paper_text(one) for one in (*prints, browser_of(PLANNER).post("/buying/sheets/1/print"))]
    assert ["REPRINT 1" in text for text in texts] == [False, True, False]
    assert ["41.5" in text for text in texts] == [True, True, False]
    assert BUYER.name in texts[0]
    assert browser_of(BUYER).get("/buying/sheets/1/print").status_code == 405
    assert browser_of(BUYER).get("/buying/sheets/2").status_code == 404
    assert browser_of(BUYER).get("/buying/sheets/1.exe").status_code == 404


def test_orders_say_who_waits_in_the_order_of_service_and_what_no_job_waits_for() -> None:
    client = browser_of(BUYER)

    seen = words(client.get("/orders"))
    sheet = send_reorder_sheet(**Stores().scan(BUYER))
    ordered = words(client.get("/orders"))

    assert "J09 12; J12 6" in seen
    assert "Chase these" in seen
    assert "ordered for J11: the next plan promises it" in ordered
    line = SentLine.objects.filter(sheet=sheet, cells__jobs="J11").get().order_line
    assert line
    new = words(client.get(f"/orders/{line.pk}"))
    Stores(prefix="again").plan()
    Promise.objects.filter(order_line=line).update(released_at=Stores().at)
    old = words(client.get(f"/orders/{line.pk}"))
    asks = [("what becomes of it?" in page, "The next plan promises its pieces." in page) for page in (new, old)]
    assert asks == [(False, True), (True, False)]
    assert "ordered for J11; no job waits for it now: keep, return or cancel?" in words(client.get("/orders"))


def test_an_order_that_is_overdue_is_chased_before_more_is_ordered_for_the_job_that_lacks_it() -> None:
    client = browser_of(BUYER)
    sheet = send_reorder_sheet(**Stores().scan(BUYER))
    line = SentLine.objects.filter(sheet=sheet, cells__jobs="J11").get().order_line
    OrderLine.objects.filter(pk=line.pk).update(promised=date(2026, 2, 27))
    Stores(prefix="again").plan()

    orders, buying = words(client.get("/orders")), words(client.get("/buying"))
    chased = orders[: orders.index("All others")]
    assert "J11 lacks 3: ask the supplier for a day in time" in chased
    assert f"{line} " in chased
    assert f"CHASE FIRST: {line} was due 2026-02-27" in buying
    assert "TOO LATE J11 lacks 3" in words(client.get(f"/orders/{line.pk}"))

    Job.objects.filter(job="J11").update(ended=CANCELLED)
    assert "J11 lacks" not in words(client.get("/orders"))


def test_a_delivery_in_parts_goes_by_staged_by_and_the_line_says_who_got_it() -> None:
    """Trap T19: 15 of 24 come; J09 gets 12, J12 gets 3 and waits for 3."""
    client = browser_of(BUYER)
    line = OrderLine.objects.get(order__number="PO-1")
    assert "HAS COME" not in words(client.get("/orders"))
    came(15)
    assert "HAS COME PO-1/1" in words(client.get("/orders"))

    given = send(client, "/orders")
    seen = words(client.get(f"/orders/{line.pk}"))

    assert "J09 gets 12 EL25-2 of PO-1/1; J12 gets 3 EL25-2 of PO-1/1" in words(given)
    assert "HAS COME" not in words(given)
    assert "15 ea L-9 N/arrived" in seen
    assert "J12 3 ea" in seen
    assert "Nothing that has come is free" in words(send(client, "/orders"))
    assert send(browser_of(PLANNER), "/orders").status_code == 403


def test_another_day_is_looked_at_before_it_is_noted_and_needs_a_reason() -> None:
    client = browser_of(BUYER)
    line = OrderLine.objects.get(order__number="PO-1")
    address = f"/orders/{line.pk}"

    asked = send(client, address, change="promised", promised="2026-04-27", why="strike")
    line.refresh_from_db()
    before = line.promised
    wordless = send(client, address, change="promised", promised="2026-04-27", save="yes")
    noted = send(client, address, change="promised", promised="2026-04-27", why="strike", save="yes", action="P-1")
    line.refresh_from_db()

    assert "An order line comes on another day" in words(asked)
    assert "J12" in words(asked)
    assert before == date(2026, 3, 18)
    assert "needs a reason" in words(wordless)
    assert "promised for 2026-04-27 now; the planner is told" in words(noted)
    assert line.promised == date(2026, 4, 27)
    assert Event.objects.get(name="order re-dated").by == BUYER.name
    assert "2026-03-18 2026-04-27 strike P. Nakamura" in words(client.get(address))
    assert "Give the day as" in words(send(client, address, change="promised", promised="soon"))
    assert client.get("/orders/999").status_code == 404


def test_an_order_that_comes_late_is_asked_about_and_nothing_is_noted() -> None:
    client = browser_of(BUYER)
    line = OrderLine.objects.get(order__number="PO-1")

    late = words(send(client, f"/orders/{line.pk}", change="late", days="40"))
    refused = send(client, f"/orders/{line.pk}", change="late", days="-3")
    wrong = words(refused)

    assert "An order comes later" in late
    assert "J09" in late
    assert "'-3' is no number of days" in wrong
    assert 'name="days" value="-3"' in refused.content.decode()
    assert "no number of days up to 3650" in words(send(client, f"/orders/{line.pk}", change="late", days="100000"))
    line.refresh_from_db()
    assert line.promised == date(2026, 3, 18)


def test_a_supplier_may_bill_what_was_used_of_his_pieces_and_nothing_else() -> None:
    client = browser_of(BUYER)
    stores = Stores()
    assert "No piece of a supplier was used" in words(client.get("/buying/used"))
    stores.out("J03", "V1", "V2")
    lot = Lot.objects.get(item__stock_code="LUG-750A", supplier_owned=True)
    theirs = Balance.objects.get(lot=lot, place__kind="supplier-owned").place
    lug = {"stock_code": "LUG-750A", "lot": "", "quantity": 3000}
    for structure in ("V1", "V2"):
        write_off(bag=stores.code("J03", structure), **lug, deed="lost", why="fell", **stores.scan(CREW))
    back = {**lug, "quantity": 1000, "condition": "sealed", "door": "stock", "place": theirs}
    turn_in(bag=stores.code("J03", "V1"), **back, **stores.scan(CREW))

    seen = words(client.get("/buying/used"))
    table = client.get("/buying/used.csv").content.decode()
    assert Event.objects.filter(name="printed", subject__startswith="suppliers-pieces-used as csv").count() == 1

    assert f"{lot.item.supplier} LUG-750A lot unknown J03 6 ea" in seen
    assert re.search(rf"{lot.item.supplier} LUG-750A lot unknown N/\S+ 14 ea 2026-03-02 0 days here", seen)
    assert "J03,6 ea" in table
    assert browser_of(CREW).get("/buying/used.csv").status_code == 403


def test_what_crews_still_have_of_jobs_that_are_done_stands_on_the_page() -> None:
    stores = Stores(prefix="out")
    stores.out("J03", "V2")
    assert "No crew has pieces of a job that is done" in words(browser_of(BUYER).get("/buying"))
    Job.objects.filter(job="J03").update(cutover="2026-02-27 08:00")

    seen = words(browser_of(BUYER).get("/buying"))

    assert "Due back from crews whose job is done" in seen
    assert re.search(r"CA-4 \S.{0,80} 3 ea J03 V2 Crew 14 truck 14 N 2026-02-27 3 days ago", seen)
    assert "it lowers no job's need" in seen


def test_the_first_page_tells_a_buyer_what_waits() -> None:
    assert "4 lines to order 1 of them TOO LATE" in words(browser_of(BUYER).get("/"))
    assert "lines to order" not in words(browser_of(PLANNER).get("/"))


@pytest.mark.parametrize("address", ["/buying", "/orders"])
def test_lists_of_purchasing_ask_the_books_as_often_with_more_lines(address: str) -> None:
    client = browser_of(BUYER)
    client.get(address)
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    send_reorder_sheet(**Stores().scan(BUYER))
    for number in range(20):
        row = PlanRow.objects.filter(table="reorder").first()
        assert row is not None
        PlanRow.objects.create(plan=row.plan, table="reorder", position=100 + number, cells=row.cells)
    with CaptureQueriesContext(connection) as many:
        client.get(address)
    assert len(many) == len(few)


def test_suppliers_lateness_and_the_age_of_a_lead_time_stand_beside_what_is_decided_by_them() -> None:
    client = browser_of(BUYER)
    line = OrderLine.objects.get(order__number="PO-1")
    Item.objects.filter(stock_code="CS25-2").update(lead_date=date(2026, 2, 1))
    Item.objects.filter(stock_code="EA15-15.3").update(lead_date=date(2025, 11, 1))
    before = words(client.get(f"/orders/{line.pk}"))
    OrderLine.objects.filter(pk=line.pk).update(promised=date(2026, 2, 27))
    came(24)

    buying, orders, one = (words(client.get(address)) for address in ("/buying", "/orders", f"/orders/{line.pk}"))

    assert "nothing came in the last year: nobody knows how late they are" in before
    assert "lead 14 days, said 2026-02-01 " in buying
    assert "lead 10 days, said 2025-11-01, OLDER THAN 90 DAYS" in buying
    assert "lead 98 days, age not known" in buying
    assert "Larkfield Supply: 1 of 1 came late in the last year, typically 3 days." in buying
    assert "nobody knows how late" in orders
    assert "1 of 1 came late in the last year, typically 3 days lead 21 days, age not known" in one


def test_a_bin_that_nobody_counted_for_long_is_counted_before_its_item_is_bought() -> None:
    client, at_h = browser_of(BUYER), {"lot__item__stock_code": "CS25-2", "place__depot__depot": "H"}
    (shelf,) = Balance.objects.filter(quantity__gt=0, place__kind="bin", **at_h).select_related("place")

    never = words(client.get("/buying"))
    Balance.objects.filter(pk=shelf.pk).update(counted_on=date(2026, 2, 20))
    lately = words(client.get("/buying"))

    assert f"COUNT FIRST: {shelf.place.code}, uncounted for 90 days" in never
    assert f"COUNT FIRST: {shelf.place.code}" not in lately
