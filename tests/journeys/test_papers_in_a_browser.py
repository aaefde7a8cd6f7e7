"""Papers and files asked for on a page that stays where it is, one after the other, in a real browser."""

import pytest
from bag_stores import demo_sheets
from browsing import bags_listed
from chromium import Opened, follow, sign_in
from people import AUDITOR, STORES
from playwright.sync_api import Locator, expect
from pytest_django.live_server_helper import LiveServer
from record_books import load

from kitting.models import Printing

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]


def kept(button: Locator) -> str:
    """The name of the file that a button gives; it waits until it can be pressed, as people do."""
    with button.page.expect_download() as told:
        button.click()
    return told.value.suggested_filename


def test_a_page_that_gave_a_file_gives_the_next_one_and_a_paper_printed_again_is_a_reprint(
    live_server: LiveServer, look: Opened
) -> None:
    load(demo_sheets())
    bags_listed()
    page = look()
    sign_in(page, live_server.url, STORES)
    page.goto(f"{live_server.url}/jobs/J03/bags")
    page.get_by_text("Bag labels for a label printer").click()
    labels = page.locator("form").filter(has_text="Bag labels for a label printer")
    pictures, sheets = (labels.get_by_role("button", name=name) for name in ("203 dots an inch", "labels on sheets"))
    first = kept(pictures)
    expect(sheets).to_be_disabled()  # no second print by a nervous finger
    again = kept(pictures)

    assert first == again == "J03-bag-label.zip"
    prints = [*Printing.objects.filter(document="bag-label").order_by("pk").values_list("number", flat=True)]
    assert prints == [0] * 7 + [1] * 7

    follow(page.get_by_role("link", name="To the job"))
    page.go_back()
    expect(sheets).to_be_enabled()
    sheets.evaluate("button => { button.disabled = true; }")  # as a page was left that the browser has kept
    expect(sheets).to_be_disabled()
    page.evaluate("dispatchEvent(new PageTransitionEvent('pageshow', { persisted: true }))")
    expect(sheets).to_be_enabled()


def test_the_files_of_one_form_are_exported_one_after_the_other(live_server: LiveServer, look: Opened) -> None:
    load(demo_sheets())
    bags_listed()
    page = look()
    sign_in(page, live_server.url, AUDITOR)
    page.goto(f"{live_server.url}/failures")
    files = {"Workbook": "failures.xlsx", "CSV by lot": "failures-by-lot.csv", "CSV of all reports": "failures.csv"}
    assert {name: kept(page.get_by_role("button", name=name)) for name in files} == files
    assert Printing.objects.filter(document__startswith="failures").count() == 3
