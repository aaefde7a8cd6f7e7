"""A storm by what people do on pages: asked for, on, counter, lots, returns door, closed, and its report."""

from datetime import timedelta
from hashlib import sha256
from typing import Any

import pytest
from bag_stores import NIGHT, Stores, demo_sheets, staged_early
from browsing import OTHER_STORES, browser_of, people, send, words
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import AUDITOR, BUYER, CREW, DUTY, PLANNER, STORES

from inventory.models import Action, Balance
from kitting.models import Bag, Event, KeptKit, LotToFinish, Policy, Storm
from kitting.selectors.bag_contents import label_code
from kitting.services.return_bags import write_off
from kitting.services.storm_issues import Handful, issue_to_storm
from kitting.services.storms import open_storm

pytestmark = pytest.mark.django_db


def with_people() -> None:
    """The demo with J10's bag for vault 9 staged, and people who may sign in."""
    staged_early()
    people()


books = books_of_module(demo_sheets, with_people)
CREW_2 = {"crew": "Crew 2", "company": "Larkfield Line", "where": "Alder 12"}


@pytest.fixture
def stores() -> Stores:
    """The night of the storm."""
    return Stores(NIGHT)


@pytest.fixture
def storm(stores: Stores) -> Storm:
    """An open one."""
    return open_storm(storm="EV1", depot="N", title="ice on the feeders", **stores.scan(DUTY))


def shelf(code: str) -> Balance:
    """The bin of N that holds most of a stock code."""
    found = Balance.objects.filter(lot__item__stock_code=code, place__depot__depot="N", place__kind="bin")
    return found.select_related("place__depot", "lot__item").order_by("-quantity")[0]


def given_out(stores: Stores, lot: str | None = None, where: str = "Alder 12") -> Bag:
    """Three inserts with a visiting crew."""
    there = shelf("BI15")
    piece = Handful(
        place=there.place, quantity=3000, stock_code="BI15", lot=there.lot.number if lot is None else lot
    )  # fmt: skip
    return issue_to_storm(
        storm="EV1", depot="N", crew="Crew 2", company="Larkfield Line", where=where, pieces=[piece],
        confirmed=["promised-to-others/1"], **stores.scan(),
    ).bag  # fmt: skip


def scanned(client: Client, *scans: dict[str, str]) -> Any:
    """Scan things for a crew one after the other, from the page that the last scan led to."""
    page = client.get("/storms/EV1/issue/N", {**CREW_2, **scans[0]}, follow=True)
    for scan in scans[1:]:
        lines = [line.text for line in page.context["lines"]]
        page = client.get("/storms/EV1/issue/N", {**CREW_2, "line": lines, **scan}, follow=True)
    return page


def test_a_planner_asks_and_the_duty_supervisor_opens_and_every_page_says_so() -> None:
    planner, duty = browser_of(PLANNER), browser_of(DUTY)
    assert "STORM ON" not in words(planner.get("/"))
    told = words(send(planner, "/storms", do="ask", code="EV1", title="ice on the feeders"))
    assert "ASKED EV1 waits for the duty supervisor." in told
    assert "1 storm: to approve or refuse" in words(duty.get("/"))
    assert "storm EV1" in words(duty.get("/to-approve"))
    refused = words(send(planner, "/storms", do="open", code="EV2", title="wind", depot="N"))
    assert "may not approve this (storm)" in refused
    opened = words(send(duty, "/storms/EV1", do="open", depot="N"))
    assert "STORM ON EV1: its code is on everything" in opened
    assert "1 storm on: give kits, issue cartons, take returns EV1" in words(browser_of(STORES).get("/"))
    for client in (planner, browser_of(STORES), browser_of(BUYER)):
        assert "STORM ON EV1 ice on the feeders" in words(client.get("/more"))


def test_a_storm_that_is_refused_leaves_its_code_free_and_who_asked_is_told() -> None:
    planner, duty = browser_of(PLANNER), browser_of(DUTY)
    send(planner, "/storms", do="ask", code="EV1", title="ice")
    assert "needs a reason" in words(send(duty, "/storms/EV1", do="refuse", why=" "))
    assert "R. Tolley is told" in words(send(duty, "/storms/EV1", do="refuse", why="it turns to rain"))
    assert not Storm.objects.exists()
    assert Event.objects.get(name="storm refused").addressed_to == "planner"
    assert "EV1 waits" in words(send(planner, "/storms", do="ask", code="EV1", title="ice again"))


def test_what_was_typed_stays_after_a_refusal() -> None:
    page = send(browser_of(DUTY), "/storms", do="open", code="J01", title="ice", depot="N").content.decode()
    assert "J01 is the number of a job" in page
    assert 'value="ice"' in page


@pytest.mark.usefixtures("storm")
def test_cartons_go_out_by_scan_with_a_crew_that_is_on_no_list_and_a_lot_that_nobody_read_is_named_later() -> None:
    client, there = browser_of(STORES), shelf("BI15")
    lot = there.lot.number
    assert "First who takes them" in words(client.get("/storms/EV1/issue/N"))
    by_carton = {"place": there.place.code, "scan": f"(241)BI15(10){lot}(37)2"}
    without_lot = {"place": there.place.code, "scan": "BI15", "pieces": "1"}
    page = scanned(client, by_carton, without_lot)
    assert f" 2 BI15 from {there.place.code}, lot {lot}" in words(page)
    assert "LOT TO NAME LATER" in words(page)
    lines = [line.text for line in page.context["lines"]]
    out = send(client, "/storms/EV1/issue/N", **CREW_2, line=lines, confirmed="promised-to-others/1")
    assert "OUT EV1 Alder 12 is with Crew 2 (Larkfield Line)" in words(out)
    assert "1 lots are still to be named" in words(out)
    assert LotToFinish.objects.get().quantity == 1000
    assert Balance.objects.get(pk=there.pk).quantity == there.quantity - 3000
    assert "1 lot to name in storm EV1" in words(client.get("/"))


@pytest.mark.usefixtures("storm")
def test_what_cannot_be_scanned_is_said_and_what_was_scanned_before_stays() -> None:
    client, place = browser_of(STORES), shelf("BI15").place.code
    first = {"place": place, "scan": "BI15", "pieces": "1"}
    assert "HOW MANY" in words(scanned(client, {"place": place, "scan": "BI15"}))
    for wrong, said in (
        ({"place": "Z-99", "scan": "BI15", "pieces": "1"}, "Z-99"),
        ({"place": place, "scan": "NO-SUCH", "pieces": "1"}, "NO-SUCH"),
    ):
        page = scanned(client, first, wrong)
        assert said in words(page)
        assert f"1 BI15 from {place}" in words(page)
    assert "READ AGAIN" in words(client.get("/storms/EV1/issue/N", {**CREW_2, "line": "{}"}))
    assert client.get("/storms/EV1/issue/Q", CREW_2).status_code == 404
    assert "Say what Crew 2 takes" in words(send(client, "/storms/EV1/issue/N", **CREW_2))


@pytest.mark.usefixtures("storm")
def test_lots_are_named_until_the_list_is_empty(stores: Stores) -> None:
    given_out(stores, lot="")
    given_out(stores, lot="", where="Birch 3")
    client = browser_of(STORES)
    first, second = LotToFinish.objects.order_by("pk")
    assert "2 to name, 0 named" in words(client.get("/storms/EV1/lots"))
    assert "Read the lot" in words(send(client, "/storms/EV1/lots", number=first.pk, read="?"))
    named = words(send(client, "/storms/EV1/lots", number=first.pk, read=first.lot.number))
    assert "NAMED" in named
    assert "1 left to name" in named
    carton = f"(241)BI15(10){second.lot.number}"
    assert "ALL NAMED" in words(send(client, "/storms/EV1/lots", number=second.pk, read=carton))
    assert "Nothing to finish has the number 0" in words(send(client, "/storms/EV1/lots", number="x", read="L-1"))


@pytest.mark.usefixtures("storm")
def test_a_planned_kit_is_kept_out_of_the_storm_with_a_reason() -> None:
    planner = browser_of(PLANNER)
    page = words(planner.get("/storms/EV1"))
    assert "J10 Ironbridge Vault 9" in page
    assert "nobody has said" in page
    kept = {"do": "keep", "job": "J10", "protection": "never"}
    assert "needs a reason" in words(send(planner, "/storms/EV1", **kept, why=""))
    assert "KEPT J10 in EV1: never" in words(send(planner, "/storms/EV1", **kept, why="hospital"))
    assert KeptKit.objects.get().by == "R. Tolley"
    assert "NEVER hospital" in words(browser_of(STORES).get("/storms/EV1"))
    assert browser_of(STORES).post("/storms/EV1", kept).status_code == 403


@pytest.mark.usefixtures("storm")
def test_the_returns_door_leads_to_the_turn_in_and_the_storm_closes_when_all_is_accounted_for(stores: Stores) -> None:
    bag = given_out(stores)
    client, duty, code = browser_of(STORES), browser_of(DUTY), label_code(bag)
    assert "still open: 3 BI15" in words(send(duty, "/storms/EV1", do="close"))
    door = words(client.get("/storms/EV1/returns"))
    assert "EV1 Alder 12" in door
    assert "3 BI15" in door
    assert "Turn in" in words(client.get("/storms/EV1/returns", {"bag": code}, follow=True))
    other = stores.code("J10", "V9")
    assert "NOT OF EV1" in words(client.get("/storms/EV1/returns", {"bag": other}))
    lot = shelf("BI15").lot.number
    write_off(bag=code, stock_code="BI15", lot=lot, quantity=3000, deed="lost", why="snow", **stores.scan(CREW))
    assert "BALANCED" in words(client.get("/storms/EV1/returns"))
    send(client, f"/bags/{code}/close")
    closed = words(send(duty, "/storms/EV1", do="close"))
    assert "CLOSED EV1 is over. To be bought again:" in closed
    assert "STORM ON" not in words(duty.get("/"))
    assert "is closed since" in words(client.get("/storms/EV1/kit"))


@pytest.mark.usefixtures("storm")
def test_the_rate_and_the_hours_that_the_rest_lasts_stand_on_the_page_of_the_storm(stores: Stores) -> None:
    assert "Nothing has gone out yet" in words(browser_of(STORES).get("/storms/EV1"))
    given_out(stores)
    assert "an hour 3 in all" in words(browser_of(STORES).get("/storms/EV1"))


def test_prices_and_the_report_are_for_buyer_and_auditor_only(stores: Stores, storm: Storm) -> None:
    bag = given_out(stores)
    lot = shelf("BI15").lot
    write_off(bag=label_code(bag), stock_code="BI15", lot=lot.number, quantity=3000, deed="lost", why="snow",
              **stores.scan(CREW))  # fmt: skip
    lot.item.price = None
    lot.item.save()
    page = words(browser_of(BUYER).get(f"/storms/{storm}/use"))
    assert "1 line, value 0 WITHOUT 1 line" in page
    assert "NO PRICE stock" in page
    assert "NO PRICE" not in words(browser_of(STORES).get("/storms/EV1/use"))
    assert browser_of(STORES).post("/storms/EV1/use.csv").status_code == 403
    client = browser_of(AUDITOR)
    assert client.post("/storms/EV1/use.pdf").content.startswith(b"%PDF")
    assert client.post("/storms/EV1/use.xlsx").content.startswith(b"PK")
    table = client.post("/storms/EV1/use.csv").content
    assert "Alder 12" in table.decode("utf-8-sig")
    noted = Event.objects.filter(name="file written").order_by("-number")[0]
    assert (noted.subject, noted.data["digest"]) == ("storm use.csv EV1", sha256(table).hexdigest())
    assert client.post("/storms/EV1/use.doc").status_code == 404
    assert client.get("/storms/EV9/use").status_code == 404


def test_a_storm_that_is_left_on_is_a_task_of_who_closes_it(stores: Stores, storm: Storm) -> None:
    Policy.objects.update_or_create(policy="demo", defaults={"value": "yes"})  # its clock goes by the last deed
    assert "left on" not in words(browser_of(DUTY).get("/"))
    Action.objects.create(number="later", by="M. Osei", at=stores.at + timedelta(15))
    task = words(browser_of(DUTY).get("/"))
    assert "1 storm left on for more than 14 days: close it EV1" in task
    assert "left on" not in words(browser_of(OTHER_STORES).get("/"))
    assert "LEFT ON" in words(browser_of(DUTY).get(f"/storms/{storm}"))


@pytest.mark.usefixtures("storm")
@pytest.mark.parametrize("address", ["/storms", "/storms/EV1", "/storms/EV1/lots", "/storms/EV1/returns", "/"])
def test_pages_of_a_storm_ask_the_books_no_more_often_when_more_went_out(stores: Stores, address: str) -> None:
    client = browser_of(STORES)
    given_out(stores, lot="")
    few = _queries(client, address)
    for where in ("Birch 3", "Cedar 1", "Dogwood 7"):
        given_out(stores, lot="", where=where)
    assert _queries(client, address) == few


def _queries(client: Client, address: str) -> int:
    client.get(address)  # the first visit keeps the session
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)
