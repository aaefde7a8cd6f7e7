"""A storekeeper, from the walk past the bins to the crew's signature, with a wrong scan, a held lot and a short bin."""

import pytest
from bag_stores import OTHER_STORES, Stores, demo_sheets, planned
from browsing import PIN, people, sign_in_name
from chromium import Opened, assert_open_to_everybody, follow, said, scan, sign_in
from people import DUTY, STORES
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer
from record_books import load

from inventory.models import LotHold
from kitting.models import Bag, BagEntry
from kitting.models.bags import ISSUED, PICKED
from kitting.selectors.bag_contents import bare
from kitting.selectors.pick_walk import Step, pick_walk

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]
SIZES = [pytest.param(True, id="phone"), pytest.param(False, id="desk")]


@pytest.mark.parametrize("phone", SIZES)
def test_a_storekeeper_goes_from_pick_to_issue(live_server: LiveServer, look: Opened, phone: bool) -> None:
    load(demo_sheets())
    planned()
    people(STORES, OTHER_STORES, DUTY)
    page = look(phone=phone)
    sign_in(page, live_server.url, STORES)
    page.goto(f"{live_server.url}/jobs/J03/bags")
    page.get_by_role("button", name="List the bags").click()
    said(page, "LISTED")
    stores = Stores(prefix="look")
    code = stores.code("J03", "V2")
    page.goto(f"{live_server.url}/pick/N?bag={code}")

    _pick_with_faults(page, code)
    page.goto(f"{live_server.url}/bags/{code}")
    follow(page.get_by_role("link", name="ll there is"))
    page.get_by_label("Why it is short").select_option("not in the bin")
    follow(page.locator("main button.go"))
    said(page, "SHORT")
    assert_open_to_everybody(page)

    _check_by_another_person(page, live_server.url, code, stores.counted("J03", "V2"))
    _hand_over(page, live_server.url, STORES.name)
    page.goto(f"{live_server.url}/bags/{code}/stage")
    page.get_by_label("rack").fill("R-7")
    follow(page.locator("main button.go"))
    said(page, "PLACED")
    _issue_by_leave(page, live_server.url, code)

    bag = Bag.objects.get(job__job="J03", structure="V2")
    assert (bag.state, bag.checked_by, bag.crew) == ("issued", OTHER_STORES.name, "Crew 14")
    deeds = BagEntry.objects.filter(line__bag=bag)
    assert {entry.action.by for entry in deeds.filter(deed=PICKED)} == {STORES.name}
    assert deeds.filter(deed=ISSUED).exists()


def _steps(code: str) -> tuple[Step, ...]:
    return pick_walk(depot="N", bags=[code])


def _pick_step(page: Page, step: Step) -> None:
    if page.get_by_label("Scan the bin").is_visible():
        scan(page, step.place.code)
    expect(page.get_by_text("Right bin").last).to_be_visible()
    scan(page, step.lot.item.stock_code)
    if page.get_by_label("Scan or type the lot").is_visible():
        scan(page, step.lot.number)
    scan(page, "")  # the quantity stands there already
    said(page, "RIGHT")


def _pick_with_faults(page: Page, code: str) -> None:
    first, second, third, *rest = _steps(code)
    other = next(step for step in rest if step.lot.item_id != first.lot.item_id)
    scan(page, first.place.code)
    scan(page, other.lot.item.stock_code)
    said(page, "WRONG ITEM")
    assert_open_to_everybody(page)
    _pick_step(page, first)  # the bin stays scanned

    LotHold.objects.create(
        item=second.lot.item, lot_number=second.lot.number, reason="cracked boots", placed_by="I. Varga",
        placed_at=Stores().at,
    )  # fmt: skip
    page.reload()
    expect(page.get_by_text("HELD")).to_be_visible()
    follow(page.get_by_role("button", name="Skip this one"))

    follow(page.get_by_role("button", name="Found fewer here"))
    page.get_by_label("How many are there").fill("0")
    follow(page.get_by_role("button", name="That many"))
    expect(page.locator("[data-answer=yes]")).to_be_in_viewport(ratio=0.9)  # however long, above the field that is next
    assert_open_to_everybody(page)
    page.goto(page.url.split("/pick/")[0] + f"/pick/N?bag={code}")
    follow(page.get_by_role("button", name="Skip this one"))
    for step in _steps(code):
        if step.lot.pk not in (second.lot.pk, third.lot.pk):
            _pick_step(page, step)


def _hand_over(page: Page, server: str, name: str) -> None:
    page.goto(f"{server}/switch")
    page.get_by_label(name).check()
    page.get_by_label("PIN").fill(PIN)
    page.get_by_role("button", name="Take over").click()
    said(page, "GOOD DAY")


def _check_by_another_person(page: Page, server: str, code: str, counted: dict[str, int]) -> None:
    page.goto(f"{server}/bags/{code}/check")
    expect(page.get_by_text("ANOTHER PERSON", exact=True)).to_be_visible()
    _hand_over(page, server, OTHER_STORES.name)
    page.goto(f"{server}/bags/{code}/check")
    for item, quantity in counted.items():
        page.get_by_label("Scan a piece").fill(item)
        page.get_by_label("How many, if not one").fill(bare(quantity))
        follow(page.get_by_role("button", name="Count it"))
    follow(page.get_by_role("button", name="That is all that is inside"))
    said(page, "SHORT")


def _issue_by_leave(page: Page, server: str, code: str) -> None:
    page.goto(f"{server}/issue/N?bag={code}")
    page.get_by_label("Crew", exact=True).fill("Crew 14")
    page.get_by_label("Truck").fill("14")
    page.get_by_label("Signed for the crew by").fill("T. Ahola")
    follow(page.get_by_role("button", name="Out with the crew"))
    expect(page.get_by_text("it goes out only by planner or duty supervisor").first).to_be_visible()
    assert_open_to_everybody(page)
    page.goto(f"{server}/issue/N?bag={code}")
    page.get_by_label("Crew", exact=True).fill("Crew 14")
    for label, text in (("Truck", "14"), ("Signed for the crew by", "T. Ahola"),
                        ("Why it goes short", "the rest by van"), ("sign-in name", sign_in_name(DUTY)),
                        ("Their PIN", PIN)):  # fmt: skip
        page.get_by_label(label).fill(text)
    follow(page.get_by_role("button", name="Out with the crew"))
    said(page, "OUT")
