"""What was installed is looked at again with what is known today."""

import io
from datetime import date

import pytest
from bag_stores import CREW, Stores, demo_sheets
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module

from inventory.models import Item
from jobs.models import CableType, Job, Reel
from kitting.models import BagEntry
from kitting.selectors.recheck_installed import Rechecked, recheck_installed
from kitting.services.earlier_jobs import Earlier, record_earlier_job
from kitting.services.issue_bags import begin_work
from kitting.services.return_bags import Installed, install

pytestmark = pytest.mark.django_db


def fit(stores: Stores, job: str, structure: str, *kinds: str) -> None:
    """Fit the pieces of these kinds of a bag that is out; all of them where none is named."""
    contents = stores.contents(job, structure)
    pieces = [
        Installed(line=stand.line.line, stock_code=contents.lots[lot].item.stock_code, lot=contents.lots[lot].number,
                  quantity=inside)
        for stand in contents.lines
        for lot, inside in stand.inside.items()
        if inside and not stand.line.spare and (not kinds or stand.line.facts["kind"] in kinds)
    ]  # fmt: skip
    install(bag=stores.code(job, structure), pieces=pieces, **stores.scan(CREW))


def two_ends_on_the_line() -> None:
    """The demo with the parts of J01's first pad on the line, and two inserts of last year."""
    made = Stores(prefix="before")
    made.plan()
    made.out("J01", "A1")
    begin_work(bag=made.code("J01", "A1"), **made.scan(CREW))
    fit(made, "J01", "A1")
    old = [Earlier(structure="PH1", position="a", stock_code="BI25", lot="L-2409-17", quantity=2_000)]
    record_earlier_job(
        job="H01", title="Pump House", depot="N", done_on=date(2025, 9, 13), fitted=old, paper="binder",
        **made.scan(CREW),
    )  # fmt: skip


books = books_of_module(demo_sheets, two_ends_on_the_line)


def refused() -> list[Rechecked]:
    """The rows that are refused."""
    return [row for row in recheck_installed().rows if row.state == "refused"]


def test_what_serves_is_not_listed_and_what_has_no_schedule_cant_be_checked() -> None:
    found = recheck_installed()
    assert [(row.job, row.end, row.slot, row.lot, row.quantity, row.state, row.check) for row in found.rows] == [
        ("H01", "PH1-a", "bushing insert", "L-2409-17", 2_000, "can't check", "schedule")
    ]
    assert found.checked == sum(BagEntry.objects.filter(deed="installed").values_list("quantity", flat=True))


def test_a_reel_measured_after_the_night_shows_the_elbow_that_is_too_large_for_it() -> None:
    assert refused() == []
    Reel.objects.filter(reel="R-1187").update(
        doi_low_nm=18_000_000, doi_high_nm=18_200_000, origin="gauge", measured_by="R. Tolley", gauge_id="G-07",
        measured_on=date(2026, 3, 9),
    )  # fmt: skip
    (elbow,) = refused()
    assert (elbow.job, elbow.end, elbow.phase, elbow.slot, elbow.stock_code) == (
        "J01", "A1-a r1 from", "ABC", "elbow", "EL15-2",
    )  # fmt: skip
    assert (elbow.check, elbow.quantity) == ("insulation diameter", 3_000)
    assert "entrance too large by 1.6" in elbow.sentence


def test_an_item_that_was_withdrawn_shows_also_when_its_job_is_long_complete() -> None:
    Item.objects.filter(stock_code="EL15-2").update(state="withdrawn")
    Job.objects.filter(job="J01").update(ended="complete")
    assert [(row.stock_code, row.check) for row in refused()] == [("EL15-2", "active and complete")]


def test_a_cable_whose_diameter_nobody_knows_any_more_cant_be_checked() -> None:
    CableType.objects.filter(cable_type="CT-02").update(
        doi_low_nm=None, doi_high_nm=None, wall_nm=None, insulation_level="", cable_class_kv=""
    )
    rows = {row.slot: row for row in recheck_installed().rows if row.job == "J01"}
    assert rows["elbow"].state == "can't check"
    assert "diameter" in rows["elbow"].check or "wall" in rows["elbow"].check
    assert "probe" not in rows


def test_more_pieces_on_the_line_cost_no_more_queries() -> None:
    with CaptureQueriesContext(connection) as one_end:
        recheck_installed()
    stores = Stores()
    stores.out("J03", "V1")
    begin_work(bag=stores.code("J03", "V1"), **stores.scan(CREW))
    fit(stores, "J03", "V1")
    with CaptureQueriesContext(connection) as two_jobs:
        found = recheck_installed()
    assert len(two_jobs) == len(one_end)
    assert {row.job for row in found.rows} == {"H01"}


def test_the_command_lists_what_is_to_be_looked_at() -> None:
    printed = io.StringIO()
    call_command("recheck", stdout=printed)
    lines = printed.getvalue().splitlines()
    assert lines[0].split() == [
        "job",
        "end",
        "phase",
        "part",
        "stock",
        "code",
        "lot",
        "pieces",
        "answer",
        "check",
        "why",
    ]
    assert "no cable or position of the live schedule stands here" in lines[1]
    assert lines[-1].endswith("pieces on the line, 2 of them to be looked at.")
