"""What is on the line is checked against today's rules, items and cables, and what can't be checked says why."""

from dataclasses import replace
from pathlib import Path

import pytest
from desk import Desk

from kitting.calculation.installed_parts import CANT_CHECK, REFUSED, SERVES, Finding, InstalledPart, recheck
from kitting.calculation.sheets.book import read_book
from kitting.spreadsheets.reading import read_raw_book

ELBOW = InstalledPart(
    job="J01", run="1", side="from", structure="A1", position="a", phases="ABC", kind="elbow", stock_code="EL15-2"
)
ARRESTER = InstalledPart(
    job="J02", side="position", structure="C3", position="b", phases="ABC", kind="elbow arrester",
    stock_code="EA15-15.3",
)  # fmt: skip


@pytest.fixture(scope="module")
def desk() -> Desk:
    """The demo's clean sheets."""
    return Desk(read_raw_book(Path(__file__).parents[2] / "fixtures_demo" / "clean"))


def check(desk: Desk, part: InstalledPart) -> Finding:
    """What today's rules say of one part."""
    return recheck(read_book(desk.raw), [part])[0]


def test_an_elbow_serves_until_its_cable_is_measured_again(desk: Desk) -> None:
    """Trap T21 found late: the reel is not what the schedule said."""
    assert check(desk, ELBOW) == Finding(SERVES)
    measured = desk.change("reels", {"reel": "R-1187"}, DOI_low="0.700", DOI_high="0.720", origin="gauge")
    found = check(measured, ELBOW)
    assert (found.state, found.check) == (REFUSED, "insulation diameter")
    assert found.sentence.startswith("insulation diameter: entrance too large by ")


def test_the_gauge_reading_of_the_night_beats_the_reel(desk: Desk) -> None:
    small = check(desk, replace(ELBOW, gauge="0.980 in"))
    assert (small.state, small.check) == (REFUSED, "insulation diameter")
    assert "entrance too small" in small.sentence
    assert check(desk, replace(ELBOW, gauge="0.845 in")) == Finding(SERVES)
    unread = check(desk, replace(ELBOW, gauge="a bit tight"))
    assert (unread.state, unread.check) == (CANT_CHECK, "gauge reading")
    assert "it was noted as a bit tight" in unread.sentence


def test_an_arrester_below_todays_need_shows_and_the_right_one_does_not(desk: Desk) -> None:
    """Trap T11 found after the fact: 8.4 kV on a delta district."""
    assert check(desk, ARRESTER) == Finding(SERVES)
    low = check(desk, replace(ARRESTER, stock_code="EA15-8.4"))
    assert (low.state, low.check) == (REFUSED, "MCOV")
    assert low.sentence == "MCOV: MCOV 8.4 kV is below the 13.86 kV needed"
    other = check(desk, replace(ARRESTER, stock_code="EA25-15.3"))
    assert (other.state, other.check) == (REFUSED, "interface")


def test_a_fact_that_nobody_knows_can_be_no_verdict(desk: Desk) -> None:
    blank = desk.change("schedule", {"job": "J01", "run": "1"}, reel="", conductor_size="1/0")
    found = check(blank, ELBOW)
    assert found.state == CANT_CHECK
    assert "wall" in found.sentence
    withdrawn = desk.change("items", {"stock code": "EL15-2"}, state="withdrawn")
    assert check(withdrawn, ELBOW).check == "active and complete"


def test_a_place_that_is_on_no_schedule_or_asks_for_something_else_is_to_be_looked_at(desk: Desk) -> None:
    gone = check(desk, replace(ELBOW, run="99"))
    assert (gone.state, gone.check) == (CANT_CHECK, "schedule")
    other = check(desk, replace(ELBOW, kind="tee", stock_code="TB-1"))
    assert (other.state, other.check) == (CANT_CHECK, "rule")
    assert "no tee here, but for elbow" in other.sentence
    insert = InstalledPart(
        job="J01", side="position", structure="A2", position="a", phases="ABC", kind="bushing insert", stock_code="BI15"
    )
    assert check(desk, insert) == Finding(SERVES)
    after = desk.change("positions", {"structure": "A2", "position": "a"}, insert_fitted="yes")
    found = check(after, insert)
    assert (found.state, found.check) == (CANT_CHECK, "rule")
    assert found.sentence.startswith("today's rules ask for no bushing insert here, but for nothing")
    spare = check(desk, replace(ELBOW, spare=True))
    assert (spare.state, spare.check) == (CANT_CHECK, "end")


def test_a_phase_with_a_cable_of_its_own_is_judged_by_that_cable(desk: Desk) -> None:
    """The line was for three phases; one phase is another reel now."""
    mixed = desk.change("schedule", {"job": "J01", "run": "1"}, reel="R-1187; R-1187; R-1188")
    assert check(mixed, replace(ELBOW, phases="A")) == Finding(SERVES)
    third = check(mixed, replace(ELBOW, phases="C"))
    assert third.state == REFUSED
    assert check(mixed, ELBOW) == third


def test_a_part_of_a_set_that_would_be_chosen_today_is_no_fault(desk: Desk) -> None:
    connector = replace(ELBOW, kind="elbow connector", stock_code="CC-10A")
    assert check(desk, connector) == Finding(SERVES)
    with_set = desk.add(
        "pins", job="J01", line="J01/A1-a/r1-from/ABC/elbow", stock_code="EL15-K10", lot="", depot="", quantity="3",
        reason="sets first", by="R. Tolley",
    )  # fmt: skip
    assert check(with_set, connector) == Finding(SERVES)


def test_a_stand_in_counts_on_the_days_for_which_it_was_approved(desk: Desk) -> None:
    splice = InstalledPart(
        job="J03", side="joint", structure="BJ1", position="j", phases="ABC", kind="splice", stock_code="CS25-6",
        day="2026-03-11",
    )  # fmt: skip
    assert check(desk, replace(splice, stock_code="CS15-6")) == Finding(SERVES)
    alone = check(desk, splice)
    assert (alone.state, alone.check) == (REFUSED, "voltage class")
    row = {"wanted": "CS15-6", "allowed": "CS25-6", "approved_by": "I. Varga", "from": "2026-03-01", "to": "2026-03-31"}
    approved = desk.add("stand ins", **row)
    assert check(approved, splice) == Finding(SERVES)
    assert check(approved, replace(splice, day="2026-04-11")) == alone
