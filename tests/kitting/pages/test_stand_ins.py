"""Approved stand-ins on pages: until when they hold, and what may be approved at night."""

from datetime import date

import pytest
from bag_stores import demo_sheets, planned
from browsing import browser_of, people, send, words
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import BUYER, CREW, DUTY, STANDARDS

from inventory.models import Item
from kitting.models import DutyLimit, StandIn

pytestmark = pytest.mark.django_db
PAIR = {"wanted": "cs25-2", "stand_in": "CS35-2", "pieces": "6", "days": "14", "deed": "list"}


def prepared() -> None:
    planned()
    people()


books = books_of_module(demo_sheets, prepared)


def approved() -> StandIn:
    items = {one.stock_code: one for one in Item.objects.filter(stock_code__in=("CS25-2", "CS35-2"))}
    return StandIn.objects.create(
        wanted=items["CS25-2"], allowed=items["CS35-2"], valid_to=date(2026, 4, 30), approved_by="D. Moreau",
        reason="same maker",
    )  # fmt: skip


def test_an_approval_holds_longer_or_ends_sooner_with_a_reason_and_only_by_standards() -> None:
    address = f"/stand-ins/{approved().pk}"
    client = browser_of(STANDARDS)

    wordless = words(send(client, address, deed="extend", valid_to="2026-05-31", reason=" "))
    longer = words(send(client, address, deed="extend", valid_to="2026-05-31", reason="still 10 weeks"))
    no_later = words(send(client, address, deed="extend", valid_to="2026-05-01", reason="x"))
    duty = send(browser_of(DUTY), address, deed="end", valid_to="2026-03-05", reason="x")
    sooner = words(send(client, address, deed="end", valid_to="2026-03-05", reason="the own code has come"))

    assert "needs a reason" in wordless
    assert "serves cutovers up to 2026-05-31" in longer
    assert "is no extension" in no_later
    assert duty.status_code == 403
    assert "End it on this day" not in words(browser_of(CREW).get(address))
    assert "serves cutovers up to 2026-03-05" in sooner
    assert StandIn.objects.get().valid_to == date(2026, 3, 5)
    assert client.get("/stand-ins/999").status_code == 404


def test_what_may_be_approved_at_night_is_listed_within_limits_and_taken_off_again() -> None:
    client = browser_of(STANDARDS)

    wrong = words(send(client, "/stand-ins", **{**PAIR, "days": "two"}, reason="often"))
    done = words(send(client, "/stand-ins", **PAIR, reason="same maker, same cutback"))
    forbidden = words(send(client, "/stand-ins", **{**PAIR, "wanted": "EL25-2", "stand_in": "EL35S-1"}, reason="x"))
    duty = send(browser_of(DUTY), "/stand-ins", **PAIR, reason="mine")
    listed = DutyLimit.objects.get()
    off = words(send(client, "/stand-ins", deed="unlist", listed=listed.pk, reason="no more"))

    assert "is no number of days" in wrong
    assert "CS35-2 for CS25-2 at night any 6 ea 14 days same maker, same cutback" in done
    assert "Nobody can approve this stand-in" in forbidden
    assert duty.status_code == 403
    assert "What was approved by it stays" in off
    assert "Nothing is listed" in off


def test_the_list_says_what_holds_and_what_has_ended_and_asks_the_books_as_often_with_more() -> None:
    client = browser_of(CREW)
    assert "No stand-in is approved" in words(client.get("/stand-ins"))
    one = approved()
    with CaptureQueriesContext(connection) as few:
        holds = words(client.get("/stand-ins"))
    StandIn.objects.filter(pk=one.pk).update(valid_to=date(2026, 3, 1))
    for _ in range(5):
        approved()
    with CaptureQueriesContext(connection) as many:
        both = words(client.get("/stand-ins"))

    assert "2026-04-30 HOLDS" in holds
    assert "2026-03-01 ENDED" in both
    assert len(many) == len(few)
    assert browser_of(BUYER).get("/stand-ins").status_code == 403
