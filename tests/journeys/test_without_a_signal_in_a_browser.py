"""A phone that loses its signal: its page opens, a bag is filled and checked, and all of it is sent later."""

from collections.abc import Sequence

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import OTHER_STORES, PIN, people, sign_in_name
from chromium import Opened, assert_open_to_everybody, follow, said, sign_in, typed
from people import CREW, STORES
from playwright.sync_api import Page, Route, expect
from pytest_django.live_server_helper import LiveServer
from record_books import load

from inventory.models import Action
from kitting.calculation.cable_geometry import GAUGE, Band
from kitting.calculation.fit_matching.fits import fit
from kitting.calculation.lengths import parse_length
from kitting.calculation.short_codes import verified
from kitting.models import Bag, BagEntry, DeviceLoad, Event, Person
from kitting.models.bags import PICKED
from kitting.selectors.bag_contents import bare
from kitting.selectors.carried import carried
from kitting.selectors.end_signatures import BY_PIN, END_SIGNED
from kitting.selectors.pick_walk import Step, pick_walk

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]
JOB, STRUCTURE = "J03", "B1"


def test_a_bag_is_filled_without_a_signal_and_booked_later(live_server: LiveServer, look: Opened) -> None:
    load(demo_sheets())
    planned()
    people(STORES, OTHER_STORES)
    stores = Stores(prefix="carried")
    stores.bags(JOB)
    code, steps = stores.code(JOB, STRUCTURE), pick_walk(depot="N", bags=[stores.code(JOB, STRUCTURE)])
    page = look(phone=True)
    sign_in(page, live_server.url, STORES)
    page.goto(f"{live_server.url}/carried/bags?bag={code}")
    page.get_by_role("button", name="Load").click()
    said(page, "LOADED")
    page.evaluate("navigator.serviceWorker.ready")
    assert_open_to_everybody(page)

    page.context.set_offline(True)
    page.reload()  # from the copy that the device keeps
    beside = page.context.new_page()
    beside.goto(page.url)
    typed(page, "NOT-OURS-00")
    said(page, "NOT CARRIED")
    typed(page, f"BAG {code} REV A")
    _a_refused_form_stays_as_it_was_typed(page)
    page.get_by_role("link", name="Pick", exact=True).click()
    _walk(page, steps)
    expect(beside.get_by_text(f"{len(steps)} scans wait")).to_be_visible()  # it would write over what it doesn't know
    assert_open_to_everybody(page)
    page.get_by_role("link", name="Back to the bag").click()
    page.get_by_role("link", name="Check", exact=True).click()
    expect(page.get_by_text("ANOTHER PERSON")).to_be_visible()
    page.get_by_role("button", name="Send, and load again").click()
    said(page, "NO SIGNAL")
    assert not BagEntry.objects.filter(deed=PICKED).exists()

    page.context.set_offline(False)
    page.get_by_role("button", name="Send, and load again").click()
    said(page, "SENT")
    expect(page.locator(".told")).to_contain_text("No bag for you to carry: NOT-OURS-00.")
    assert Action.objects.filter(number__startswith="C-", by=STORES.name).count() == len(steps)
    assert Bag.objects.get(job__job=JOB, structure=STRUCTURE).state == "picking"
    _check_with_a_device_of_their_own(look, live_server.url, code, stores.counted(JOB, STRUCTURE))
    assert Bag.objects.get(job__job=JOB, structure=STRUCTURE).checked_by == OTHER_STORES.name


def _a_refused_form_stays_as_it_was_typed(page: Page) -> None:
    page.get_by_role("link", name="All there is").click()
    expect(page.get_by_role("radio", checked=True)).to_have_count(0)  # nobody's cause is noted unsaid
    page.get_by_label("other: say it in words").check()
    page.get_by_role("button", name="That is all there is").click()
    said(page, "SAY WHY")
    expect(page.locator(".told strong")).to_be_in_viewport()  # above a long form
    expect(page.get_by_label("other: say it in words")).to_be_checked()
    page.get_by_role("link", name="Back to the bag").click()


def _walk(page: Page, steps: Sequence[Step]) -> None:
    """Past all bins, with a wrong one at the first."""
    expect(page.locator(".bin")).to_have_text(steps[0].place.code)
    typed(page, "N-99-9")
    said(page, "WRONG BIN")
    for step in steps:
        expect(page.locator(".bin")).to_have_text(step.place.code)
        typed(page, step.place.code)
        said(page, "RIGHT BIN")
        typed(page, f"(241){step.lot.item.stock_code}(10){step.lot.number}")
        said(page, "RIGHT")
        if not step.lot.number:
            assert not page.get_by_label("Scan or type the lot").is_visible()
        typed(page, bare(step.quantity))
        expect(page.locator(".told")).to_contain_text(f"in {JOB}")


def _check_with_a_device_of_their_own(look: Opened, server: str, code: str, inside: dict[str, int]) -> None:
    page = look(phone=True)
    sign_in(page, server, OTHER_STORES)
    page.goto(f"{server}/carried/bags?bag={code}")
    page.get_by_role("button", name="Load").click()
    said(page, "LOADED")
    page.evaluate("navigator.serviceWorker.ready")
    page.context.set_offline(True)
    page.goto(f"{server}/carried/bags#{code}/check")
    for item, pieces in inside.items():
        for _ in range(pieces // 1_000):
            typed(page, item)
            said(page, "+ 1")
    page.get_by_role("button", name="That is all that is inside").click()
    said(page, "FULL")
    _gauge_says_what_the_server_says(page, code)
    page.context.set_offline(False)
    page.get_by_role("button", name="Send, and load again").click()
    said(page, "SENT")
    _what_is_typed_while_it_loads_stays(page)


def _what_is_typed_while_it_loads_stays(page: Page) -> None:
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route("**/carried/bags.json*", hold)
    with page.expect_request("**/carried/bags.json*"):
        page.get_by_role("button", name="Load").click()
    page.get_by_label("Gauge reading").fill("1.06")
    held[0].continue_()
    expect(page.locator(".told")).to_contain_text("You went on meanwhile")
    expect(page.get_by_label("Gauge reading")).to_have_value("1.06")


def _gauge_says_what_the_server_says(page: Page, code: str) -> None:
    """The readings at both ends of a part's range, and just beyond them."""
    actor = Person.objects.get(sign_in=sign_in_name(OTHER_STORES)).actor()
    (bag,) = (one for one in carried(actor, Stores().at.date(), [verified(code)])["bags"] if one["code"] == code)
    part = bag["fits"][0]
    page.goto(page.url.partition("#")[0] + f"#{code}/fit")
    for nm in (part["low"] - 10_000, part["low"], part["high"], part["high"] + 10_000):
        reading = f"{nm // 1_000_000}.{nm % 1_000_000 // 10:05}"
        _gauged(page, reading)
        read = parse_length(reading, "mm")
        found = fit(Band(read, read, GAUGE), part["low"], part["high"], estimates="accept")
        said(page, found.state.upper())
    _gauged(page, "7.61999")
    said(page, "CHECK THE UNIT")


def _gauged(page: Page, reading: str) -> None:
    page.get_by_label("mm", exact=True).check()
    page.get_by_label("Gauge reading").fill(reading)
    page.get_by_role("button", name="Does it fit?").click()


def test_a_long_queue_is_sent_in_portions_the_bags_are_asked_for_once_and_a_lost_signal_loses_nothing(
    live_server: LiveServer, look: Opened
) -> None:
    load(demo_sheets())
    planned()
    people(STORES, OTHER_STORES)
    stores = Stores(prefix="queue")
    stores.bags(JOB)
    code, page = stores.code(JOB, STRUCTURE), look(phone=True)
    sign_in(page, live_server.url, STORES)
    page.goto(f"{live_server.url}/carried/bags?bag={code}")
    page.get_by_role("button", name="Load").click()
    said(page, "LOADED")
    page.evaluate(MANY, [sign_in_name(OTHER_STORES), sign_in_name(STORES), code, QUEUE])
    page.reload()
    expect(page.get_by_text(f"{QUEUE} scans wait")).to_be_visible()

    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url.partition("/carried/")[2]))
    page.route("**/carried/scans", lambda _: None)  # nobody answers
    page.evaluate(SOON)
    page.get_by_role("button", name="Send, and load again").click()
    said(page, "NO SIGNAL")
    expect(page.locator(".told")).to_contain_text("no answer within 45 seconds. Nothing is lost")
    expect(page.get_by_text(f"{QUEUE} scans wait")).to_be_visible()
    assert_open_to_everybody(page)
    page.unroute("**/carried/scans")
    page.reload()
    expect(page.get_by_text(f"{QUEUE} scans wait")).to_be_visible()
    asked.clear()
    page.get_by_role("button", name="Send, and load again").click()
    said(page, "SENT")
    expect(page.locator(".told")).to_contain_text(f"1 booked, 0 known already. {QUEUE - 1} wait for who made them")
    assert [*filter(None, asked)] == ["token.json", *["scans"] * 21, "bags.json"]
    assert Bag.objects.get(job__job=JOB, structure=STRUCTURE).state == "short"
    device = DeviceLoad.objects.get()
    assert (device.by, device.heard_at >= device.loaded_at) == (STORES.name, True)


def test_what_was_installed_without_a_signal_is_signed_for_by_pin_once_it_is_booked(
    live_server: LiveServer, look: Opened
) -> None:
    load(demo_sheets())
    planned()
    people(CREW)
    stores, page = Stores(prefix="fitted"), look(phone=True)
    stores.out(JOB, "V2")
    code = stores.code(JOB, "V2")
    sign_in(page, live_server.url, CREW)
    page.goto(f"{live_server.url}/carried/bags?bag={code}")
    page.get_by_role("button", name="Load").click()
    said(page, "LOADED")
    page.context.set_offline(True)
    typed(page, code)
    page.get_by_role("link", name="Note what is installed").click()
    expect(page.get_by_text("no PIN can be proved here")).to_be_visible()
    _all_is_fitted(page)
    expect(page.get_by_text("To be signed")).to_have_count(0)
    page.context.set_offline(False)
    page.get_by_role("button", name="Send, and load again").click()
    said(page, "SENT")
    assert_open_to_everybody(page)
    assert not Event.objects.filter(name=END_SIGNED).exists()

    follow(page.get_by_role("link", name="Sign for J03 V2"))
    page.get_by_label("Signed by (name)").fill(CREW.name)
    page.get_by_label("Their own PIN").fill(PIN)
    follow(page.get_by_role("button", name="Sign", exact=True))
    said(page, "SIGNED")
    signed = Event.objects.filter(name=END_SIGNED)
    assert {one.data["signature"] for one in signed} == {f"{CREW.name}{BY_PIN}"}
    page.goto(f"{live_server.url}/carried/bags")
    page.get_by_role("button", name="Signed, or seen").click()
    expect(page.get_by_text("To be signed")).to_have_count(0)


def _all_is_fitted(page: Page) -> None:
    """One phase of the first end, which says how many of how many are done, then all the rest."""
    three = page.locator("form").filter(has=page.get_by_role("checkbox", name="phase A")).first
    three.get_by_role("checkbox", name="phase A").check()
    three.get_by_role("button").click()
    said(page, "1 OF 3 DONE")
    while page.get_by_role("checkbox").count():
        part = page.locator("form").filter(has=page.get_by_role("checkbox")).first
        for one in part.get_by_role("checkbox").all():
            one.check()
        part.get_by_role("button").click()
        said(page, "DONE")
    told = page.evaluate("JSON.parse(localStorage.getItem('carried')).carries.bags[0].ends")
    assert all(end["fitted"] == end["wanted"] for end in told if end["wanted"])


def test_a_turn_in_without_a_signal_says_how_much_is_still_open_as_the_books_do(
    live_server: LiveServer, look: Opened
) -> None:
    load(demo_sheets())
    planned()
    people(STORES)
    stores, page = Stores(prefix="back"), look(phone=True)
    stores.out(JOB, STRUCTURE)
    code = stores.code(JOB, STRUCTURE)
    sign_in(page, live_server.url, STORES)
    page.goto(f"{live_server.url}/carried/bags?bag={code}")
    page.get_by_role("button", name="Load").click()
    said(page, "LOADED")
    page.context.set_offline(True)
    typed(page, code)
    page.get_by_role("link", name="Turn in what came back").click()
    page.get_by_label("to scrap").check()
    page.get_by_label("Why, where it is scrapped").fill("bent")
    page.get_by_role("button", name="Turn it in").click()
    expect(page.locator(".told strong").filter(has_text="STILL OPEN")).to_be_visible()
    word = page.locator(".told strong").inner_text()
    page.context.set_offline(False)
    page.get_by_role("button", name="Send, and load again").click()
    said(page, "SENT")
    assert word == f"{' '.join(stores.contents(JOB, STRUCTURE).open())} STILL OPEN"


QUEUE = 2_050
# What the page waits for an answer, in a hurry.
SOON = """() => { AbortSignal.timeout = () => {
  const end = new AbortController();
  setTimeout(() => end.abort(new DOMException("", "TimeoutError")), 2000);
  return end.signal;
}; }"""
# All but the last scan are of somebody else, who must sign in before they are booked.
MANY = """([other, own, bag, many]) => {
  const kept = JSON.parse(localStorage.getItem("carried"));
  kept.queue = Array.from({ length: many }, (_, at) => ({
    name: "finish short", content: { bag, cause: "not in the bin", why: "none left" }, action: `C-${at}`,
    device_at: new Date().toISOString(), by: at + 1 < many ? other : own,
  }));
  localStorage.setItem("carried", JSON.stringify(kept));
}"""
