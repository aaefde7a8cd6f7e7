"""Limits that a rule sets on items: tests on item columns."""

import pytest

from kitting.calculation.questions import Missing
from kitting.calculation.rule_table import CellDoubt, parse_limits

COPPER_STUD = {"made_of": "Cu", "rated_900": True, "stock_code": "X-1", "ways": 4, "metals": ("Al", "Cu")}


def test_a_900_a_set_takes_only_members_of_copper_that_are_rated_for_it() -> None:
    limits = parse_limits("made of = Cu; rated 900 A = yes")
    assert limits.failed_by(COPPER_STUD) == ()
    failed = limits.failed_by({**COPPER_STUD, "made_of": "Al", "rated_900": False})
    assert [limit.words() for limit in failed] == ["made of Cu", "rated 900 A yes"]
    assert limits.words() == "made of Cu and rated 900 A yes"


@pytest.mark.parametrize("unknown", [None, Missing("made of", "in doubt", "items", "made of")])
def test_a_fact_that_an_item_does_not_state_meets_no_limit(unknown: object) -> None:
    limits = parse_limits("made of = Cu")
    assert [limit.column for limit in limits.failed_by({"made_of": unknown})] == ["made of"]


@pytest.mark.parametrize(
    ("limits", "met"),
    [
        ("stock code = X-1", True),
        ("stock code = X-1, X-2", True),
        ("stock code = not(X-1)", False),
        ("ways >= 4", True),
        ("ways < 4", False),
        ("ways = [2..5]", True),
        ("metal = Al", True),
        ("metal = not(Al)", False),
        ("Made Of = Cu ;", True),
        ("", True),
    ],
)
def test_a_limit_reads_texts_numbers_and_lists(limits: str, met: bool) -> None:
    assert (parse_limits(limits).failed_by(COPPER_STUD) == ()) is met


@pytest.mark.parametrize(
    ("limits", "at", "says"),
    [
        ("copper", 1, "is no limit"),
        ("made of = Cu; colour = red", 14, "not an item column"),
        ("made of =", 10, "has no value"),
        ("made of = Cu; ways = many", 22, "holds numbers"),
        ("DOI low = 5", 1, "not an item column"),
    ],
)
def test_a_limit_that_cannot_be_read_says_where_and_why(limits: str, at: int, says: str) -> None:
    with pytest.raises(CellDoubt) as caught:
        parse_limits(limits)
    assert caught.value.at == at
    assert says in caught.value.problem
    assert caught.value.suggestion


def test_equal_limits_are_one() -> None:
    assert parse_limits("made of = Cu; ways = 3") == parse_limits("made of=Cu;ways=3")
    assert parse_limits("made of = Cu") != parse_limits("made of = Al")
    assert len({parse_limits("made of = Cu"), parse_limits("made of = Cu")}) == 1
