"""The life of a job: what the table names is allowed where its guards hold, and nothing else is."""

from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from kitting.calculation.job_states import (
    BEGIN,
    CANCEL,
    CLOSE,
    CONFIRM,
    DENY,
    ENERGISE,
    FREEZE,
    GUARDS,
    MOVE,
    STATES,
    STEPS,
    TABLE,
    TURN_IN,
    UNCONFIRM,
    JobFacts,
    JobMarks,
    JobTransition,
    next_job_state,
    picture,
    state_of,
)
from kitting.errors import Refusal

GOOD = JobFacts(name="J03", reason="the control room agreed")
NAMED = {(row.state, row.step): row for row in TABLE}
# Facts under which one guard does not hold, and all others do.
BROKEN = {
    "has a date": {"is_dated": False},
    "planned ahead": {"is_planned": False},
    "ready, or a reason": {"unready": "it is short J03/V1", "reason": " "},
    "no bag is out": {"out": ("J03 V1",)},
    "nobody has noted it yet": {"is_energised": True},
    "reason": {"reason": ""},
}
# What a step sets or takes back on the records.
_SETS = {
    CONFIRM: {"is_confirmed": True}, UNCONFIRM: {"is_confirmed": False}, FREEZE: {"is_frozen": True},
    MOVE: {"is_confirmed": False, "is_frozen": False}, CANCEL: {"is_cancelled": True}, BEGIN: {"has_begun": True},
    ENERGISE: {"is_energised": True}, DENY: {"is_energised": False}, TURN_IN: {"is_back": True},
    CLOSE: {"is_closed": True},
}  # fmt: skip


@pytest.mark.parametrize(("state", "step"), [*product(STATES, STEPS)])
def test_a_step_is_allowed_in_a_state_only_where_the_table_names_it(state: str, step: str) -> None:
    row = NAMED.get((state, step))
    if row:
        assert next_job_state(state, step, GOOD) == (row.to or state)
        return
    with pytest.raises(Refusal, match=f"Can't {step}: J03 stands at {state}; that is done at ") as refused:
        next_job_state(state, step, GOOD)
    assert refused.value.code == "not-in-this-state"


def test_every_state_and_step_is_named_once_and_every_guard_can_fail() -> None:
    assert len(NAMED) == len(TABLE)
    assert {name for row in TABLE for name in row.guards} == set(GUARDS) == set(BROKEN)
    assert {row.to for row in TABLE} <= {*STATES, ""}


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row.state}-{row.step}")
def test_each_guard_of_a_step_refuses_in_its_own_words(row: JobTransition) -> None:
    for name in row.guards:
        with pytest.raises(Refusal) as refused:
            next_job_state(row.state, row.step, replace(GOOD, **BROKEN[name]))
        assert (refused.value.code, refused.value.data["guard"]) == ("job-not-ready", name)


@pytest.mark.parametrize("steps", [
    (CONFIRM, FREEZE, BEGIN, ENERGISE, TURN_IN, CLOSE), (CONFIRM, UNCONFIRM, CONFIRM, MOVE, CONFIRM, FREEZE, MOVE),
    (BEGIN, ENERGISE, DENY, ENERGISE, TURN_IN, DENY), (CONFIRM, FREEZE, CANCEL), (BEGIN, CLOSE, ENERGISE),
], ids="-".join)  # fmt: skip
def test_what_the_records_keep_of_the_steps_reads_as_the_state_that_the_table_leads_to(steps: tuple[str, ...]) -> None:
    marks, state = JobMarks(), state_of(JobMarks())
    for step in steps:
        state = next_job_state(state, step, GOOD)
        marks = replace(marks, **_SETS[step])
        assert state_of(marks) == state, step


def test_a_job_is_moved_or_cancelled_only_before_its_outage() -> None:
    assert {row.state for row in TABLE if row.step in (MOVE, CANCEL)} == {"planned", "confirmed", "frozen"}


def test_the_picture_for_developers_is_that_of_the_table() -> None:
    text = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert f"```mermaid\n{picture()}\n```" in text
