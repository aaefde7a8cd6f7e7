"""From signing in to the reason behind a line with the keys alone, and always with the focus in sight."""

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import ADMINISTRATOR, PASSWORD, people, sign_in_name
from chromium import Opened
from people import AUDITOR, BUYER, CREW, DUTY, PLANNER, STANDARDS, STORES
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer
from record_books import load

from kitting.roles import Actor

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]
FOCUS = """() => {
  const here = document.activeElement;
  const look = getComputedStyle(here);
  const seen = look.outlineStyle !== "none" && parseFloat(look.outlineWidth) >= 2;
  return [here.innerText || here.value || here.name || "", seen];
}"""
MOST_STEPS = 150


def test_a_planner_finds_out_why_with_the_keys_alone(live_server: LiveServer, look: Opened) -> None:
    load(demo_sheets())
    planned()
    people(PLANNER)
    page = look()
    _sign_in(page, live_server.url, PLANNER)

    _tab_to(page, "To the content")
    page.keyboard.press("Enter")
    page.wait_for_url("**/#main")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('main') !== null")

    _tab_to(page, "Cutovers", back=True)
    _enter(page)
    _tab_to(page, "J08")
    _enter(page)
    _tab_to(page, "bushing insert")
    _enter(page)
    expect(page.get_by_role("heading", level=1)).to_contain_text("bushing insert BI35L")

    _tab_to(page, "Cutovers", back=True)
    _enter(page)
    _tab_to(page, "J03")
    _enter(page)
    _tab_to(page, "From B1/a")  # the parts of an end are folded in; Enter opens them
    page.keyboard.press("Enter")
    _tab_to(page, "why?")
    _enter(page)
    expect(page.get_by_role("heading", name="Why", exact=True)).to_be_visible()


# Who goes where from "More", what they reach and press there, and the heading they come to.
WAYS: tuple[tuple[Actor, str, tuple[str, ...], str], ...] = (
    (STORES, "Bags", ("Depot N", "J03 V2"), "J03 V2"),
    (BUYER, "Buying", ("J09",), "J09"),
    (CREW, "Where is one?", (), "Where is one?"),
    (DUTY, "To approve", (), "To approve"),
    (STANDARDS, "Stock", (), "Stock"),
    (AUDITOR, "Exceptions", ("Borrows, and why",), "Borrows"),
    (ADMINISTRATOR, "People", (), "People"),
)


def test_each_role_is_told_its_keys_and_reaches_its_work_with_them(live_server: LiveServer, look: Opened) -> None:
    load(demo_sheets())
    planned()
    Stores(prefix="listed").bags("J03")
    people()
    page = look()
    told = {}
    for actor, place, steps, heading in WAYS:
        _sign_in(page, live_server.url, actor)
        _tab_to(page, "More")
        _enter(page)
        told[actor.name] = page.get_by_role("table", name="With the keys alone").inner_text()
        for text in (place, *steps):
            _tab_to(page, text)
            _enter(page)
        expect(page.get_by_role("heading", level=1)).to_contain_text(heading)
        _tab_to(page, "Sign out", back=True)
        _enter(page)

    assert all("thick ring" in keys for keys in told.values())
    for words, who in (
        ("A scanner", {STORES, CREW, DUTY}), ("Enter in the day of an outage", set()), ("a supplier", {BUYER}),
        ("Enter in a reason", {DUTY, STANDARDS, AUDITOR}),
    ):  # fmt: skip
        assert {name for name, keys in told.items() if words in keys} == {one.name for one in who}, words


def _sign_in(page: Page, server: str, actor: Actor) -> None:
    page.goto(f"{server}/sign-in")
    expect(page.get_by_label("Sign-in name")).to_be_focused()
    page.keyboard.type(sign_in_name(actor))
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(f"{server}/")


def _tab_to(page: Page, text: str, *, back: bool = False) -> None:
    """Press Tab until the focus is on something that says this."""
    for _ in range(MOST_STEPS):
        page.keyboard.press("Shift+Tab" if back else "Tab")
        says, seen = page.evaluate(FOCUS)
        if says.strip():
            assert seen, f"the focus on {says!r} can't be seen at {page.url}"
        if text in says:
            return
    raise AssertionError(f"{text} is not reached with Tab at {page.url}")


def _enter(page: Page) -> None:
    with page.expect_navigation():
        page.keyboard.press("Enter")
