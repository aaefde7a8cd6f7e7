"""Each role changes the sheets of its own work; a file that would change another's is refused whole."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from bag_stores import demo_sheets, planned
from desk import Desk
from module_books import books_of_module
from people import AUDITOR, BUYER, PLANNER, STANDARDS, STORES
from record_books import rows_in_every_table
from refusals import refusal

from inventory.models import Item
from kitting.roles import Actor
from kitting.services.load_sheets import load_sheets
from kitting.services.sheet_rights import need_sheet

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
books = books_of_module(demo_sheets, planned)
Change = Callable[[Desk], Desk]

CHANGES: dict[str, tuple[Change, tuple[Actor, ...]]] = {
    "a lead time": (lambda desk: desk.change("items", {"stock code": "CA-4"}, lead_days="28"), (BUYER, STANDARDS)),
    "a range": (lambda desk: desk.change("items", {"stock code": "CA-4"}, DOI_high="45 mm"), (STANDARDS,)),
    "a cutover": (lambda desk: desk.change("jobs", {"job": "J11"}, cutover="2026-04-20 23:00"), (PLANNER,)),
    "a lowest stock": (lambda desk: desk.add("levels", stock_code="CA-4", depot="M", min="2"), (STORES, BUYER)),
    "a policy": (lambda desk: desk.add("policies", policy="count limit", value="9"), (STANDARDS,)),
    "a stand-in": (
        lambda desk: desk.add("stand ins", wanted="CA-4", allowed="CA-5", kind="stand-in", approved_by="I. Varga"),
        (),
    ),
}


@pytest.mark.parametrize("name", CHANGES)
def test_a_sheet_is_changed_by_a_file_of_whoever_keeps_it_and_of_nobody_else(name: str) -> None:
    change, keepers = CHANGES[name]
    raw = change(Desk(demo_sheets())).raw
    stored = rows_in_every_table()

    for actor in (STANDARDS, PLANNER, STORES, BUYER, AUDITOR):
        asked = {"raw": raw, "by": actor.name, "at": AT, "actor": actor}
        if actor not in keepers:
            told = refusal("not-allowed", load_sheets, **asked)
            assert "To approve" in told if not keepers else "Nothing was stored" in told
            assert rows_in_every_table() == stored
    for actor in keepers[:1]:
        assert load_sheets(raw=raw, by=actor.name, at=AT, actor=actor)


def test_a_lead_time_and_the_day_it_is_of_are_both_the_buyers() -> None:
    need_sheet(BUYER, "items", ["lead days", "lead date"])
    assert "Nothing was stored" in refusal("not-allowed", need_sheet, PLANNER, "items", ["lead date"])


def test_a_row_of_another_depot_than_ones_own_is_refused_as_such() -> None:
    of_n, of_m = (replace(PLANNER, depots=frozenset({depot})) for depot in ("N", "M"))
    asked = {"raw": CHANGES["a cutover"][0](Desk(demo_sheets())).raw, "by": PLANNER.name, "at": AT}
    stock = Desk(demo_sheets()).add("stock", stock_code="CA-4", depot="M", place="NEW", place_kind="bin", quantity="1")
    fewer_runs = Desk(demo_sheets()).drop("schedule", {"job": "J11", "run": "1"})

    assert "acts for N only, not for M" in refusal("other-depot", load_sheets, **asked, actor=of_n)
    for desk, actor in ((stock, STORES), (fewer_runs, PLANNER)):
        elsewhere = replace(actor, depots=frozenset({"N"}))
        told = refusal("other-depot", load_sheets, **{**asked, "raw": desk.raw}, actor=elsewhere)
        assert "not for M" in told
    assert load_sheets(**asked, actor=of_m)


def test_sheets_of_others_may_be_in_the_file_as_they_stand() -> None:
    assert not load_sheets(raw=demo_sheets(), by=AUDITOR.name, at=AT, actor=AUDITOR)
    assert Item.objects.filter(stock_code="CA-4").exists()
