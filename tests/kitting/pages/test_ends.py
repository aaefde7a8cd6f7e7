"""What is on each end of the line is looked up, and what comes off it is noted where it was."""

import pytest
from bag_stores import CREW, Stores, a_pad_fitted, demo_sheets
from browsing import PIN, browser_of, people, send, words
from module_books import books_of_module
from people import PLANNER

from kitting.documents.bag_records import bag_papers
from kitting.models import BagEntry, Retired
from kitting.services.retire_parts import retire
from kitting.services.return_bags import Installed, install

pytestmark = pytest.mark.django_db


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


def test_an_end_is_signed_for_by_pin_once_every_phase_is_noted_and_again_after_it_changed() -> None:
    people(CREW, PLANNER)
    stores, crew = Stores(), browser_of(CREW)
    code = stores.code("J01", "A1")
    page = f"/bags/{code}/sign"
    signed = {"position": "a", "signature": CREW.name}

    assert "STILL OPEN" in words(crew.get(page))
    assert "STILL OPEN A1-a is open" in words(send(crew, page, **signed, crew_pin=PIN))
    contents = stores.contents("J01", "A1")
    rest = [
        Installed(
            line=stand.line.line, stock_code=str(stand.line.item), lot=contents.lots[lot].number, quantity=pieces // 3,
            phase=phase,
        )
        for stand in contents.lines
        if stand.line.facts.get("position") == "a"
        for lot, pieces in stand.inside.items()
        if pieces
        for phase in "ABC"
    ]  # fmt: skip
    install(bag=code, pieces=rest, **stores.scan(CREW))
    assert "WRONG PIN" in words(send(crew, page, **signed, crew_pin="0000"))
    assert "NOT SIGNED" in words(send(crew, page, position="a", signature=" "))
    done = words(send(crew, page, **signed, crew_pin=PIN))
    assert f"SIGNED A1-a, by {CREW.name}, by PIN." in done
    assert f"A1-a: signed by {CREW.name}, by PIN" in " ".join(bag_papers("J01").installed.signed)
    assert f"Signed by {CREW.name}, by PIN" in words(crew.get("/ends", PAGE))
    assert CREW.name not in words(browser_of(PLANNER).get("/ends", PAGE))
    assert browser_of(PLANNER).post(page, signed).status_code == 403

    part = {"stock_code": "EL15-2", "lot": rest_lot(), "quantity": 1000, "fate": "failure study", "why": "tracked"}
    retire(structure="A1", position="a", **part, **stores.scan(CREW))

    assert "CHANGED SINCE" in " ".join(bag_papers("J01").installed.signed)
    assert "it has changed since" in words(crew.get("/ends", PAGE))


def rest_lot() -> str:
    """The lot of an elbow on the pad."""
    found = BagEntry.objects.filter(deed="installed", lot__item__stock_code="EL15-2")
    return found.earliest("pk").lot.number
