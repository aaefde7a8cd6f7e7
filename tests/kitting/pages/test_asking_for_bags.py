"""Short bags and borrows on pages: asked by the storekeeper, decided by another, gone by once."""

from datetime import timedelta

import pytest
from bag_stores import NIGHT, OTHER_STORES, Stores, demo_sheets, staged_early
from browsing import browser_of, people, send, words
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import AUDITOR, BUYER, DUTY, PLANNER

from inventory.models import Item
from kitting.models import BagRequest, Borrow, Person
from kitting.selectors.bag_contents import label_code
from kitting.services.emergency import open_emergency
from kitting.services.fill_bags import check, finish_short
from kitting.services.issue_bags import stage

pytestmark = pytest.mark.django_db


def prepared() -> None:
    """J10's bag may lend; J03's bag for vault 1 is staged, one seal short."""
    staged_early()
    made = Stores(prefix="short")
    made.bags("J03")
    made.fetch("J03", "V1", but={"JS-3": 2})  # one of the seven is the spare
    code = made.code("J03", "V1")
    finish_short(bag=code, cause="not in the bin", **made.scan())
    check(bag=code, counted=made.counted("J03", "V1"), **made.scan(OTHER_STORES))
    stage(bag=code, rack="R-1", **made.scan())
    people()


books = books_of_module(demo_sheets, prepared)


@pytest.fixture
def stores() -> Stores:
    return Stores(NIGHT)


def asked_short(stores: Stores, window: Client) -> str:
    """Ask that J03's bag goes short; the address where it is decided."""
    code = stores.code("J03", "V1")
    told = send(window, f"/bags/{code}/ask-short", crew="Crew 14", needed_at="06:00", why="the seal comes by van")
    assert "ASKED" in words(told), words(told)
    return f"/to-approve/bags/{BagRequest.objects.latest('pk').pk}"


def test_a_line_that_nobody_can_decide_yet_is_missing_wherever_it_is_asked_what_is(
    stores: Stores, window: Client
) -> None:
    bag = f"/bags/{stores.code('J10', 'V9')}"
    line = "J10/V9-J3/joint/ABC/joint accessories"

    for address, caption in ((bag, "What is missing"), (f"{bag}/ask-short", "What the crew will lack")):
        seen = words(window.get(address))
        assert "Nothing is missing." not in seen
        told = seen[seen.index(caption) :]
        assert line in told
        assert "the plan names no part for it yet" in told


def test_a_storekeeper_asks_that_a_short_bag_goes_and_the_planner_sees_what_the_crew_will_lack(
    stores: Stores, window: Client
) -> None:
    code = stores.code("J03", "V1")
    bag = words(window.get(f"/bags/{code}"))
    form = words(window.get(f"/bags/{code}/ask-short"))
    blank = send(window, f"/bags/{code}/ask-short", crew="Crew 14", why="")
    address = asked_short(stores, window)
    planner = browser_of(PLANNER)

    seen = words(planner.get(address))
    own = words(window.get(address))

    assert "Ask that it may go out short" in bag
    assert "What the crew will lack" in form
    assert "needs a reason" in words(blank)
    assert 'value="Crew 14"' in blank.content.decode()
    assert "May J03 V1 go out short?" in seen
    assert "WORSE Crew 14 opens the bag without 1 JS-3." in seen
    assert "V1-b" in seen
    assert "Approve within these days" in seen
    assert "NOT YOURS TO DECIDE" in own
    assert "Approve within these days" not in own
    assert "Ask that it may go out short" not in words(window.get(f"/bags/{code}"))
    assert "To approve" in words(planner.get("/"))
    assert "J03 V1 without 1 JS-3, for Crew 14" in words(planner.get("/"))


def test_once_approved_the_bag_is_issued_without_a_second_signature_and_only_once(
    stores: Stores, window: Client
) -> None:
    code, out = stores.code("J03", "V1"), {"crew": "Crew 14", "truck": "14", "signature": "K. Lund"}
    address = asked_short(stores, window)
    early = words(send(window, "/issue/N", bags=code, **out))
    approve = {"deed": "approve", "reason": "the van is on its way"}

    undated = words(send(browser_of(PLANNER), address, **approve, good_to="soon"))
    done = words(send(browser_of(PLANNER), address, **approve, good_to="2026-12-31"))
    task = words(window.get("/"))
    ready = words(window.get(f"/issue/N?bag={code}"))
    gone = words(send(window, "/issue/N", bags=code, **out))

    assert "Their PIN" not in ready
    assert "only by planner or duty supervisor" in early
    assert "Give the day as" in undated
    assert "APPROVED Once, through 2026-12-31" in done
    assert "short bag may go out: issue it" in task
    assert "It goes by what was approved by R. Tolley: the van is on its way, through 2026-12-31" in ready
    assert "OUT J03 V1: SHORT: 1 JS-3" in gone
    assert "HOLDS NO MORE it is used" in words(window.get(address))
    assert "short bag may go out" not in words(window.get("/"))
    listed = words(browser_of(AUDITOR).get("/exceptions?since=2026-01-01"))
    assert "short issue approved" in listed


def test_a_refusal_stands_on_the_bags_page_and_who_may_not_decide_is_refused(stores: Stores, window: Client) -> None:
    address = asked_short(stores, window)
    assert browser_of(BUYER).get(address).status_code == 403
    assert send(window, address, deed="refuse", reason="no").status_code == 403
    Person.objects.filter(name=DUTY.name).update(depots=["H"])
    assert send(browser_of(DUTY), address, deed="refuse", reason="no").status_code == 403
    told = words(send(browser_of(PLANNER), address, deed="refuse", reason="a seal lies at Mill"))

    assert "REFUSED M. Osei is told" in told
    page = words(window.get(f"/bags/{stores.code('J03', 'V1')}"))
    assert "refused by R. Tolley: a seal lies at Mill" in page
    assert "Ask that it may go out short" in page
    assert browser_of(PLANNER).get("/to-approve/bags/999").status_code == 404


def test_a_borrow_is_asked_looked_at_with_what_breaks_and_taken_by_its_approval(stores: Stores, window: Client) -> None:
    found = open_emergency(
        job="E01", structure="Saltmarsh", depot="H", wanted={"CS15-2": 3000}, why="dig-in", **stores.scan(DUTY)
    )
    address = f"/bags/{label_code(found.bag)}/borrow?item=CS15-2"
    lender = f"{stores.code('J10', 'V9')}|L-2508A"
    form = {"lender": lender, "quantity": "3", "why": "dig-in", "pay_back_by": "2026-04-09"}

    question = words(send(window, address, **form, deed="ask"))
    asked = words(send(window, address, **form, deed="ask", confirmed="free-first/1"))
    decide = f"/to-approve/bags/{BagRequest.objects.get().pk}"
    seen = words(browser_of(PLANNER).get(decide))
    approve = {"deed": "approve", "good_to": "2026-12-31", "pay_back_by": "2026-04-08", "reason": "the hospital waits"}
    done = words(send(browser_of(PLANNER), decide, **approve))
    page = words(window.get(address))
    take = {**form, "pay_back_by": "2026-04-08", "deed": "take"}
    again = words(send(window, address, **take))
    taken = words(send(window, address, **take, confirmed="free-first/1"))

    assert "Take these first: 3 of CS15-2 lot L-2303B" in question
    assert "ASKED Planner or duty supervisor decide it" in asked
    assert "J10 V9 breaks: it lacks 3 CS15-2 until they are paid back." in seen
    assert "Lending: Cutover 2026-04-11" in seen, seen
    assert "Free when it was asked, and said to be gone" in seen
    assert "APPROVED Once" in done
    assert "approved by R. Tolley: the hospital waits" in page
    assert "Take these first" in again
    assert "GO CS15-2 lot L-2508A from J10 V9 to E01" in taken
    assert Borrow.objects.get().authorised_by == PLANNER.name


def test_the_list_asks_the_books_as_often_for_many_requests_as_for_one(stores: Stores, window: Client) -> None:
    planner = browser_of(PLANNER)
    asked_short(stores, window)
    counts = []
    for _ in range(3):
        with CaptureQueriesContext(connection) as queries:
            planner.get("/to-approve")
        counts.append(len(queries))
        first = BagRequest.objects.get(what="short issue", state="asked")
        for bag in stores.bags("J01"):
            BagRequest.objects.create(
                what="borrow", bag=bag, to_bag=first.bag, item=Item.objects.earliest("pk"), quantity=1000,
                pay_back_by=stores.at.date(), lacks={}, asked_by="L. Fenn", why="dig-in",
                asked_at=stores.at - timedelta(days=1),
            )  # fmt: skip
    assert counts[1] == counts[2]
