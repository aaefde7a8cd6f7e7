"""A storekeeper without a scanner: the codes are photographed with the phone, with the pages' script and without."""

import pytest
from bag_stores import Stores, demo_sheets
from browsing import bags_listed
from chromium import PATIENCE, PHONE, Opened, assert_open_to_everybody, follow, said, sign_in
from people import STORES
from photographs import photograph, symbol
from playwright.sync_api import Browser, FilePayload, Page, expect
from pytest_django.live_server_helper import LiveServer
from record_books import load

from inventory.models import Item
from kitting.models import BagEntry
from kitting.selectors.pick_walk import pick_walk

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]
CARTON = {"form": "DataMatrix", "gs1": True}
# A browser of a phone reads codes itself; this one does not, so it is told what it would have read.
A_READER = """window.codes = [];
window.BarcodeDetector = class {
  static async getSupportedFormats() { return ["aztec", "qr_code", "data_matrix"]; }
  async detect(picture) { return picture.width ? window.codes.map((rawValue) => ({ rawValue })) : []; }
};"""


@pytest.fixture
def code() -> str:
    load(demo_sheets())
    bags_listed()
    return Stores().code("J03", "V2")


def picture(*codes: str, **as_it_is: bool | str) -> FilePayload:
    taken = photograph(*(symbol(one, **as_it_is) for one in codes), turned=8, noise=20)
    return {"name": "IMG_1.JPG", "mimeType": "image/jpeg", "buffer": taken}


def take(page: Page, *codes: str, **as_it_is: bool | str) -> None:
    """Take a picture: it sends itself."""
    with page.expect_navigation():
        page.get_by_label("Photograph the code").set_input_files(picture(*codes, **as_it_is))


def test_a_bag_is_picked_by_pictures_on_a_phone(live_server: LiveServer, look: Opened, code: str) -> None:
    step, page = pick_walk(depot="N", bags=[code])[0], look(phone=True)
    item, other = step.lot.item, Item.objects.exclude(pk=step.lot.item_id).earliest("pk")
    sign_in(page, live_server.url, STORES)
    page.goto(f"{live_server.url}/pick/N?bag={code}")
    assert_open_to_everybody(page)
    expect(page.get_by_role("button", name="Read the picture")).to_be_hidden()
    take(page)
    expect(page.locator("p.no strong")).to_have_text("NO CODE FOUND")
    assert_open_to_everybody(page)
    take(page, step.place.code, "N-99-9")
    expect(page.get_by_text("2 CODES")).to_be_visible()
    assert_open_to_everybody(page)
    follow(page.get_by_role("button", name=step.place.code))
    expect(page.get_by_text("Right bin", exact=True)).to_be_visible()
    take(page, f"(241){other.stock_code}(10)X-1", **CARTON)
    said(page, "WRONG ITEM")
    take(page, f"(10){step.lot.number}(241){item.stock_code}", **CARTON)
    expect(page.get_by_text("Right bin, right item and lot")).to_be_visible()
    follow(page.locator("main button.go"))
    said(page, "RIGHT")
    assert BagEntry.objects.get().lot == step.lot

    page.goto(live_server.url)  # the walk leaves the head of the page away on a phone
    follow(page.get_by_role("link", name="Camera"))
    take(page, code)
    expect(page.locator("h1")).to_contain_text("J03 V2")


def test_a_code_is_photographed_without_script_and_what_was_typed_stays(
    live_server: LiveServer, chromium: Browser, code: str
) -> None:
    step = pick_walk(depot="N", bags=[code])[0]
    context = chromium.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.set_default_timeout(PATIENCE)
    sign_in(page, live_server.url, STORES)
    page.goto(f"{live_server.url}/bags/{code}/put-in")
    page.get_by_label("How many go in").fill("2")
    page.get_by_label("Photograph a code").set_input_files(picture(step.place.code))
    follow(page.get_by_role("button", name="Read the picture"))
    said(page, "READ")
    expect(page.get_by_label("Scan the bin")).to_have_value(step.place.code)
    expect(page.get_by_label("How many go in")).to_have_value("2")
    context.close()


def test_without_a_signal_the_browser_reads_the_picture_itself_or_says_that_it_can_not(
    live_server: LiveServer, look: Opened, code: str
) -> None:
    step, page = pick_walk(depot="N", bags=[code])[0], look(phone=True)
    sign_in(page, live_server.url, STORES)
    page.goto(f"{live_server.url}/carried/bags?bag={code}")
    page.get_by_role("button", name="Load").click()
    said(page, "LOADED")
    expect(page.get_by_text("This browser reads no codes from pictures")).to_be_visible()
    expect(page.locator("input[type=file]")).to_have_count(0)

    page.add_init_script(A_READER)
    page.reload()
    page.context.set_offline(True)
    photograph_here(page, code)
    page.get_by_role("link", name="Pick", exact=True).click()
    photograph_here(page)
    said(page, "NO CODE FOUND")
    photograph_here(page, "N-99-9")
    said(page, "WRONG BIN")
    photograph_here(page, "N-99-9", step.place.code)
    said(page, "WHICH CODE")
    assert_open_to_everybody(page)
    page.get_by_role("button", name=step.place.code).click()
    said(page, "RIGHT BIN")
    photograph_here(page, f"\x1d10{step.lot.number}\x1d241{step.lot.item.stock_code}")
    said(page, "RIGHT")


def photograph_here(page: Page, *codes: str) -> None:
    """Take a picture in which the browser finds these codes."""
    page.evaluate("codes => { window.codes = codes; }", [*codes])
    page.get_by_label("Photograph the code").set_input_files(picture(*codes[:1]))
