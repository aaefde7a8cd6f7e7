"""What a finger or a mouse has to hit in tables, and short codes that stay whole, in a real browser."""

import pytest
from bag_stores import Stores, demo_sheets
from browsing import bags_listed
from chromium import Opened, assert_open_to_everybody, sign_in
from people import STORES
from pytest_django.live_server_helper import LiveServer
from record_books import load

from inventory.models import Item
from kitting.selectors.pick_walk import pick_walk

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]
TARGET = 44  # pixels
# Of each link in a table its height, and how far below the one above in its column it begins.
LINKS = """[...document.querySelectorAll("main table")].flatMap(table => {
  const boxes = [...table.querySelectorAll("td:first-child a")].map(one => one.getBoundingClientRect());
  return boxes.map((box, at) => [box.height, at ? box.top - boxes[at - 1].top : 1000]);
})"""


def test_links_in_tables_are_large_enough_and_apart_at_a_desk_and_on_a_phone(
    live_server: LiveServer, look: Opened
) -> None:
    load(demo_sheets())
    bags_listed()
    for phone in (False, True):
        page = look(phone=phone)
        sign_in(page, live_server.url, STORES)
        page.goto(f"{live_server.url}/jobs/J03/bags")
        found = page.evaluate(LINKS)
        assert len(found) == 7
        assert all(height >= TARGET and apart >= TARGET for height, apart in found), found


def test_a_stock_code_is_not_broken_at_its_hyphen_in_the_heading_of_a_pick(
    live_server: LiveServer, look: Opened
) -> None:
    load(demo_sheets())
    bags_listed()
    code = Stores().code("J03", "V2")
    (step, *_) = pick_walk(depot="N", bags=[code])
    page = look(phone=True)
    sign_in(page, live_server.url, STORES)
    heading = page.locator(".now .thing span span")
    for called in ("Tee", "Connector for tee", "Connector for a deadbreak tee", "Connector, deadbreak tee, copper"):
        Item.objects.filter(pk=step.lot.item_id).update(stock_code="LUG-750-A-15.3", description=called)
        page.goto(f"{live_server.url}/pick/N?bag={code}")
        assert heading.inner_text() == "LUG-750-A-15.3"
        assert heading.evaluate("one => one.getClientRects().length") == 1, called
        assert_open_to_everybody(page)
