import pytest
from bag_stores import Stores, demo_sheets
from browsing import people
from chromium import assert_open_to_everybody, chromium, look, sign_in  # noqa: F401 - fixtures
from people import PLANNER
from record_books import load

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]


def test_x(live_server, look):
    load(demo_sheets())
    Stores(prefix="before").plan()
    people()
    page = look(phone=True)
    sign_in(page, live_server.url, PLANNER)
    for address in (
        "/",
        "/cutovers",
        "/jobs/J08",
        "/plans",
        "/what-if",
        "/files",
        "/jobs/J08/move",
        "/switch",
        "/papers",
        "/jobs/J08/call-sheet",
        "/what?code=BI15",
        "/jobs/J01/line?line=J01/A2-a/r1-to/ABC/elbow",
    ):
        page.goto(live_server.url + address)
        assert_open_to_everybody(page)
