"""What was decided by hand and still stands: pins in force, borrows, and the hours of an outage."""

from datetime import UTC, date, datetime

import pytest
from bag_stores import Stores, demo_sheets, staged_early
from browsing import browser_of, people, send, words
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import CREW, DUTY, PLANNER, STORES

from inventory.models import Depot, Item, Lot
from jobs.models import Job
from kitting.models import Borrow, Event, Pin, Promise
from kitting.selectors.overrides import overrides
from kitting.selectors.pins import pins_in_force
from kitting.services.freeze_outages import freeze_outages
from kitting.services.job_steps import confirm_job
from kitting.services.record_events import Happening, record_events

pytestmark = pytest.mark.django_db


def prepared() -> None:
    staged_early()
    people()


books = books_of_module(demo_sheets, prepared)


def pinned(quantity: int = 1000) -> Pin:
    """A line of J01 pinned to the pieces that it is promised."""
    promise = Promise.objects.filter(job__job="J01", released_at=None, item__stock_code="EL15-1").earliest("pk")
    pin = Pin.objects.create(
        job=promise.job, line=promise.line, item=promise.item, quantity=quantity, reason="hospital", by="R. Tolley"
    )
    told = Happening("pinned", promise.line, {"reason": "hospital", "stock_code": "EL15-1"})
    record_events([told], by="R. Tolley", at=datetime(2026, 3, 1, 15, tzinfo=UTC))
    return pin


def lent(why: str = "dig-in", back: date = date(2026, 2, 27)) -> Borrow:
    bag = Stores().bag("J10", "V9")
    return Borrow.objects.create(
        bag=bag, to_job=Job.objects.get(job="J06"), lot=Lot.objects.filter(item__stock_code="CS15-2").earliest("pk"),
        quantity=2000, why=why, asked_by="M. Osei", authorised_by="J. Brandt", pay_back_by=back,
        borrowed_at=datetime(2026, 2, 26, 15, tzinfo=UTC),
    )  # fmt: skip


def test_pins_in_force_say_who_why_since_when_and_what_they_hold_and_are_taken_away_with_a_reason() -> None:
    client = browser_of(PLANNER)
    empty = words(client.get("/pins"))
    pin = pinned()
    ended = pinned()
    Pin.objects.filter(pk=ended.pk).update(job=Job.objects.get(job="J02"), item=Item.objects.get(stock_code="BI15"))

    confirm_job(job="J01", actor=PLANNER, at=Stores().at, why="the hospital agreed")
    freeze_outages(day=date.fromisoformat(pin.job.cutover[:10]), actor=PLANNER, at=Stores().at)
    seen = words(client.get("/pins"))
    wordless = words(send(client, "/pins", unpin=pin.pk, reason=""))
    unknown = words(send(client, "/pins", unpin="x", reason="it can"))
    gone = words(send(client, "/pins", unpin=pin.pk, reason="it can"))

    assert "Nothing is pinned" in empty
    assert f"J01 {pin.line} EL15-1 1 of 1 R. Tolley hospital 2026-03-01" in seen
    assert "BI15 none of 1 by the plan applied last" in seen
    assert "needs a reason" in wordless
    assert "There is no pin 0" in unknown
    assert "UNPINNED" in gone
    assert not Pin.objects.filter(pk=pin.pk).exists()
    assert Event.objects.get(name="unpinned").data["pinned_why"] == "hospital"
    (late,) = [one for one in overrides() if one.what == "changed after the freeze"]
    assert (late.subject, late.by, late.reason) == ("J01", PLANNER.name, "it can")
    assert "Take a pin away" not in words(browser_of(STORES).get("/pins"))
    assert send(browser_of(STORES), "/pins", unpin=ended.pk, reason="x").status_code == 403


def test_a_pin_of_a_lot_at_a_depot_holds_nothing_of_the_same_lot_elsewhere() -> None:
    pin = pinned()
    promise = (
        Promise.objects.filter(line=pin.line, item=pin.item, released_at=None).select_related("lot").earliest("pk")
    )
    assert promise.lot
    assert promise.place

    def held(lot: str, depot: str | None) -> int:
        Pin.objects.filter(pk=pin.pk).update(lot=lot, depot=depot and Depot.objects.get(depot=depot))
        return pins_in_force()[0].held

    here = promise.place.depot.depot
    assert here != "H"
    assert [held(promise.lot.number, depot) for depot in (None, here, "H")] == [1000, 1000, 0]
    assert [held("other", depot) for depot in (None, here)] == [0, 0]

    any_lot = pinned()
    Pin.objects.filter(pk=any_lot.pk).update(line=pin.line, item=pin.item, quantity=2000)
    Promise.objects.filter(line=pin.line, item=pin.item, released_at=None).exclude(pk=promise.pk).delete()
    Promise.objects.filter(pk=promise.pk).update(quantity=2000)
    Pin.objects.filter(pk=pin.pk).update(lot=promise.lot.number, depot=None)
    assert [(one.pin.pk, one.held) for one in pins_in_force()] == [(pin.pk, 1000), (any_lot.pk, 1000)]


def test_borrows_are_counted_by_reason_and_what_will_not_come_back_is_given_up() -> None:
    client = browser_of(DUTY)
    empty = words(client.get("/borrows"))
    first, _ = lent(), lent("Dig-in")
    lent("wrong range", date(2026, 3, 9))

    seen = words(client.get("/borrows"))
    wordless = words(send(client, "/borrows", borrow=first.pk, why=""))
    given_up = words(send(client, "/borrows", borrow=first.pk, why="used at Saltmarsh", action="P-1"))

    assert "Every borrow is paid back, or given up" in empty
    assert "2 CS15-2" in seen
    assert "2026-02-27 OVERDUE" in seen
    assert "dig-in 2 2 wrong range 1 1" in seen
    assert "needs a reason" in wordless
    assert "GIVEN UP J10 V9 is really short of it" in given_up
    assert "dig-in 2 1 wrong range 1 1" in given_up
    assert Borrow.objects.get(pk=first.pk).given_up_why == "used at Saltmarsh"
    assert "It will not come back" not in words(browser_of(STORES).get("/borrows"))
    assert send(browser_of(CREW), "/borrows", borrow=first.pk, why="x").status_code == 403


def test_hours_of_an_outage_say_when_the_clocks_change() -> None:
    """Trap T36."""
    client = browser_of(PLANNER)
    assert "6 hours that really pass the clocks go forward 1 h on 2026-03-08 at 02:00" in words(client.get("/jobs/J02"))
    assert "6 h the clocks go forward 1 h on 2026-03-08 at 02:00" in words(client.get("/cutovers"))
    assert "the clocks go" not in words(client.get("/jobs/J03"))


@pytest.mark.parametrize(("address", "more"), [("/pins", pinned), ("/borrows", lent)])
def test_lists_of_what_stands_ask_the_books_as_often_with_more(address: str, more: object) -> None:
    client, counts = browser_of(PLANNER), []
    for _ in range(3):
        more()  # type: ignore[operator]
        client.get(address)
        with CaptureQueriesContext(connection) as asked:
            client.get(address)
        counts.append(len(asked))
    assert len(set(counts)) == 1
