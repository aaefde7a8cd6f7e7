"""What is on each end of the line is looked up, and what comes off it is noted where it was."""

import pytest
from bag_stores import CREW, Stores, demo_sheets
from browsing import browser_of, people, send, words
from module_books import books_of_module
from people import PLANNER

from kitting.models import Retired
from kitting.services.issue_bags import begin_work
from kitting.services.return_bags import Installed, install

pytestmark = pytest.mark.django_db


def a_pad_fitted() -> None:
    """The demo with three elbows on J01's first pad."""
    made = Stores(prefix="before")
    made.plan()
    made.bags("J01")
    made.ready("J01", "A1")
    made.issue("J01", "A1")
    code = made.code("J01", "A1")
    begin_work(bag=code, **made.scan(CREW))
    contents = made.contents("J01", "A1")
    pieces = [
        Installed(line=stand.line.line, stock_code="EL15-2", lot=contents.lots[lot].number, quantity=1000, phase=phase)
        for stand in contents.lines
        if stand.line.facts.get("position") and str(stand.line.item) == "EL15-2"
        for lot in stand.inside
        for phase in "ABC"
    ]
    install(bag=code, pieces=pieces, **made.scan(CREW))


books = books_of_module(demo_sheets, a_pad_fitted)
PAGE = {"structure": "A1", "position": "a"}


def test_an_end_says_what_is_on_it_by_phase_and_a_part_that_came_off_stays_visible() -> None:
    people(CREW, PLANNER)
    crew = browser_of(CREW)
    assert 'href="/ends?structure=A1&amp;position=a"' in crew.get("/ends", {"structure": "a1"}).content.decode()
    assert "Nothing is noted as installed here" in words(crew.get("/ends", {"structure": "Z9"}))
    page = crew.get("/ends", PAGE)
    part = page.content.decode().split('<option value="')[1].split('"')[0]
    assert part.startswith("EL15-2|")
    assert "margin" in words(page)

    given = {**PAGE, "part": part, "quantity": "1", "fate": "failure study", "why": "tracked"}
    too_many = words(send(crew, "/ends", **{**given, "quantity": "2"}, action="E-1"))
    done = words(send(crew, "/ends", **given, action="E-2"))

    assert "does not hold 2 EL15-2" in too_many
    assert "NOTED" in done
    assert "1 to failure study: tracked" in done
    assert Retired.objects.get().quantity == 1_000
    planner = browser_of(PLANNER)
    assert CREW.name in words(crew.get("/ends", PAGE))
    assert CREW.name not in words(planner.get("/ends", PAGE))
    assert planner.post("/ends", given).status_code == 403
