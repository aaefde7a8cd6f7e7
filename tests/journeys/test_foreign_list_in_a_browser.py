"""A planner, from a contractor's list to a ready job in a real browser; the next list of its shape asks nothing."""

import pytest
from bag_stores import demo_sheets
from browsing import people
from chromium import Opened, assert_open_to_everybody, follow, sign_in
from foreign_list import CELLS, COLUMNS, LIST
from people import PLANNER
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer
from record_books import load

from jobs.models import ScheduleRevision
from kitting.models import KeptLayout, Promise

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]
CHOSEN = ("unit", "decimal")


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_a_planner_goes_from_a_list_of_others_to_a_ready_job_and_is_asked_once(
    live_server: LiveServer, look: Opened, phone: bool
) -> None:
    load(demo_sheets())
    people(PLANNER)
    page = look(phone=phone)
    sign_in(page, live_server.url, PLANNER)

    _send(page, live_server.url, LIST)
    expect(page.get_by_text("NOT IN OUR FORM")).to_be_visible()
    page.get_by_role("link", name="Say what its columns are").click()
    follow(page.get_by_role("link", name="Put these guesses into the form"))
    expect(page.get_by_text("GUESSES")).to_be_visible()
    assert_open_to_everybody(page)
    for heading, target in COLUMNS.items():
        page.get_by_label(heading, exact=True).select_option(target)
    follow(page.get_by_role("button", name="On to how the cells are written"))
    _say_cells(page)
    assert_open_to_everybody(page)
    page.get_by_role("button", name="Keep the layout and read the list").click()
    expect(page.get_by_text("EVERY CELL IS READ")).to_be_visible()
    _store(page)

    page.goto(f"{live_server.url}/plans")
    page.get_by_label("Plan as of").fill("2026-03-02")
    page.get_by_role("button", name="Plan", exact=True).click()
    page.get_by_role("button", name="Apply this plan").click()
    expect(page.get_by_text("APPLIED", exact=True)).to_be_visible()
    page.goto(f"{live_server.url}/jobs/J05")
    expect(page.get_by_role("main").get_by_text("READY", exact=True).first).to_be_visible()

    _send(page, live_server.url, LIST.replace("84,5", "86"))
    expect(page.get_by_text("EVERY CELL IS READ")).to_be_visible()
    expect(page.get_by_text("was read by the column layout Dock contractor, revision 1")).to_be_visible()
    _store(page)
    expect(page.get_by_text("1 changed, 3 same")).to_be_visible()

    assert KeptLayout.objects.count() == 1
    assert ScheduleRevision.objects.get(job__job="J05", live=True).letter == "C"
    assert Promise.objects.filter(job__job="J05").exists()


def _send(page: Page, server: str, text: str) -> None:
    page.goto(f"{server}/files")
    file = {"name": "dock list.csv", "mimeType": "text/csv", "buffer": text.encode()}
    page.get_by_label("Sheets").set_input_files([file])  # type: ignore[list-item]
    page.get_by_role("button", name="Read").click()


def _say_cells(page: Page) -> None:
    for name, text in CELLS.items():
        field = page.locator(f"#{name}")
        if name.startswith(CHOSEN):
            field.select_option(text)
        else:
            field.fill(text)


def _store(page: Page) -> None:
    page.get_by_role("button", name="Store").click()
    expect(page.get_by_text("STORED", exact=True)).to_be_visible()
