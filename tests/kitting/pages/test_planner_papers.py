"""Papers of the planner's week: the call sheet and the Friday page."""

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import pages_of, people, words
from django.test import Client
from module_books import books_of_module

from inventory.models import Balance
from jobs.models import Job
from kitting.models import Event

pytestmark = pytest.mark.django_db


def prepared() -> None:
    planned()
    people()


books = books_of_module(demo_sheets, prepared)


def test_the_call_sheet_asks_five_questions_and_leaves_them_unasked(planner: Client) -> None:
    seen = words(planner.get("/jobs/J06/call-sheet"))

    assert seen.count("not asked") >= 5
    assert "run 4" in seen
    assert "READY IF J06/EJ1-j/joint/A/splice if 3 CS15-2 from H; 2 BI15 from M by 2026-03-19" in seen


def test_the_call_sheet_lists_what_nobody_can_pick_and_which_spares_are_short(planner: Client) -> None:
    Balance.objects.filter(lot__item__stock_code="JS-1").update(quantity=0)
    Stores(prefix="short").plan()
    seen = words(planner.get("/jobs/J10/call-sheet"))

    assert "NO RULE: J10/I4-p/r4-to/ABC/end accessories: no rule in end accessories covers" in seen
    assert "1 JS-1 (SHORT)" in seen
    assert "SPARE: 1 JS-1: " in seen


def test_the_friday_page_goes_on_to_a_second_page_and_lists_what_the_plan_does_not_know(planner: Client) -> None:
    Job.objects.create(job="J98", title="Quarry Spur", depot="N", cutover="2026-03-06 09:00")
    Job.objects.create(job="J99", title="Undated", depot="N")
    first, second = pages_of(planner.post("/cutovers/friday-page.pdf"))
    assert "if 2 EL15-2 from H by 2026-03-03" in first

    assert "J98 · Quarry Spur 2026-03-06 09:00 NOT PLANNED YET" in first
    assert "J01 · Alder Loop 2026-03-05 09:00 READY" in first
    assert "R. Tolley" in first
    assert first.index("J01 ·") < first.index("J98 ·") < first.index("J03 ·")
    assert "J99 · Undated no date NOT PLANNED YET" in second
    assert "REPRINT" not in first


def test_the_friday_page_prints_and_says_reprint_the_second_time(planner: Client) -> None:
    first = planner.post("/cutovers/friday-page.pdf", {"action": "F-1"})
    planner.post("/cutovers/friday-page.pdf", {"action": "F-2"})

    assert first.content.startswith(b"%PDF")
    assert [event.data["reprint"] for event in Event.objects.filter(name="printed").order_by("number")] == [0, 1]
