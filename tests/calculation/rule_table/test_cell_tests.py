"""Cell tests of decision tables: what they mean, and what is said of a cell that can't be read."""

import csv
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.questions import Missing
from kitting.calculation.rule_table import CellDoubt, parse_cell

CASES = list(csv.DictReader(Path(__file__).with_name("feelin_cases.csv").read_text(encoding="utf-8").splitlines()))
BLANK_CELL = Missing("environment", "environment is blank", "positions", "environment")


def missing(*options: object) -> Missing:
    return Missing(
        "interface", "interface is blank", "positions", "interface", options=tuple((str(o), o) for o in options)
    )


@pytest.mark.parametrize("expression", sorted({case["expression"] for case in CASES}))
def test_a_cell_means_what_another_implementation_of_the_standard_says(expression: str) -> None:
    cases = [case for case in CASES if case["expression"] == expression]
    for case in cases:
        fact = Decimal(case["input"]) if case["type"] == "number" else case["input"]
        met = parse_cell(expression, case["type"]).met(fact)
        assert met is (case["result"] == "true"), case


def test_the_comparison_holds_enough_cases_and_each_names_its_source() -> None:
    assert len(CASES) > 800
    assert {case["source"] for case in CASES} == {"feelin 8.2"}
    assert {case["result"] for case in CASES} == {"true", "false"}


@pytest.mark.parametrize(
    "words", ["200 A 35 kV small", "12/20(24)", "1/0", "600 A 15/25 kV", "EN 50181 type C", "not a", "nullable", "C..F"]
)
def test_bare_words_count_as_text(words: str) -> None:
    assert parse_cell(words).met(words) is True
    assert parse_cell(words).met(words + "x") is False
    assert parse_cell(f"other,{words}").met(words) is True
    assert parse_cell(f"not({words})").met(words) is False


def test_a_bare_number_in_a_text_column_is_text() -> None:
    assert parse_cell("15,25", "text").met("25") is True
    assert parse_cell("15,25", "text").met(Decimal(25)) is False


def test_numbers_are_exact() -> None:
    assert parse_cell("[0.1..0.3]").met(Decimal("0.3")) is True
    assert parse_cell("[0.1..0.3]").met(Decimal("0.30000000000000000000000001")) is False
    assert parse_cell("600").met(600) is True


@pytest.mark.parametrize("test", ["5", "< 10", "[1..9]", "not(7)", "not([8..9])"])
def test_a_number_test_never_holds_of_a_text(test: str) -> None:
    assert parse_cell(test).met(5) is True
    assert parse_cell(test).met("5") is False


@pytest.mark.parametrize("test", ["a", "not(b)"])
def test_a_text_test_never_holds_of_a_number(test: str) -> None:
    assert parse_cell(test).met("a") is True
    assert parse_cell(test).met(1) is False


@pytest.mark.parametrize(
    ("test", "met"),
    [("-", True), ("", True), ("null", True), ("null, a", True), ("a", False), ("not(a)", False), ("not(null)", False),
     ("< 5", False), ("not(< 5)", False)],
)  # fmt: skip
def test_a_blank_fact_meets_only_anything_and_null(test: str, met: bool) -> None:
    assert parse_cell(test).met(None) is met


def test_not_null_is_any_fact_that_is_given() -> None:
    assert parse_cell("not(null)").met("a") is True
    assert parse_cell("not(null)").met(7) is True
    assert parse_cell("not(null, a)").met("a") is False


def test_a_yes_or_no_fact_is_read_as_its_word() -> None:
    assert parse_cell("yes").met(True) is True
    assert parse_cell("no,null").met(False) is True
    assert parse_cell("1").met(True) is False


@pytest.mark.parametrize("test", ["dry", "dry,wet", "not(dry)", "null", "not(null)"])
def test_a_missing_fact_leaves_a_test_open(test: str) -> None:
    assert parse_cell(test).met(BLANK_CELL) is None
    assert parse_cell("-").met(BLANK_CELL) is True


def test_a_missing_fact_with_few_possible_values_is_open_only_where_they_differ() -> None:
    small_or_large = missing("200 A 35 kV small", "200 A 35 kV large")
    assert parse_cell("200 A 35 kV small,200 A 35 kV large").met(small_or_large) is True
    assert parse_cell("A,B").met(small_or_large) is False
    assert parse_cell("200 A 35 kV small").met(small_or_large) is None


def test_a_missing_fact_with_a_possible_value_that_no_test_can_read_stays_open() -> None:
    assert parse_cell("A").met(missing("A", object())) is None


@pytest.mark.parametrize(
    ("cell", "at", "says"),
    [
        ("XLPE; EPR", 5, "commas"),
        ("[1..", 5, "ends too early"),
        ("a, -", 4, "stands alone"),
        ("= 5", 1, "exact value stands alone"),
        ("“a”", 1, "curly quotes"),
        ("[3..1]", 1, "before it begins"),
        ("(2..2]", 1, "holds no number"),
        ("a,,b", 3, "can't be read"),
        ("not(a", 6, "ends too early"),
        ("not()", 5, "can't be read"),
        ("12/20(24", 6, "can't be read"),
        ('"a', 1, "can't be read"),
        ("< a", 3, "can't be read"),
        ("1,a", 1, "texts and numbers"),
    ],
)
def test_a_cell_that_cannot_be_read_says_where_and_why(cell: str, at: int, says: str) -> None:
    with pytest.raises(CellDoubt) as caught:
        parse_cell(cell)
    assert caught.value.at == at
    assert says in caught.value.problem
    assert caught.value.suggestion


@pytest.mark.parametrize(
    ("cell", "kind", "at", "says"),
    [
        ("600, 600 A", "number", 6, "holds numbers"),
        ("a, < 5", "text", 4, "holds texts"),
        ("[1..2]", "text", 1, "texts"),
    ],
)
def test_a_cell_of_the_other_type_is_refused(cell: str, kind: str, at: int, says: str) -> None:
    with pytest.raises(CellDoubt) as caught:
        parse_cell(cell, kind)
    assert caught.value.at == at
    assert says in caught.value.problem


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("-", "anything"),
        ("(200..600]", "above 200 up to 600"),
        ("[1..2], > 5", "from 1 to 2 or above 5"),
        ("[1..2)", "from 1 to below 2"),
        ("(1..2)", "between 1 and 2"),
        ("<= 200, null", "up to 200 or blank"),
        ("< 5", "below 5"),
        (">= 5", "from 5"),
        ("b, a, c", "a, b or c"),
        ("not(a, b)", "not a or b"),
    ],
)
def test_a_cell_is_told_in_words(cell: str, words: str) -> None:
    assert parse_cell(cell).words() == words


TEXTS = st.text(st.characters(codec="ascii", min_codepoint=32), max_size=12)
NUMBERS = st.decimals(min_value=-1000, max_value=1000, places=2)


@given(TEXTS)
def test_any_text_in_a_cell_is_read_or_refused_in_words(cell: str) -> None:
    doubt = None
    try:
        parse_cell(cell)
    except CellDoubt as caught:
        doubt = caught
    assert doubt is None or (1 <= doubt.at <= len(cell) + 1 and doubt.problem and doubt.suggestion)


@given(TEXTS)
def test_any_text_in_quotes_means_itself(text: str) -> None:
    quoted = '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
    assert parse_cell(quoted).met(text) is True
    assert parse_cell(f"not({quoted})").met(text) is False


@given(NUMBERS, NUMBERS, NUMBERS)
def test_an_interval_holds_what_lies_between_its_ends(one: Decimal, other: Decimal, fact: Decimal) -> None:
    low, high = sorted((one, other))
    assert parse_cell(f"[{low}..{high}]").met(fact) is (low <= fact <= high)
    if low < high:
        assert parse_cell(f"({low}..{high})").met(fact) is (low < fact < high)
        assert parse_cell(f"not([{low}..{high}))").met(fact) is not (low <= fact < high)
