"""A bag from the bin to the truck and back, in a real browser on a phone, with a scanner that types and sends Enter."""

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import OTHER_STORES, PIN, people
from chromium import Opened, assert_open_to_everybody, follow, said, scan, sign_in
from people import CREW, STORES
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer
from record_books import load

from kitting.models import Bag
from kitting.selectors.bag_contents import bare, label_code
from kitting.selectors.pick_walk import pick_walk

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]
JOB, STRUCTURE = "J03", "B1"


def test_a_storekeeper_fills_checks_stages_issues_and_takes_back_a_bag(live_server: LiveServer, look: Opened) -> None:
    load(demo_sheets())
    planned()
    people(STORES, OTHER_STORES, CREW)
    page = look(phone=True)
    sign_in(page, live_server.url, STORES)

    page.goto(f"{live_server.url}/jobs/{JOB}/bags")
    follow(page.get_by_role("button", name="List the bags"))
    expect(page.get_by_text("LISTED", exact=True)).to_be_visible()
    code = label_code(Bag.objects.select_related("job").get(job__job=JOB, structure=STRUCTURE))
    _find(page, f"BAG {code} REV A | {STRUCTURE} | {JOB}")
    expect(page.get_by_text("NOTHING IN IT YET")).to_be_visible()
    assert_open_to_everybody(page)

    follow(page.get_by_role("link", name="Pick", exact=True))
    _walk(page, code)
    _check(page, live_server.url, code)
    _find(page, code)
    follow(page.get_by_role("link", name="Put in its rack place"))
    scan(page, "R-7")
    expect(page.get_by_role("status").get_by_text("PLACED", exact=True)).to_be_visible()

    follow(page.get_by_role("link", name="Issue to a crew"))
    for field, text in (("Crew", "Crew 14"), ("Truck", "14"), ("Signed for the crew by (name)", CREW.name),
                        ("The crew's own PIN, where they have an account here", PIN)):  # fmt: skip
        page.get_by_label(field, exact=True).fill(text)
    assert_open_to_everybody(page)
    follow(page.get_by_role("button", name="Out with the crew"))
    expect(page.get_by_role("status").get_by_text("OUT", exact=True)).to_be_visible()

    _find(page, code)
    follow(page.get_by_role("link", name="Turn in what came back"))
    assert_open_to_everybody(page)
    page.get_by_role("checkbox").first.check()
    follow(page.get_by_role("button", name="Turn in what is ticked"))
    expect(page.get_by_text("STILL OPEN").first).to_be_visible()
    assert Bag.objects.get(job__job=JOB, structure=STRUCTURE).state == "returning"


def _find(page: Page, code: str) -> None:
    page.get_by_label("Scan or type a code").fill(code)
    page.get_by_label("Scan or type a code").press("Enter")
    page.wait_for_url("**/bags/*")


def _walk(page: Page, code: str) -> None:
    """Past all bins, with a wrong one at the first."""
    steps = pick_walk(depot="N", bags=[code])
    scan(page, "N-99-9")
    expect(page.get_by_text("WRONG BIN", exact=True).first).to_be_visible()
    for step in steps:
        expect(page.locator(".bin")).to_have_text(step.place.code)
        scan(page, step.place.code)
        if step.lot.number:
            scan(page, f"(241){step.lot.item.stock_code}(10){step.lot.number}")
        else:
            scan(page, step.lot.item.stock_code)
        if step == steps[0]:
            assert_open_to_everybody(page)
        scan(page, bare(step.quantity))
        _yes_if_asked(page)
        said(page, "RIGHT")
    expect(page.get_by_role("heading", name="Nothing to pick")).to_be_visible()


def _yes_if_asked(page: Page) -> None:
    if page.get_by_role("heading", name="Look again").count():
        follow(page.get_by_role("button", name="Yes, as asked"))


def _check(page: Page, server: str, code: str) -> None:
    """Hand the phone to another person, who counts what is inside."""
    page.goto(f"{server}/bags/{code}/check")
    expect(page.get_by_text("ANOTHER PERSON", exact=True)).to_be_visible()
    follow(page.get_by_role("link", name="Hand the device over"))
    page.get_by_label(OTHER_STORES.name).check()
    page.get_by_label("PIN", exact=True).fill(PIN)
    follow(page.get_by_role("button", name="Take over"))
    for item, thousandths in Stores().counted(JOB, STRUCTURE).items():
        for _ in range(thousandths // 1_000):
            scan(page, item)
    assert_open_to_everybody(page)
    follow(page.get_by_role("button", name="That is all that is inside"))
    expect(page.get_by_text("FULL", exact=True).first).to_be_visible()
