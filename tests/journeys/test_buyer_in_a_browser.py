"""A buyer, from shortages to a locked sheet, a late order and a part delivery, in a real browser."""

import io

import pytest
from bag_stores import demo_sheets, planned
from browsing import PIN, people
from chromium import Opened, assert_open_to_everybody, follow, sign_in
from openpyxl import load_workbook
from people import BUYER, STORES
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer
from record_books import load

from inventory.models import OrderLine
from kitting.models import SentSheet

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_a_buyer_goes_from_shortages_to_a_locked_sheet_and_a_part_delivery(
    live_server: LiveServer, look: Opened, phone: bool
) -> None:
    load(demo_sheets())
    planned()
    people(BUYER, STORES)
    page = look(phone=phone)
    sign_in(page, live_server.url, BUYER)

    page.goto(f"{live_server.url}/buying")
    expect(page.get_by_text("TOO LATE").first).to_be_visible()  # T42: the insert with 98 days of lead
    assert_open_to_everybody(page)
    _send(page)
    _look_at_the_sheet(page)
    page.goto(f"{live_server.url}/buying")
    expect(page.get_by_text("Nothing to order that is not sent already.")).to_be_visible()
    assert SentSheet.objects.count() == 1

    line = OrderLine.objects.get(item__stock_code="EL25-2")
    page.goto(f"{live_server.url}/orders/{line.pk}")
    page.get_by_label("So many days late").fill("17")
    page.get_by_role("button", name="What if the whole order is?").click()
    expect(page.get_by_text("Nothing is stored.")).to_be_visible()
    expect(
        page.get_by_role("cell", name="J09/HL1-a/r1-to/A/elbow").or_(page.get_by_text("EL25-2")).first
    ).to_be_visible()
    assert_open_to_everybody(page)

    _hand_over(page, live_server.url, STORES.name)
    _receive_fifteen(page, live_server.url, line)
    _hand_over(page, live_server.url, BUYER.name)
    page.goto(f"{live_server.url}/orders/{line.pk}")
    expect(page.get_by_text("9 ea").first).to_be_visible()
    assert_open_to_everybody(page)
    line.refresh_from_db()
    assert (line.received, line.quantity) == (15_000, 24_000)


def _send(page: Page) -> None:
    boxes = page.get_by_role("group", name="Send the reorder sheet").get_by_role("checkbox")
    for box in boxes.all():
        box.check()
    follow(page.get_by_role("button", name="Send the sheet"))
    expect(page.get_by_text("SENT", exact=True)).to_be_visible()


def _look_at_the_sheet(page: Page) -> None:
    """The sheet as the supplier gets it: codes are text, nothing runs."""
    if not page.get_by_role("link", name="Workbook for the supplier").count():
        follow(page.get_by_role("link", name="sheet").first)
    assert_open_to_everybody(page)
    answer = page.request.get(page.url + ".xlsx")
    assert answer.ok
    cells = [cell for row in load_workbook(io.BytesIO(answer.body())).active.iter_rows() for cell in row if cell.value]
    assert {"CS25-2", "BI35L", "EA15-15.3"} <= {cell.value for cell in cells}
    assert {cell.data_type for cell in cells} <= {"s", "n"}


def _hand_over(page: Page, server: str, name: str) -> None:
    page.goto(f"{server}/switch")
    page.get_by_label(name).check()
    page.get_by_label("PIN").fill(PIN)
    page.get_by_role("button", name="Take over").click()
    expect(page.get_by_text("GOOD DAY")).to_be_visible()


def _receive_fifteen(page: Page, server: str, line: OrderLine) -> None:
    page.goto(f"{server}/receive/{line.pk}")
    page.locator("#each").fill("15")
    page.get_by_label("3. Lot on the carton").fill("L-2603-1")
    page.get_by_label("4. Put at").fill("N-01-5")
    page.get_by_label("Delivery paper").fill("D-101")
    follow(page.get_by_role("button", name="Book it"))
    expect(page.get_by_role("status").get_by_text("N has no place N-01-5")).to_be_visible()
    page.get_by_label("4. Put at").fill("N-01-4")  # all else stands as it was typed
    follow(page.get_by_role("button", name="Book it"))
    expect(page.get_by_role("heading", name="Receipt D-101")).to_be_visible()
    assert_open_to_everybody(page)
