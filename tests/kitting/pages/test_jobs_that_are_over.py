"""A job that is cancelled, done or under way is planned no more, whatever the plan said that was applied before."""

from datetime import timedelta

import pytest
from bag_stores import MORNING, demo_sheets, planned
from browsing import people, send, words
from django.test import Client
from module_books import books_of_module
from people import PLANNER

from jobs.models import COMPLETE, UNDER_WAY, Job
from kitting.models import PlanRow

pytestmark = pytest.mark.django_db


def plan_and_people() -> None:
    planned()
    people(PLANNER)


books = books_of_module(demo_sheets, plan_and_people)


def test_a_job_that_no_plan_knows_waits_for_one_unless_it_has_ended(planner: Client) -> None:
    Job.objects.create(job="J97", depot="N")
    Job.objects.create(job="J98", depot="N", ended=COMPLETE)

    assert "not planned yet" in words(planner.get("/jobs/J97"))
    assert "planned no more" in words(planner.get("/jobs/J98"))


def test_the_last_plans_answer_is_not_shown_of_a_job_that_is_over(planner: Client) -> None:
    line = PlanRow.objects.get(table="shortages", job="J08").cells["line"]
    ahead, its_line = words(planner.get("/jobs/J08")), words(planner.get("/jobs/J08/line", {"line": line}))
    send(planner, "/jobs/J08/end", how="cancelled", why="the street stays shut")
    over, call_sheet = words(planner.get("/jobs/J08")), words(planner.get("/jobs/J08/call-sheet"))
    line_over = words(planner.get("/jobs/J08/line", {"line": line}))

    assert all(said in ahead for said in ("SHORT", "READY", "What is short", "TOO LATE", "Move the cutover"))
    assert not any(
        said in over for said in ("SHORT", "READY", "What is short", "TOO LATE", "BEFORE", "Move the cutover")
    )
    assert "planned no more CANCELLED No plan promises anything to this job any more." in over
    assert "3 ea cable adapter CA-6 why?" in over
    assert "planned no more" in call_sheet
    assert "Still open" not in call_sheet
    assert "SHORT" in its_line
    assert "Pin pieces to it" in its_line
    assert "planned no more CANCELLED The job is planned no more" in line_over
    assert "Pin pieces to it" not in line_over


def test_a_job_under_way_is_planned_no_more_and_its_lines_keep_no_answer(planner: Client) -> None:
    Job.objects.filter(job="J03").update(ended=UNDER_WAY)
    seen = words(planner.get("/jobs/J03"))

    assert "planned no more UNDER WAY" in seen
    assert "READY" not in seen
    assert "Its parts stand below" in seen
    PlanRow.objects.filter(job="J03").delete()  # as the next plan leaves it out
    assert not any(said in words(planner.get("/jobs/J03")) for said in ("Its parts", "Positions, joints and spares"))


def test_a_job_whose_day_has_passed_is_named_until_it_is_moved_or_ended(planner: Client) -> None:
    today = MORNING.date()
    Job.objects.filter(job="J01").update(cutover=f"{today - timedelta(1)} 06:00")
    Job.objects.filter(job="J02").update(cutover=f"{today} 06:00")

    def passed(job: str) -> bool:
        return "ITS DAY HAS PASSED and nobody has noted" in words(planner.get(f"/jobs/{job}"))

    assert (passed("J01"), passed("J02")) == (True, False)
    assert words(planner.get("/cutovers")).count("planned, ITS DAY HAS PASSED") == 1
    assert "1 job past its cutover: move or end it J01" in words(planner.get("/"))
    send(planner, "/jobs/J01/end", how="cancel", why="the line is gone")
    assert not passed("J01")
