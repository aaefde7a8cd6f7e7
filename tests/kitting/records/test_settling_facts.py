from datetime import UTC, date, datetime

import pytest
from bag_stores import demo_sheets, planned
from module_books import books_of_module
from people import CREW, PLANNER, STORES
from refusals import refusal

from inventory.models import Depot, Item
from jobs.models import Job, Position, Reel, Run, ScheduleRevision
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.models import Pin
from kitting.selectors.overrides import overrides
from kitting.selectors.sheets import sheets_from_records
from kitting.services.freeze_outages import freeze_outages
from kitting.services.job_steps import confirm_job
from kitting.services.settle_facts import settle_fact

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
books = books_of_module(demo_sheets, planned)


def row_of(sheet: str, *key: str) -> int:
    cells = sheets_from_records(AT.date()).sheets[sheet].cells
    return next(int(row) for row, *texts in cells.itertuples(name=None) if tuple(texts[: len(key)]) == key)


def test_a_reel_named_for_a_run_makes_a_new_revision_of_its_schedule_and_of_no_other() -> None:
    row = row_of("schedule", "J12", "2")

    told = settle_fact(sheet="schedule", row=row, column="reel", read="R-2202", value="R-2201", actor=PLANNER, at=AT)

    assert told == "schedule J12/2"
    assert Run.objects.get(revision__job__job="J12", revision__live=True, run="2").reels == "R-2201"
    assert [*ScheduleRevision.objects.filter(live=True, letter="B").values_list("job__job", flat=True)] == ["J12"]


def test_a_fact_of_a_job_whose_outage_is_frozen_keeps_the_reason_that_was_given_for_it() -> None:
    confirm_job(job="J12", actor=PLANNER, at=AT, why="the mill agreed")
    freeze_outages(day=date(2026, 4, 25), actor=PLANNER, at=AT)
    row = row_of("schedule", "J12", "2")
    asked = {"sheet": "schedule", "row": row, "column": "reel", "read": "R-2202", "value": "R-2201", "at": AT}

    silent = refusal("frozen", settle_fact, **asked, actor=PLANNER, reason=" ")
    settle_fact(**asked, actor=PLANNER, reason="the yard read the tag")

    assert "needs a reason" in silent
    (one,) = [one for one in overrides() if one.what == "changed after the freeze"]
    assert (one.subject, one.reason) == ("J12", "the yard read the tag")


def test_a_fact_of_a_position_is_changed_in_place_unless_the_cell_reads_otherwise_now() -> None:
    row = row_of("positions", "G3", "a")
    asked = {"sheet": "positions", "row": row, "column": "interface", "actor": PLANNER, "at": AT}

    stale = refusal("fact-changed", settle_fact, **asked, read="", value="200 A 35 kV small")
    settle_fact(**asked, read="200 A 35 kV large", value="200 A 35 kV small")

    assert "reads 200 A 35 kV large now, not blank" in stale
    assert Position.objects.get(structure__structure="G3", position="a").interface == "200 A 35 kV small"


def test_a_gauge_reading_may_be_typed_in_inches() -> None:
    row = row_of("reels", "R-1187")

    settle_fact(sheet="reels", row=row, column="DOI low", read="", value="0.821 in", actor=CREW, at=AT)

    assert Reel.objects.get(reel="R-1187").doi_low_nm == 20_853_400


def test_a_pin_that_can_not_be_held_is_changed_where_the_plan_asks_and_stock_is_not() -> None:
    """Three are pinned to J11 from a depot that has none; the list of pins has no key."""
    line = "J11/JN4-b/position/ABC/elbow arrester"
    pin = {"job": Job.objects.get(job="J11"), "item": Item.objects.get(stock_code="EA15-15.3"), "by": "R. Tolley"}
    for depot in ("N", "H"):
        depots = {"depot": Depot.objects.get(depot=depot), "quantity": 1_000}
        Pin.objects.create(**pin, **depots, line=line, reason="promised by phone")
    made = plan(read_book(sheets_from_records(AT.date())), as_of=AT.date())
    (asked,) = (one for one in made.questions if one.sheet == "pins")
    cell = {"sheet": asked.sheet, "row": asked.row, "column": asked.column, "read": asked.read, "actor": PLANNER}

    told = settle_fact(**cell, value="2", at=AT)

    assert told == f"pins row {asked.row}"
    assert [*Pin.objects.order_by("pk").values_list("quantity", "version")] == [(1_000, 1), (2_000, 2)]
    row = row_of("stock", "BI15")
    stock = {"sheet": "stock", "row": row, "column": "lot", "read": "L-BI15-1", "value": "L-1", "actor": STORES}
    assert "is not changed cell by cell" in refusal("not-by-hand", settle_fact, **stock, at=AT)


def test_nothing_is_no_fact_and_a_cell_that_is_not_there_takes_none() -> None:
    row = row_of("positions", "G3", "a")
    asked = {"sheet": "positions", "column": "interface", "read": "", "actor": PLANNER, "at": AT}

    assert "Type what" in refusal("no-value", settle_fact, **asked, row=row, value=" ")
    assert "no cell" in refusal("no-such-cell", settle_fact, **asked, row=9_999, value="A")


def test_a_fact_is_given_by_whoever_may_change_its_sheet() -> None:
    row = row_of("positions", "G3", "a")
    asked = {"sheet": "positions", "row": row, "column": "interface", "read": "200 A 35 kV large"}

    told = refusal("not-allowed", settle_fact, **asked, value="200 A 35 kV small", actor=STORES, at=AT)

    assert told == "M. Osei may not change the sheet positions; planner may. Nothing was stored."
