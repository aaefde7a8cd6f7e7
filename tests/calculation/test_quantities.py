"""Quantities are whole thousandths of the stock unit."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.quantities import QuantityDoubt, as_decimal, quantity_text, thousandths


def test_pieces_and_feet_read_as_thousandths() -> None:
    assert thousandths("6") == 6000
    assert thousandths("12.5") == 12_500
    assert thousandths(Decimal("1E+1")) == 10_000
    assert thousandths(5) == 5000
    assert quantity_text(12_500, "ft") == "12.5 ft"
    assert quantity_text(10_000, "ea") == "10 ea"


@pytest.mark.parametrize(
    ("text", "problem", "suggestion"),
    [
        ("-1", "a negative quantity", ""),
        ("1,5", "comma as decimal point?", "1.5"),
        ("1,000", "comma as thousands mark?", "1000"),
        ("0.0001", "finer than a thousandth of a unit", "0"),
        ("six", "not a quantity", ""),
        ("1e3", "not a quantity", ""),
        ("", "not a quantity", ""),
        ("09501101530003", "more than 10000000; was a code scanned here?", ""),
        ("9" * 40, "too long to be a quantity", ""),
    ],
)
def test_a_doubtful_quantity_is_asked(text: str, problem: str, suggestion: str) -> None:
    with pytest.raises(QuantityDoubt) as doubt:
        thousandths(text)
    assert (doubt.value.problem, doubt.value.suggestion) == (problem, suggestion)


@given(st.integers(min_value=0, max_value=10**10))
def test_a_quantity_written_out_reads_back_the_same(quantity: int) -> None:
    assert thousandths(as_decimal(quantity)) == quantity
    assert thousandths(str(as_decimal(quantity))) == quantity


@given(st.integers(min_value=-(10**12), max_value=10**12))
def test_a_balance_keeps_its_sign_and_value(quantity: int) -> None:
    assert as_decimal(quantity) * 1000 == quantity
