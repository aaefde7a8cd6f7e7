"""What if: one thing of the sheets is changed, planned again, and compared line by line; nothing is stored."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime

import pytest
from desk import AS_OF, Desk, Reading

from kitting.calculation.answers import READY, SHORT
from kitting.calculation.plan_result import Plan
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import RawBook
from kitting.calculation.what_if import (
    add_stock,
    approve_stand_in,
    delay_order,
    differences,
    lose_lot,
    move_cutover,
    read_both,
    refuse_past,
)
from kitting.errands.lending import worse_jobs
from kitting.errors import Refusal


def test_moving_a_cutover_up_shows_what_breaks(desk: Desk, clean: Plan, read: type[Reading]) -> None:
    """Trap T18: J08 to 03-31: staged by 03-27, the six CA-6 due 04-09 are short, BI35L stays one short."""
    moved = Desk(move_cutover(desk.raw, job="J08", cutover="2026-03-31 22:00")).plan()
    assert read(moved).job("J08").staged_by == date(2026, 3, 27)
    assert read(moved).short(job="J08", stock_code="CA-6") == 6
    assert read(moved).short(job="J08", stock_code="BI35L") == 1
    changed = {change.line: change for change in differences(clean, moved)}
    adapter = changed["J08/G1-a/r1-from/ABC/cable adapter"]
    assert (adapter.answer_before, adapter.answer_after, adapter.short_after) == ("ready if", "short", "3")
    assert {change.job for change in changed.values()} == {"J08"}


@pytest.mark.parametrize(
    ("moved", "told", "end"),
    [
        ("2026-03-31 22:00", None, datetime(2026, 4, 1, 5, 0)),
        ("2026-03-31 22:00", "", None),
        ("2026-03-31 22:00", "2026-04-02 06:00", datetime(2026, 4, 2, 6, 0)),
        ("", None, None),
    ],
)
def test_an_outage_that_moves_is_as_long_as_it_was_unless_its_end_is_told(
    desk: Desk, moved: str, told: str | None, end: datetime | None
) -> None:
    """J02 lasts from 23:00 to 06:00."""
    jobs = read_book(move_cutover(desk.raw, job="J02", cutover=moved, cutover_end=told)).frames["jobs"]
    assert jobs.set_index("job").at["J02", "cutover_end"] == end


@pytest.mark.parametrize(("days", "short"), [(0, 0), (14, 0), (15, 12)])
def test_an_order_that_slips_costs_the_jobs_it_was_for(desk: Desk, read: type[Reading], days: int, short: int) -> None:
    """PO-1 is due 03-18 and J09 is staged by 04-01: two weeks late it still comes, a day more and J09 is short 12."""
    late = Desk(delay_order(desk.raw, order="PO-1", days=days)).plan()
    assert read(late).short(job="J09", stock_code="EL25-2") == short
    assert read(late).short(job="J12", stock_code="EL25-2") == 0


def test_a_lost_lot_is_stopped_wherever_it_lies(desk: Desk, clean: Plan, read: type[Reading]) -> None:
    """The fresh CS15-2 lot on hold: J10 is six short, J06's older lot is not touched."""
    lost = Desk(lose_lot(desk.raw, stock_code="CS15-2", lot="L-2508A")).plan()
    assert read(lost).short(job="J10", stock_code="CS15-2") == 6
    assert read(lost).short(job="J06", stock_code="CS15-2") == 0
    assert {change.job for change in differences(clean, lost)} == {"J10"}


def test_what_lending_breaks_is_told_in_exact_pieces_also_where_only_the_answer_is_worse(clean: Plan) -> None:
    job = next(one for one in clean.jobs if one.answer == READY)
    after = replace(clean, jobs=[replace(one, answer=SHORT) if one is job else one for one in clean.jobs])

    (worse,) = worse_jobs(clean, after)

    assert (worse["job"], worse["then"], worse["more_short"]) == (job.job, SHORT, "0")


def test_more_stock_and_a_stand_in_are_tried_without_touching_anything(desk: Desk, read: type[Reading]) -> None:
    """Three more arresters at Mill Lane: J02 takes from its own shelf, J11 by transfer; a higher class splices."""
    before = desk.raw.digest
    cured = Desk(add_stock(desk.raw, stock_code="EA15-15.3", depot="M", quantity="3")).plan()
    assert read(cured).job("J11").answer == "ready if"
    assert read(cured).short(stock_code="EA15-15.3") == 0
    higher_class = Desk(approve_stand_in(desk.raw, wanted="CS25-2", allowed="CS35-2")).plan()
    assert read(higher_class).short(job="J09", stock_code="CS25-2") == 0
    assert desk.raw.digest == before
    assert desk.plan(AS_OF).summary["digest"] == before


def test_a_change_of_what_is_not_there_is_refused(desk: Desk) -> None:
    """The row is named; a negative delay is no delay."""
    with pytest.raises(Refusal, match="no row with job J99"):
        move_cutover(desk.raw, job="J99", cutover="2026-03-31 22:00")
    with pytest.raises(Refusal, match="-1 days late"):
        delay_order(desk.raw, order="PO-1", days=-1)
    with pytest.raises(Refusal, match="2026-03-01 is past"):
        refuse_past("2026-03-01 22:00", AS_OF)
    for start in ("2026-03-02 00:30", "", "31/12/2025"):  # what is no date of this form is judged by reading it
        refuse_past(start, AS_OF)


def test_pieces_with_a_shelf_life_are_added_with_their_date(desk: Desk, read: type[Reading]) -> None:
    """Seven splices more make J09 and J12 whole; without a date they would be promised to nobody."""
    more = {"stock_code": "CS25-2", "depot": "H", "quantity": "7"}
    with pytest.raises(Refusal, match="CS25-2 has a shelf life: say until which day"):
        add_stock(desk.raw, **more)
    assert read(Desk(add_stock(desk.raw, **more, use_by="2027-12-31")).plan()).short(stock_code="CS25-2") == 0


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda raw: add_stock(raw, stock_code="BI35L", depot="Q", quantity="3"), "depot Q: no depot of this code"),
        (lambda raw: add_stock(raw, stock_code="BI35L", depot="H", quantity="-3"), "quantity -3: a negative quantity"),
        (lambda raw: approve_stand_in(raw, wanted="CS25-2", allowed="CS99"), "allowed CS99: no item has this"),
        (lambda raw: move_cutover(raw, job="J08", cutover="soon"), "cutover soon: "),
    ],
)
def test_a_change_that_says_nothing_readable_is_refused_not_found_to_change_nothing(
    desk: Desk, change: Callable[[RawBook], RawBook], told: str
) -> None:
    with pytest.raises(Refusal, match=told):
        read_both(desk.raw, change(desk.raw))
    read_both(desk.raw, add_stock(desk.raw, stock_code="BI35L", depot="H", quantity="3"))


def test_a_pin_of_the_earlier_jobs_pieces_is_seen_in_both_jobs(desk: Desk, read: type[Reading]) -> None:
    """Trap T11: three EA15-15.3 pinned to J11 leave J02 three short; without the pin J02 has its six."""
    line = "J11/JN4-b/position/ABC/elbow arrester"
    pinned = desk.add(
        "pins", job="J11", line=line, stock_code="EA15-15.3", quantity="3", reason="promised by phone", by="planner"
    ).plan()
    assert read(pinned).short(job="J02", stock_code="EA15-15.3") == 3
    assert read(pinned).job("J11").answer in {"ready", "ready if"}
    assert read(desk.plan()).short(job="J02", stock_code="EA15-15.3") == 0
