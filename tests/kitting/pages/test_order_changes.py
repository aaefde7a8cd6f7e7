"""The page of an order line: parts with days of their own, what is cut, kept or sent back, each looked at first."""

from datetime import timedelta

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import browser_of, people, send, words
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import BUYER, PLANNER, STORES

from inventory.models import Depot, Movement, OrderLine
from inventory.services.receiving import Arrival, receive
from kitting.services.end_jobs import cancel_job
from kitting.services.settle_deliveries import settle_deliveries

pytestmark = pytest.mark.django_db


def prepared() -> None:
    planned()
    people()


books = books_of_module(demo_sheets, prepared)


def line(number: str = "1") -> OrderLine:
    return OrderLine.objects.get(order__number="PO-1", line=number)


def address(number: str = "1") -> str:
    return f"/orders/{line(number).pk}"


def came(pieces: int) -> None:
    place, at = Stores().place("N", "arrived"), Stores().at + timedelta(hours=1)
    arrival = Arrival(stock_code="EL25-2", place=place, count=pieces * 1000, lot="L-9", order="PO-1", line="1")
    receive(depot=Depot.objects.get(depot="N"), arrivals=[arrival], by=STORES.name, at=at, action="in-1")
    settle_deliveries(by=STORES.name, at=at)


def test_fifteen_now_and_nine_later_are_entered_before_the_first_comes_and_who_loses_is_seen_first() -> None:
    """Trap T19: with the nine on 2026-04-27 J12 (staged by 04-23) is short of 3, with 04-10 it is not."""
    client = browser_of(BUYER)
    part = {"change": "split", "units": "9", "promised": "2026-04-27", "why": "9 later"}

    asked = send(client, address(), **part)
    looked_only = OrderLine.objects.filter(order__number="PO-1").count()
    noted = send(client, address(), **part, save="yes", action="P-1")
    again = send(client, address(), **part, save="yes", action="P-1")
    of_part = words(client.get(address("1.2")))

    assert "A part of an order line comes on another day" in words(asked)
    assert "J12" in words(asked)
    assert "Note 2026-04-27 for this part" in words(asked)
    assert looked_only == 1
    assert "A part of PO-1/1 is promised for 2026-04-27 now" in words(noted)
    assert "PO-1/1: this one 2026-03-18 15 ea 0 ea PO-1/1.2 2026-04-27 9 ea 0 ea" in words(noted)
    assert "NOTED" in words(again)
    assert OrderLine.objects.filter(order__number="PO-1").count() == 2
    assert "Part of PO-1/1" in of_part
    assert "J12 3 ea 2026-04-28 2026-04-23 LATE: its bag must be ready before" in of_part
    assert "PO-1/1.2" in words(client.get("/orders"))
    late = words(send(client, address("1"), change="late", days="60"))
    assert "line 1" in late
    assert "J09" in late
    whole = words(send(client, address("1.2"), change="late", days="0", whole="yes"))
    assert "line 1.2" not in whole
    assert "No job would change" in whole


def test_a_part_that_can_t_be_is_refused_with_the_way_out_and_nothing_typed_is_lost() -> None:
    client = browser_of(BUYER)
    part = {"change": "split", "units": "25", "promised": "2026-04-27", "why": "9 later"}

    too_many = send(client, address(), **part)
    past = send(client, address(), **{**part, "units": "9", "promised": "2026-02-01"})
    no_day = send(client, address(), **{**part, "promised": "soon"})
    wordless = send(client, address(), **{**part, "units": "many"})
    unknown = send(client, address(), change="burn")

    assert "25 ea are more than is to come of PO-1/1: 24 ea" in words(too_many)
    assert 'value="25"' in too_many.content.decode()
    assert "2026-02-01 is past; today is 2026-03-02" in words(past)
    assert "Give the day as" in words(no_day)
    assert "Write a number such as 6" in words(wordless)
    assert "Say what becomes of the order line" in words(unknown)
    assert send(browser_of(PLANNER), address(), **part).status_code == 403


def test_an_order_that_is_not_needed_is_cut_after_a_look_at_who_would_lose() -> None:
    client = browser_of(BUYER)

    asked = words(send(client, address(), change="cut", why="the ring is not built"))
    before = line().quantity
    reduced = words(send(client, address(), change="cut", units="4", why="fewer", save="yes", action="P-1"))
    cancelled = words(send(client, address(), change="cut", why="not built", save="yes", action="P-2"))
    wordless = words(send(client, address(), change="cut", save="yes", action="P-3"))

    assert "Pieces of an order line don't come" in asked
    assert "J09" in asked
    assert "Order 24 fewer" in asked
    assert before == 24_000
    assert "REDUCED" in reduced
    assert "CANCELLED" in cancelled
    assert "and 24 ea more that will not come" in cancelled
    assert "The supplier says another day" not in cancelled
    assert "needs a reason" in wordless
    assert "PO-1/1" not in words(client.get("/orders"))


def test_what_came_for_a_cancelled_job_is_decided_by_the_buyer_and_sent_back_by_stores() -> None:
    buyer, stores = browser_of(BUYER), browser_of(STORES)
    came(24)
    cancel_job(job="J12", why="not built", by=PLANNER.name, at=Stores().at + timedelta(hours=2))

    listed = words(buyer.get("/orders"))
    decided = words(send(buyer, address(), change="send back", why="nobody needs 12", action="P-1"))
    page = stores.get(address())
    place, lot = (page.content.decode().split(f'name="{name}" value="')[1].split('"')[0] for name in ("place", "lot"))
    back = {"place": place, "lot": lot}
    too_many = words(send(stores, f"{address()}/send-back", **back, quantity="13"))
    nowhere = words(send(stores, f"{address()}/send-back", place="x", lot=lot, quantity="12"))
    sent = words(send(stores, f"{address()}/send-back", **back, quantity="12", action="P-2"))

    assert "Came for a job that was cancelled: keep or send back?" in listed
    assert "GOES BACK" in decided
    assert "12 ea of EL25-2 lot L-9 lie free at N/arrived" in words(page)
    assert "12 ea of PO-1/1 lie free at N/arrived, not 13 ea" in too_many
    assert "Choose where the pieces lie" in nowhere
    assert "12 ea of PO-1/1 went back to the supplier; the buyer is told" in sent
    assert Movement.objects.get(ending="returned to supplier").quantity == 12_000
    assert send(buyer, f"{address()}/send-back", **back, quantity="1").status_code == 403
    assert "Came for a job" not in words(buyer.get("/orders"))


def test_an_order_line_asks_the_books_as_often_with_more_parts() -> None:
    client = browser_of(BUYER)
    part = {"change": "split", "units": "2", "why": "in parts", "save": "yes"}
    counts = []
    for day in ("2026-04-10", "2026-04-11", "2026-04-12", "2026-04-13"):
        send(client, address(), **part, promised=day)
        client.get(address())
        with CaptureQueriesContext(connection) as asked:
            client.get(address())
        counts.append(len(asked))
    assert len(set(counts)) == 1
