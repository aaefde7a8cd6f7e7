"""A real browser on the pages of a server in this process, and what must hold on every page it looks at."""

import os
from collections.abc import Callable, Iterator

import pytest
from axe_playwright_python.base import AXE_SCRIPT, AxeResults
from browsing import PASSWORD, sign_in_name
from playwright.sync_api import Browser, ConsoleMessage, Locator, Page, Playwright, expect, sync_playwright

from kitting.roles import Actor

DESK, PHONE = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
# WCAG 2.2, levels A and AA, as the rules of axe are tagged; of what holds it needs to say nothing.
BROKEN = {"resultTypes": ["violations"]}
RULES = {**BROKEN, "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
COLOURS = {**BROKEN, "runOnly": ["color-contrast"]}  # all that differs by night
PATIENCE = 90_000  # milliseconds; a machine may be busy with other things, and only a failure takes so long
expect.set_options(timeout=PATIENCE)
# What a page is not to blame for: an answer that says no, a test that takes the signal away, a machine without sound.
NO_FAULTS = ("status of 4", "ERR_INTERNET_DISCONNECTED", "AudioContext encountered an error")
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")  # the browser's driver has a loop of its own in this thread


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium, once a run."""
    with sync_playwright() as driver:
        browser = _started(driver)
        yield browser
        browser.close()


def _started(driver: Playwright) -> Browser:
    return driver.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])


Opened = Callable[..., Page]


@pytest.fixture
def look(chromium: Browser) -> Iterator[Opened]:
    """Opens pages of a size and colours, and fails the test if any page complained."""
    complaints: list[str] = []
    contexts = []

    def note(message: ConsoleMessage) -> None:
        if message.type == "error" and not any(known in message.text for known in NO_FAULTS):
            complaints.append(message.text)

    def opened(*, phone: bool = False, dark: bool = False) -> Page:
        context = chromium.new_context(
            viewport=PHONE if phone else DESK, color_scheme="dark" if dark else "light", has_touch=phone
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE)
        page.on("console", note)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not complaints, complaints


def follow(control: Locator) -> None:
    """Press what leads to another page, and wait until that page is there: only then is what it holds looked at."""
    with control.page.expect_navigation():
        control.click()


def sign_in(page: Page, server: str, actor: Actor) -> None:
    """Sign somebody in, as they would."""
    page.goto(f"{server}/sign-in")
    page.get_by_label("Sign-in name").fill(sign_in_name(actor))
    page.get_by_label("Password").fill(PASSWORD)
    follow(page.get_by_role("button", name="Sign in"))
    assert page.url == f"{server}/"


def typed(page: Page, text: str) -> None:
    """What a wedge scanner does: type into the field that has the cursor, and send Enter.

    A page gives the cursor to its field a moment after it has loaded; what is typed before that is lost.
    """
    expect(page.locator("main input:focus")).to_be_visible()
    page.keyboard.press("Control+A")
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def scan(page: Page, text: str) -> None:
    """The same on a page that another one answers."""
    with page.expect_navigation():
        typed(page, text)


def said(page: Page, word: str) -> None:
    """The large word of the answer."""
    expect(page.locator(".told strong").filter(has_text=word).first).to_be_visible()


def assert_open_to_everybody(page: Page, *, only_colours: bool = False) -> None:
    """No rule of axe is broken, or none about colours, and nothing scrolls sideways."""
    page.wait_for_load_state()  # with its style sheet: without it everything is too small
    if page.evaluate("typeof axe === 'undefined'"):
        page.evaluate(AXE_SCRIPT)
    found = AxeResults(page.evaluate("rules => axe.run(rules)", COLOURS if only_colours else RULES))
    assert found.violations_count == 0, f"{page.url}: {found.generate_report()}"
    wide, there = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert wide <= there, f"{page.url} is {wide} px wide on {there} px"
