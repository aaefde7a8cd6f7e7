"""Who may do what."""

import pytest

from kitting.errors import Refusal
from kitting.roles import ACTIONS, APPROVE, ASK, DO, LEVELS, ROLES, SEE, Actor, require


def test_a_storekeeper_builds_bags_at_his_own_depot_and_looks_at_the_others() -> None:
    ana = Actor("Ana", frozenset({"storekeeper"}), frozenset({"N"}))
    require(ana, "bags", DO, "N")
    require(ana, "bags", SEE, "H")
    with pytest.raises(Refusal) as refused:
        require(ana, "bags", DO, "H")
    assert (refused.value.code, refused.value.message) == (
        "other-depot",
        "Ana acts for N only, not for H: ask there, or make a transfer.",
    )


def test_a_storekeeper_asks_for_reserve_and_the_duty_supervisor_releases_it() -> None:
    ana = Actor("Ana", frozenset({"storekeeper"}))
    require(ana, "reserve", ASK)
    require(Actor("Dev", frozenset({"duty supervisor"})), "reserve", APPROVE)
    with pytest.raises(Refusal) as refused:
        require(ana, "reserve", APPROVE)
    assert refused.value.message == "Ana may not approve this (reserve); duty supervisor may."


def test_somebody_without_a_role_may_do_nothing_at_all() -> None:
    nobody = Actor("Nobody", frozenset())
    assert [(action, level) for action in ACTIONS for level in LEVELS if nobody.may(action, level)] == []


def test_whoever_may_do_something_may_see_it() -> None:
    for role in ROLES:
        actor = Actor("Sam", frozenset({role}))
        for action in ACTIONS:
            assert actor.may(action, SEE) or not any(actor.may(action, level) for level in LEVELS)


def test_an_action_that_the_table_does_not_know_is_a_fault_of_ours() -> None:
    with pytest.raises(KeyError):
        Actor("Sam", frozenset({"planner"})).may("fly", DO)
