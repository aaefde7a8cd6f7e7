"""The life of a bag: what the table names is allowed where its guards hold, and nothing else is."""

from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from kitting.calculation.bag_states import (
    ACTIONS,
    ARRIVE,
    AS_BEFORE,
    BORROW,
    CANCEL,
    CHECK,
    CLOSE,
    CLOSED,
    FORMER,
    GUARDS,
    INSTALL,
    ISSUE,
    LEFT_OPEN,
    LIST_AGAIN,
    ON_HOLD,
    PRINT_AGAIN,
    SEND,
    STAGED,
    STATES,
    TABLE,
    TURN_IN,
    WRITE_OFF,
    BagFacts,
    Transition,
    next_actions,
    next_state,
    picture,
)  # fmt: skip
from kitting.errors import Refusal

GOOD = BagFacts(name="J03 V1", by="Ana", approver="Dev", reason="said why", signature="T. Ahola", missing=())
NAMED = {(row.state, row.action): row for row in TABLE}
# Facts under which one guard does not hold, and all others do.
BROKEN = {
    "some line has a stock code": {"decided": False},
    "full": {"missing": ("1 JS-3",)},
    "full, or let go with a reason": {"missing": ("1 JS-3",), "approver": ""},
    "something is missing": {"missing": ()},
    "another person than who filled it": {"pickers": frozenset({"ANA"})},
    "in date through the cutover": {"out_of_date": ("CS15-2 lot L-2303B 2026-03-31",)},
    "nothing on hold": {"held": ("BI25 lot L-2409-17",)},
    "list is current": {"superseded": "SUPERSEDED BY REV B"},
    "label is of its list": {"old_label": "OLD LABEL: printed before 3 EL15-3 put on the list; print it again"},
    "signed": {"signature": " "},
    "balanced, or a named exception": {"open": ("3 EL15-2",), "reason": ""},
    "every lot is named": {"unnamed": ("3 EL15-2",)},
    "empty": {"inside": True},
    "not on the road": {"road": "on the road to H"},
    "at the depot where it is to be staged": {"elsewhere": "ANOTHER DEPOT: to be staged at H, not at N"},
    "on the road": {"road": ""},
    "stores have it": {"is_out": True},
    "the crew has it": {"is_out": False},
    "closed by an exception that left pieces open": {"open": ()},
    "reason": {"reason": " "},
}


def good(row: Transition) -> BagFacts:
    """Facts under which every guard of a transition holds."""
    facts = replace(GOOD, missing=("1 JS-3",)) if "something is missing" in row.guards else GOOD
    facts = replace(facts, is_out=True) if "the crew has it" in row.guards else facts
    facts = replace(facts, open=("3 EL15-2",)) if LEFT_OPEN in row.guards else facts
    return replace(facts, road="on the road to H") if "on the road" in row.guards else facts


@pytest.mark.parametrize(("state", "action"), [*product(STATES, ACTIONS)])
def test_an_action_is_allowed_in_a_state_only_where_the_table_names_it(state: str, action: str) -> None:
    row = NAMED.get((state, action))
    if row:
        assert next_state(state, action, good(row)) == (row.to or state)
        return
    with pytest.raises(Refusal) as refused:
        next_state(state, action, GOOD)
    assert refused.value.code in ("not-in-this-state", "already-out")


def test_every_state_and_action_is_named_once_and_every_guard_can_fail() -> None:
    assert len(NAMED) == len(TABLE)
    assert set(BROKEN) == set(GUARDS)
    assert {name for row in TABLE for name in row.guards} == set(GUARDS)
    assert {row.to for row in TABLE} <= {*STATES, "", FORMER, AS_BEFORE}


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row.state}-{row.action}")
def test_each_guard_of_a_transition_refuses_in_its_own_words(row: Transition) -> None:
    for name in row.guards:
        with pytest.raises(Refusal) as refused:
            next_state(row.state, row.action, replace(good(row), **BROKEN[name]))
        assert (refused.value.code, refused.value.data["guard"]) == ("bag-not-ready", name)


def test_eight_of_nine_is_never_full_and_a_short_bag_goes_out_only_by_leave() -> None:
    short = replace(GOOD, missing=("1 JS-3",))
    with pytest.raises(Refusal, match="SHORT: 1 JS-3"):
        next_state("picking", CHECK, short)
    assert next_state(STAGED, ISSUE, short) == "issued"
    with pytest.raises(
        Refusal, match="NEEDS SUPERVISOR: 1 JS-3: it goes out only by planner or duty supervisor with a reason"
    ):
        next_state(STAGED, ISSUE, replace(short, approver=""))


def test_a_closed_bag_takes_only_what_its_exception_left_open_and_a_hold_ends_where_it_began() -> None:
    left = {row.action for row in TABLE if row.state == CLOSED}
    assert left == {INSTALL, TURN_IN, WRITE_OFF}
    for action in left:
        with pytest.raises(Refusal, match="it is closed: all its pieces are accounted for"):
            next_state(CLOSED, action, GOOD)
        assert next_state(CLOSED, action, replace(GOOD, open=("3 EL15-2",))) == CLOSED
    assert next_state(ON_HOLD, "lift hold", GOOD) == FORMER
    assert {row.state for row in TABLE if row.action in (BORROW, CANCEL)}.isdisjoint({"issued", "in work", CLOSED})
    assert NAMED[("in work", CLOSE)].to == CLOSED


def test_a_bag_on_the_road_is_taken_in_before_anything_else_is_done_with_its_pieces() -> None:
    assert next_state(STAGED, SEND, GOOD) == STAGED
    away = replace(GOOD, road="on the road to H")
    with pytest.raises(Refusal, match="ON THE ROAD TO H: take it in there first"):
        next_state(STAGED, ISSUE, away)
    with pytest.raises(Refusal, match="it is not on the road"):
        next_state(STAGED, ARRIVE, GOOD)
    assert next_state(STAGED, ARRIVE, away) == STAGED
    assert next_actions("reopened", replace(away, missing=("1 JS-3",)), goes_in=True) == (ARRIVE,)
    assert {row.state for row in TABLE if row.action == ARRIVE} >= {"reopened", ON_HOLD, "cancelled"}


def test_what_comes_next_takes_out_first_then_adds_then_checks() -> None:
    held = replace(GOOD, held=("BI25 lot L-2409-17",), inside=True)
    assert next_actions(ON_HOLD, held, comes_out=True, goes_in=True) == ("put back",)
    assert next_actions(ON_HOLD, replace(held, is_out=True), comes_out=True) == ("turn in",)
    assert next_actions(ON_HOLD, GOOD) == ("lift hold",)
    short = replace(GOOD, missing=("1 JS-3",))
    assert next_actions("short", short, goes_in=True) == ("pick", CHECK)
    assert next_actions("reopened", short, goes_in=True) == ("pick",)
    assert next_actions("reopened", GOOD) == (CHECK,)
    assert next_actions(STAGED, short, goes_in=True) == ("reopen",)
    assert next_actions("checked", GOOD) == ("stage",)
    old = replace(GOOD, superseded="SUPERSEDED BY REV B", missing=("1 JS-3",))
    assert next_actions("reopened", old, goes_in=True) == ("plan, apply and list again",)
    labelled = replace(GOOD, old_label="OLD LABEL")
    assert next_actions("checked", labelled) == (PRINT_AGAIN,)
    assert next_actions("reopened", labelled) == (CHECK, PRINT_AGAIN)
    assert next_actions("reopened", labelled, goes_in=True) == ("pick", CHECK)
    there = replace(GOOD, elsewhere="ANOTHER DEPOT", missing=("1 JS-3",))
    begun = replace(there, inside=True)
    assert next_actions("listed", there, goes_in=True) == ("plan, apply and list again",)
    assert next_actions("short", begun, goes_in=True) == ("put back", "pick", CHECK)
    assert next_actions("picking", begun, goes_in=True)[0] == "put back"
    assert next_actions("picking", there, goes_in=True)[0] == "plan, apply and list again"
    assert "put back" not in next_actions(STAGED, begun)
    undecided = replace(GOOD, missing=("J10/V9-J3/joint accessories (undecided)",))
    assert next_actions("short", undecided) == ("plan, apply and list again", CHECK)


@pytest.mark.parametrize("state", STATES)
def test_whatever_comes_next_is_allowed_in_that_state(state: str) -> None:
    for missing, comes_out, goes_in, is_out in product(((), ("1 JS-3",)), (False, True), (False, True), (False, True)):
        facts = replace(GOOD, missing=missing, is_out=is_out)
        for action in next_actions(state, facts, comes_out=comes_out, goes_in=goes_in):
            assert action == LIST_AGAIN or next_state(state, action, facts)


def test_the_picture_for_developers_is_that_of_the_table() -> None:
    text = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert f"```mermaid\n{picture()}\n```" in text
