"""Part deliveries go to the promises that waited for them, in the order in which the jobs are staged."""

import io
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Depot, OrderLine, Place
from inventory.services.holding import place_hold
from inventory.services.receiving import Arrival, receive
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.models import Event, Promise
from kitting.selectors.lots import claims
from kitting.selectors.orders import came
from kitting.selectors.promises import open_promises
from kitting.selectors.sheets import sheets_from_records
from kitting.services.apply_plan import ReviewedPlan, apply_plan
from kitting.services.end_jobs import cancel_job
from kitting.services.settle_deliveries import settle_deliveries

pytestmark = pytest.mark.django_db
CLEAN = Path(__file__).resolve().parents[3] / "fixtures_demo" / "clean"
AS_OF = date(2026, 3, 2)
AT = datetime(2026, 3, 21, 3, 0, tzinfo=UTC)  # at the depots the evening of the 20th


@pytest.fixture
def books() -> None:
    """The demo with its plan applied: J09 waits for 12 EL25-2 of PO-1, J12 for 6."""
    call_command("load", str(CLEAN), "--by", "planner")
    sheets = sheets_from_records()
    apply_plan(reviewed=ReviewedPlan(sheets, plan(read_book(sheets), as_of=AS_OF)), by="planner", at=AT)


def comes(pieces: int, *, place: str = "N-01-1", lot: str = "L-77") -> None:
    depot = Depot.objects.get(depot="N")
    target, _ = Place.objects.get_or_create(depot=depot, code=place)
    arrival = Arrival(stock_code="EL25-2", place=target, count=pieces * 1000, lot=lot, order="PO-1", line="1")
    number = f"receipt {Event.objects.count()} {lot} {pieces}"
    receive(depot=depot, arrivals=[arrival], by="stores", at=AT, action=number)


def promised() -> dict[tuple[str, str], int]:
    """Whole EL25-2 by job and by where they come from."""
    found: dict[tuple[str, str], int] = {}
    frame = open_promises()
    for row in frame[frame["stock_code"] == "EL25-2"].itertuples(index=False):
        source = row.order or f"lot {row.lot}"
        if source in ("PO-1", "lot L-77"):
            found[str(row.job), source] = found.get((str(row.job), source), 0) + int(row.quantity)
    return found


@pytest.mark.usefixtures("books")
def test_fifteen_of_twenty_four_go_to_the_job_that_is_staged_first_and_the_rest_to_the_next() -> None:
    """Trap T19, its first half: J09 has its 12, J12 has 3 now and 3 with the rest of the order."""
    assert promised() == {("J09", "PO-1"): 12, ("J12", "PO-1"): 6}
    assert settle_deliveries(by="stores", at=AT) == 0
    comes(15)
    assert settle_deliveries(by="stores", at=AT) > 0
    after = {("J09", "lot L-77"): 12, ("J12", "lot L-77"): 3, ("J12", "PO-1"): 3}
    assert promised() == after
    assert settle_deliveries(by="stores", at=AT) == 0
    assert promised() == after
    told = {event.subject: event.data["given"] for event in Event.objects.filter(name="delivery promised")}
    assert told == {"J09": {"EL25-2 of PO-1/1": "12"}, "J12": {"EL25-2 of PO-1/1": "3"}}
    comes(9, lot="L-78")
    settle_deliveries(by="stores", at=AT)
    assert promised() == {("J09", "lot L-77"): 12, ("J12", "lot L-77"): 3}
    own = Promise.objects.filter(lot__number="L-77", released_at=None).values_list("job__job", "source", "ready_on")
    assert set(own) == {("J09", "shelf", date(2026, 3, 20)), ("J12", "transfer", date(2026, 3, 19))}
    assert {one.on for one in came(OrderLine.objects.get(order__number="PO-1", line="1"))} == {date(2026, 3, 20)}


@pytest.mark.usefixtures("books")
def test_pieces_on_hold_or_set_aside_serve_no_promise() -> None:
    comes(15)
    place_hold(stock_code="EL25-2", lot="L-77", reason="recall", by="stores", at=AT, action="hold 1")
    assert settle_deliveries(by="stores", at=AT) == 0
    assert promised() == {("J09", "PO-1"): 12, ("J12", "PO-1"): 6}


@pytest.mark.usefixtures("books")
def test_the_queries_do_not_grow_with_the_promises_that_are_served() -> None:
    counts = []
    for pieces in (1, 14):
        comes(pieces)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            settle_deliveries(by="stores", at=AT)
        counts.append(len(asked))
    assert counts[1] <= counts[0] + 1  # a promise is served whole: one statement more takes it off the order


def said(*words: str) -> str:
    out = io.StringIO()
    call_command(*words, stdout=out)
    return out.getvalue()


@pytest.mark.usefixtures("books")
def test_a_lot_is_traced_to_the_jobs_it_is_promised_to_and_one_that_expires_to_those_that_could_use_it() -> None:
    """Now and at a past moment: cancelling a job frees its pieces from then on, and not before."""
    (row,) = (line.split() for line in said("look_ahead", "--as-of", "2026-03-02").splitlines()[1:])
    assert row == ["30", "days", "2026-03-31", "CS15-2", "L-2303B", "H", "H-04-2", "6", "J06"]
    told = said("trace", "EL15-2", "L-2502-104")
    assert "received: 4 ea" in told
    assert "not accounted for: 0 ea" in told
    assert "promised: 3 ea at N/N-01-2 to J01/A1-a/r1-from/ABC/elbow" in told
    cancel_job(job="J01", why="sold", by="planner", at=AT + timedelta(hours=2))
    assert "promised" not in said("trace", "EL15-2", "L-2502-104")
    assert claims(stock_code="EL15-2", lot="L-2502-104", as_of=AT + timedelta(hours=1)) != []
    assert claims(stock_code="EL15-2", lot="L-2502-104", as_of=AT - timedelta(hours=1)) == []
    errors = io.StringIO()
    with pytest.raises(SystemExit):
        call_command("trace", "EL15-2", "L-2502-104", "--at", "2020-01-01", stderr=errors)
    assert "Nothing was booked before 2020-01-01" in errors.getvalue()
