"""When a job turned, and how ready it was on a day."""

from datetime import timedelta

import pytest
from bag_stores import MORNING, NIGHT, Stores, demo_sheets, staged_early
from browsing import PIN, browser_of, people, send, sign_in_name, words
from django.db import connection, transaction
from django.db.utils import DatabaseError
from django.test import Client
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import DUTY, STORES

from jobs.models import Job
from kitting.models import JobReadiness
from kitting.selectors.bag_contents import label_code
from kitting.services.emergency import open_emergency

pytestmark = pytest.mark.django_db


def prepared() -> None:
    staged_early()
    people()


books = books_of_module(demo_sheets, prepared)


def history(client: Client, job: str, **asked: str) -> str:
    return words(client.get(f"/jobs/{job}/history", asked))


def test_a_job_turns_where_a_plan_answers_otherwise_and_stays_where_it_answers_the_same(planner: Client) -> None:
    first = history(planner, "J01")
    Stores(MORNING + timedelta(hours=1)).plan()
    again = history(planner, "J01")
    Job.objects.filter(job="J01").update(cutover="", cutover_end="")
    Stores(MORNING + timedelta(hours=2)).plan()
    turned = history(planner, "J01")

    assert first.count(" applied ") == again.count(" applied ") == 1
    assert turned.count(" applied ") == 2
    assert "CAN'T TELL" in turned
    assert "no cutover" in turned
    assert JobReadiness.objects.filter(job="J01").count() == 3


def test_before_its_first_plan_a_job_is_not_planned_yet(planner: Client) -> None:
    Job.objects.create(job="J99", depot="N")

    assert "2026-02-27: not planned yet" in history(planner, "J01", on="2026-02-27")
    assert "2026-03-02: not planned yet" not in history(planner, "J01", on="2026-03-02")
    assert "This job is not yet planned" in history(planner, "J99")
    assert "Give the day as 2026-03-02." in words(planner.get("/jobs/J99/history", {"on": "friday"}, follow=True))
    assert planner.get("/jobs/J98/history").status_code == 404


def test_a_bag_that_was_lent_from_stands_in_the_history_as_broken(planner: Client) -> None:
    stores = Stores(NIGHT)
    found = open_emergency(
        job="E01", structure="Saltmarsh", depot="H", wanted={"CS15-2": 3000}, why="dig-in", **stores.scan(DUTY)
    )
    before = history(planner, "J10")
    asked = {
        "lender": f"{stores.code('J10', 'V9')}|L-2508A", "quantity": "3", "why": "dig-in", "pay_back_by": "2026-04-09",
        "approver": sign_in_name(DUTY), "pin": PIN,
    }  # fmt: skip
    address = f"/bags/{label_code(found.bag)}/borrow?item=CS15-2"
    send(browser_of(STORES), address, **asked, confirmed="free-first/1")

    assert "bag J10 V9 – checked to staged" in before
    assert "broken" not in before
    assert "bag J10 V9 – staged to broken" in history(planner, "J10")


def test_what_a_plan_answered_is_never_edited() -> None:
    for deed in (lambda: JobReadiness.objects.update(answer="ready"), lambda: JobReadiness.objects.all().delete()):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            deed()


def test_the_history_takes_the_same_number_of_queries_however_often_a_job_turned(planner: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as taken:
            planner.get("/jobs/J01/history")
        return len(taken)

    queries()
    before = queries()
    Job.objects.filter(job="J01").update(cutover="", cutover_end="")
    Stores(MORNING + timedelta(hours=2)).plan()
    assert queries() == before
