"""The page of a job says where it stands, offers what comes next, and keeps what was typed where that is refused."""

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import browser_of, people, send, words
from module_books import books_of_module
from people import CREW, PLANNER, STORES

from jobs.models import Job
from kitting.services.issue_bags import begin_work

pytestmark = pytest.mark.django_db


def prepared() -> None:
    planned()
    people()
    Stores(prefix="before").out("J01", "A1")


books = books_of_module(demo_sheets, prepared)


def test_a_planner_confirms_a_date_on_the_page_of_the_job_and_takes_it_back() -> None:
    planner, page = browser_of(PLANNER), "/jobs/J08"
    Job.objects.filter(job="J08").update(cutover="2026-03-05 22:00")
    assert "2 jobs to confirm, cut over within 3 days J01, J08" in words(planner.get("/"))
    assert "State PLANNED" in words(planner.get(page))
    assert "It is not ready: why its date holds all the same" in words(planner.get(page))
    assert "Confirm the date" not in words(browser_of(STORES).get(page))

    assert "say why its date holds all the same" in words(send(planner, f"{page}/confirm"))
    assert "CONFIRMED J08 is confirmed." in words(send(planner, f"{page}/confirm", why="promised by phone"))
    seen = words(planner.get(page))
    assert "State CONFIRMED confirmed, said by R. Tolley" in seen
    assert "promised by phone" in seen
    assert "depot M, confirmed" in words(planner.get("/cutovers"))
    assert "1 job to confirm, cut over within 3 days J01 " in words(planner.get("/"))
    assert "TAKEN BACK J08 is planned again." in words(send(planner, f"{page}/confirm", do="back", why="it slipped"))


def test_a_ready_job_is_confirmed_without_a_word() -> None:
    planner = browser_of(PLANNER)
    assert "It is not ready" not in words(planner.get("/jobs/J04"))
    assert "CONFIRMED" in words(send(planner, "/jobs/J04/confirm"))


def test_the_crew_notes_when_the_line_is_back_in_service_and_a_wrong_moment_stays_typed() -> None:
    crew, stores, page = browser_of(CREW), Stores(prefix="work"), "/jobs/J01"
    assert "Back in service at" not in words(crew.get(page))
    begin_work(bag=stores.code("J01", "A1"), **stores.scan(CREW))
    assert "State OUTAGE" in words(crew.get(page))
    assert "Back in service at" not in words(browser_of(PLANNER).get(page))

    wrong = send(crew, f"{page}/energise", moment="2031-03-02T09:00")
    assert "still to come" in words(wrong)
    assert 'value="2031-03-02T09:00"' in wrong.content.decode()
    assert "ENERGISED J01: energised." in words(send(crew, f"{page}/energise"))
    assert "State ENERGISED" in words(crew.get(page))
    assert "The outage of J01 goes on." in words(send(crew, f"{page}/energise", do="back", why="it tripped"))
