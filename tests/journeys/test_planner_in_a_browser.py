"""A planner, from the faulty files as received to a job that is ready, in a real browser at a desk and on a phone."""

from pathlib import Path

import pytest
from browsing import people
from chromium import Opened, assert_open_to_everybody, follow, sign_in
from people import PLANNER
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from kitting.models import AppliedPlan, Promise

RECEIVED = Path(__file__).parents[2] / "fixtures_demo" / "received"
# What the yard and the crews say when they are rung up: sheet, row and column -> answer.
ANSWERS = {
    "schedule, row 21, DOI low": "23.6",
    "schedule, row 22, DOI low": "0.93 in",
    "schedule, row 24, conductor size": "1/0",
    "schedule, row 26, conductor size": "1/0",
    "schedule, row 42, DOI low": "(blank)",
    "schedule, row 47, conductor size": "1/0",
}
FACTS = {"positions": "200 A 35 kV large", "schedule, row 2,": "175 mil", "reel": "R-2202"}

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_a_planner_goes_from_a_faulty_file_to_a_ready_job(live_server: LiveServer, look: Opened, phone: bool) -> None:
    people(PLANNER)
    page = look(phone=phone)
    sign_in(page, live_server.url, PLANNER)

    _send(page, live_server.url)
    expect(page.get_by_text("7 TO SETTLE")).to_be_visible()
    assert_open_to_everybody(page)
    _answer(page)
    expect(page.get_by_text("EVERY CELL IS READ")).to_be_visible()
    page.get_by_role("button", name="Store").click()
    expect(page.get_by_text("STORED", exact=True)).to_be_visible()

    _plan(page, live_server.url)
    page.goto(f"{live_server.url}/jobs/J05")
    expect(page.get_by_role("main").get_by_text("READY", exact=True).first).to_be_visible()
    page.goto(f"{live_server.url}/jobs/J12")
    expect(page.get_by_role("main").get_by_text("CAN'T TELL").first).to_be_visible()
    assert_open_to_everybody(page)

    page.goto(f"{live_server.url}/questions")
    expect(page.get_by_role("button", name="Keep")).to_have_count(3)
    _give_facts(page)
    _plan(page, live_server.url)
    page.goto(f"{live_server.url}/jobs/J01")
    expect(page.get_by_role("main").get_by_text("READY", exact=True).first).to_be_visible()
    page.get_by_role("link", name="why? elbow EL15-1").first.click()
    expect(page.get_by_text("FITS", exact=True)).to_be_visible()
    assert_open_to_everybody(page)

    assert AppliedPlan.objects.count() == 2
    assert Promise.objects.filter(job__job="J05", released_at=None).exists()


def _send(page: Page, server: str) -> None:
    page.goto(f"{server}/files")
    page.get_by_label("Sheets").set_input_files([str(path) for path in sorted(RECEIVED.glob("*.csv"))])
    page.get_by_role("button", name="Read").click()


def _answer(page: Page) -> None:
    for where, value in ANSWERS.items():
        section = page.locator("section", has=page.get_by_role("heading", name=where))
        section.get_by_label("It is").fill(value)
    page.get_by_label("drop it").check()
    follow(page.get_by_role("button", name="Read again with these answers"))


def _plan(page: Page, server: str) -> None:
    page.goto(f"{server}/plans")
    page.get_by_label("Plan as of").fill("2026-03-02")
    follow(page.get_by_role("button", name="Plan", exact=True))
    page.get_by_role("button", name="Apply this plan").click()
    expect(page.get_by_text("APPLIED", exact=True)).to_be_visible()


def _give_facts(page: Page) -> None:
    for heading, value in FACTS.items():
        section = page.locator("section", has=page.get_by_role("heading", name=heading)).first
        section.get_by_role("textbox").first.fill(value)
        follow(section.get_by_role("button", name="Keep"))
        expect(page.get_by_text("KEPT", exact=True)).to_be_visible()
