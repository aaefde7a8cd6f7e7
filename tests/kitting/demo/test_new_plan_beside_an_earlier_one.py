"""A new plan beside an earlier one: what stays, what moved and why; pins and bags that can't be kept."""

from datetime import date
from decimal import Decimal

import pandas as pd
import pytest
from desk import AS_OF, Desk

from kitting.calculation.plan_result import Plan
from kitting.calculation.planning import plan
from kitting.calculation.questions import Question
from kitting.calculation.sheets.book import read_book
from kitting.errors import Refusal

LINE = "J01/A1-a/r1-from/ABC/elbow"


def again(desk: Desk, earlier: Plan, as_of: date = AS_OF) -> Plan:
    return plan(read_book(desk.raw), as_of=as_of, earlier=earlier.promises)


def moved(made: Plan) -> list[tuple[str, str, str, str, str]]:
    assert made.moved is not None
    rows = made.moved[["job", "quantity", "had", "has", "why"]].astype(str)
    return list(rows.itertuples(index=False, name=None))


def test_the_same_facts_move_nothing_and_give_the_same_promises(desk: Desk, clean: Plan) -> None:
    made = again(desk, clean)
    assert moved(made) == []
    pd.testing.assert_frame_equal(made.promises, clean.promises)
    assert clean.moved is None


def test_a_count_that_was_wrong_moves_its_own_pieces_only(desk: Desk, clean: Plan) -> None:
    made = again(desk.change("stock", {"lot": "L-2502-104"}, quantity="1"), clean)
    code, why = "EL15-2 lot L-2502-10", "1 are there, 4 were promised"
    assert [row[1:] for row in moved(made)] == [
        ("2", f"{code}4 at N N-01-2", f"2 {code}5 at H H-01-2", why),
        ("1", f"{code}4 at N N-01-2", f"1 {code}5 at H H-01-2", why),
    ]


def test_each_piece_that_moved_says_why(desk: Desk, clean: Plan) -> None:
    held = again(desk.change("stock", {"lot": "L-2502-104"}, place_kind="hold"), clean)
    assert {row[-1] for row in moved(held)} == {"not free any more: gone, on hold, or in another place"}
    late = again(desk, clean, as_of=date(2026, 3, 3))
    assert {(row[0], row[-1]) for row in moved(late)} == {("J01", "not there by 2026-03-03")}
    undated = again(desk.change("jobs", {"job": "J01"}, cutover="", cutover_end=""), clean)
    assert ("J01", "the job is gone, or has no cutover") in {(row[0], row[-1]) for row in moved(undated)}
    rush = desk.change("jobs", {"job": "J04"}, cutover="2026-03-05 08:00", cutover_end="2026-03-05 12:00", priority="1")
    taken = again(rush, clean)
    assert all(row[-1] for row in moved(taken))
    pieces = sum(Decimal(row[1]) for row in moved(taken))
    assert pieces <= sum(clean.promises["quantity"]) / 100


def test_earlier_promises_that_cannot_be_read_are_refused_in_words(desk: Desk, clean: Plan) -> None:
    book = read_book(desk.raw)
    with pytest.raises(Refusal, match="lack the column lot, depot"):
        plan(book, as_of=AS_OF, earlier=clean.promises.drop(columns=["lot", "depot"]))
    spoiled = clean.promises.astype(str)
    spoiled.loc[0, "quantity"] = "2,5"
    with pytest.raises(Refusal, match=r"the quantity 2,5: comma as decimal point"):
        plan(book, as_of=AS_OF, earlier=spoiled)


def found(made: Plan, sheet: str) -> list[Question]:
    return [question for question in made.questions if question.sheet == sheet]


def test_a_pin_that_cannot_be_held_is_asked_and_the_line_takes_other_pieces(desk: Desk) -> None:
    pin = {"job": "J01", "line": LINE, "stock_code": "EL15-2", "quantity": "3", "reason": "laid aside", "by": "planner"}
    assert found(desk.add("pins", **pin, lot="L-2502-104").plan(), "pins") == []
    (asked,) = found(desk.add("pins", **pin, lot="L-9").plan(), "pins")
    assert (asked.severity, asked.row, asked.column) == ("ask", 2, "quantity")
    assert asked.problem == "3 of 3 pinned EL15-2 lot L-9 can't be held: no more of it is free"
    held = desk.add("pins", **pin, lot="L-2502-104").change("stock", {"lot": "L-2502-104"}, use_by="2026-03-04")
    (asked,) = found(held.plan(), "pins")
    assert asked.problem.endswith("can't be held: not good through 2026-03-05")


def test_a_pin_that_names_a_lot_comes_before_one_that_names_none(desk: Desk) -> None:
    pin = {"job": "J01", "line": LINE, "stock_code": "EL15-2", "reason": "laid aside", "by": "planner"}
    two = desk.change("stock", {"lot": "L-2502-104"}, quantity="2")
    both = two.add("pins", **pin, quantity="1", lot="").add("pins", **pin, quantity="2", lot="L-2502-104")
    assert found(both.plan(), "pins") == []
