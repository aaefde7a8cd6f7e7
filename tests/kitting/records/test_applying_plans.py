"""A plan made from records is applied whole, or refused with what has changed; what ends a job frees its pieces."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest
from desk import Desk
from django.core.management import call_command

from inventory.models import Balance, Item
from jobs.models import Job
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.errors import Refusal
from kitting.models import AppliedPlan, Event, Promise
from kitting.selectors.promises import open_promises
from kitting.selectors.sheets import sheets_from_records
from kitting.services.apply_plan import ReviewedPlan, apply_plan
from kitting.services.change_facts import change_facts
from kitting.services.end_jobs import cancel_job, complete_job
from kitting.services.load_sheets import load_sheets
from kitting.spreadsheets.reading import read_raw_book

pytestmark = pytest.mark.django_db(transaction=True)
CLEAN = Path(__file__).resolve().parents[3] / "fixtures_demo" / "clean"
AS_OF = date(2026, 3, 2)
AT = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)


@pytest.fixture
def books() -> None:
    call_command("load", str(CLEAN), "--by", "planner")


def reviewed(as_of: date = AS_OF) -> ReviewedPlan:
    sheets = sheets_from_records()
    return ReviewedPlan(sheets, plan(read_book(sheets), as_of=as_of, earlier=open_promises()))


@pytest.mark.usefixtures("books")
def test_an_applied_plan_stands_as_promises_that_say_what_the_plan_said() -> None:
    made = reviewed()
    applied = apply_plan(reviewed=made, by="planner", at=AT)
    stored = open_promises()
    columns = ["line", "stock_code", "lot", "depot", "place", "order"]
    texts = [frame.astype(dict.fromkeys(columns, str)) for frame in (stored, made.plan.promises)]
    first, second = (frame.groupby(columns)["quantity"].sum().sort_index() for frame in texts)
    pd.testing.assert_series_equal(first, second)
    assert Promise.objects.filter(rule_revision="").exclude(rule="by hand").count() == 0
    (event,) = Event.objects.filter(name="plan applied")
    assert (event.by, event.data["promises"]) == ("planner", applied.promises.count())


@pytest.mark.usefixtures("books")
def test_applying_again_keeps_every_piece_and_releases_the_former_promises() -> None:
    first = apply_plan(reviewed=reviewed(), by="planner", at=AT)
    before = open_promises()
    second = reviewed()
    assert second.plan.moved is not None
    assert second.plan.moved.empty
    apply_plan(reviewed=second, by="planner", at=AT)
    pd.testing.assert_frame_equal(open_promises(), before)
    assert set(first.promises.values_list("released_why", flat=True)) == {f"plan {first.pk + 1} applied"}


@pytest.mark.usefixtures("books")
@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda: Balance.objects.filter(lot__number="L-2502-104").update(quantity=1000), "stock: EL15-2"),
        (lambda: Job.objects.filter(job="J04").update(cutover="2026-03-17 08:00"), "jobs: J04"),
        (lambda: Item.objects.filter(stock_code="EL15-1").update(state="incomplete"), "items: EL15-1"),
    ],
)
def test_a_plan_whose_facts_have_changed_is_refused_and_says_which(change: Callable[[], int], told: str) -> None:
    made = reviewed()
    change()
    with pytest.raises(Refusal, match=told) as refused:
        apply_plan(reviewed=made, by="planner", at=AT)
    assert refused.value.code == "facts-changed"
    assert (AppliedPlan.objects.count(), Promise.objects.count()) == (0, 0)


def job_promises(job: str) -> int:
    return Promise.objects.filter(job__job=job, released_at__isnull=True).count()


@pytest.mark.usefixtures("books")
def test_a_cancelled_job_frees_its_pieces_and_is_planned_no_more() -> None:
    """Trap T26, as far as promises go: what J09 held is free at once, and the order it waited for is told."""
    apply_plan(reviewed=reviewed(), by="planner", at=AT)
    held = job_promises("J09")
    with pytest.raises(Refusal, match="needs a reason"):
        cancel_job(job="J09", why=" ", by="planner", at=AT)
    assert cancel_job(job="J09", why="feeder sold", by="planner", at=AT) == held > 0
    assert job_promises("J09") == 0
    (event,) = Event.objects.filter(name="job cancelled")
    assert event.addressed_to == "buyer"
    assert event.data["orders_no_longer_needed"] == ["PO-1/1"]
    with pytest.raises(Refusal, match="J09 is cancelled already"):
        complete_job(job="J09", by="planner", at=AT)
    made = reviewed()
    assert "J09" not in {job.job for job in made.plan.jobs}
    assert made.plan.moved is not None
    assert made.plan.moved.empty


@pytest.mark.usefixtures("books")
def test_a_job_that_is_complete_frees_its_pieces() -> None:
    apply_plan(reviewed=reviewed(), by="planner", at=AT)
    assert complete_job(job="J05", by="planner", at=AT) > 0
    assert job_promises("J05") == 0


def moved_by_hand(job: str, cutover: str) -> None:
    version = Job.objects.get(job=job).version
    change_facts(
        sheet="jobs", key=[job], version=version, changes={"cutover": cutover, "cutover end": ""}, by="planner", at=AT
    )


def moved_by_file(job: str, cutover: str) -> None:
    changed = Desk(read_raw_book(CLEAN)).change("jobs", {"job": job}, cutover=cutover, cutover_end="")
    load_sheets(raw=changed.raw, by="planner", at=AT)


@pytest.mark.usefixtures("books")
@pytest.mark.parametrize("move", [moved_by_hand, moved_by_file])
def test_a_job_that_is_moved_frees_its_pieces_however_it_is_moved(move: Callable[[str, str], None]) -> None:
    apply_plan(reviewed=reviewed(), by="planner", at=AT)
    held, others = job_promises("J04"), job_promises("J05")
    assert held > 0
    move("J04", "2026-03-23 08:00")
    assert (job_promises("J04"), job_promises("J05")) == (0, others)
    (event,) = Event.objects.filter(name="job moved")
    assert (event.subject, event.addressed_to, event.data["promises_released"]) == ("J04", "storekeeper", held)
    assert event.data["changed"]["cutover"][1] == "2026-03-23 08:00"


@pytest.mark.usefixtures("books")
def test_a_job_whose_title_is_changed_keeps_its_pieces() -> None:
    apply_plan(reviewed=reviewed(), by="planner", at=AT)
    held = job_promises("J04")
    version = Job.objects.get(job="J04").version
    change_facts(sheet="jobs", key=["J04"], version=version, changes={"title": "Switch"}, by="planner", at=AT)
    assert job_promises("J04") == held
