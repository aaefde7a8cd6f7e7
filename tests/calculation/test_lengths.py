"""Lengths are exact: what is typed is what is compared, in either unit."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.lengths import (
    NM_PER_IN,
    NM_PER_MIL,
    NM_PER_MM,
    LengthDoubt,
    both,
    digits_to_tell_apart,
    inch_text,
    mm_text,
    parse_length,
)


@pytest.mark.parametrize(
    ("text", "header_unit", "exact_mm"),
    [
        ("0.845", "in", "21.463"),  # worked by hand: 0.845 x 25.4
        ('0.845"', "mm", "21.463"),
        ("23.6", "mm", "23.6"),
        ("1 1/16 in", None, "26.9875"),
        ("1-1/16", "in", "26.9875"),
        ("1/64 in", None, "0.396875"),
        ("175 mil", "mm", "4.445"),
        ("175 mils", None, "4.445"),
        (".5 in.", None, "12.7"),
        ("500 ft", "m", "152400"),
        ("250'", None, "76200"),
        ("2.5 m", None, "2500"),
        ("3 cm", None, "30"),
        ("\u00a022.0\u00a0MM ", None, "22"),
        ("0", "in", "0"),
    ],
)
def test_a_length_reads_exactly_and_a_unit_in_the_cell_wins_over_the_header(
    text: str, header_unit: str | None, exact_mm: str
) -> None:
    assert parse_length(text, header_unit) == Decimal(exact_mm) * NM_PER_MM
    assert mm_text(parse_length(text, header_unit)) == exact_mm


@pytest.mark.parametrize(
    ("text", "header_unit", "problem", "suggestion"),
    [
        ("23,6", "mm", "comma as decimal point, 23.6 mm?", "23.6 mm"),  # Trap T24
        ("23,6 mm", None, "comma as decimal point, 23.6 mm?", "23.6 mm"),
        ("1,234.5", "ft", "comma as thousands mark, 1234.5 ft?", "1234.5 ft"),
        ("1,000,000", "mm", "comma as thousands mark, 1000000 mm?", "1000000 mm"),
        ("0.93", None, "a length without a unit", "0.93 mm or 0.93 in"),
        ("-3", "mm", "a negative length", ""),
        ("1/3 in", None, "finer than 0.000001 mm, so it can't be held exactly", "8.466667 mm"),
        ("0.8450000000000001", "in", "finer than 0.000001 mm, so it can't be held exactly", "21.463 mm"),
        ("1/0", "in", "1/0 divides by zero, it is not a length", ""),
        ("5 furlongs", None, "furlongs is not a unit of length (in, mil, ft, mm, cm, m)", ""),
        ("1e3", "mm", "not a length", ""),
        ("#N/A", "mm", "not a length", ""),
        ("٣", "mm", "not a length", ""),
        ("9" * 50, "mm", "not a length", ""),
        ("", "mm", "blank, not a length", ""),
    ],
)
def test_a_doubtful_length_is_asked_with_what_would_be_right(
    text: str, header_unit: str | None, problem: str, suggestion: str
) -> None:
    with pytest.raises(LengthDoubt) as doubt:
        parse_length(text, header_unit)
    assert (doubt.value.problem, doubt.value.suggestion) == (problem, suggestion)


def test_the_same_diameter_in_inches_and_in_millimetres_is_equal() -> None:
    assert parse_length("0.800", "in") == parse_length("20.32", "mm")
    assert parse_length("0.800", "in") < parse_length("20.320001", "mm")


@given(st.integers(min_value=0, max_value=10**13))
def test_millimetre_text_reads_back_to_the_same_nanometre(nm: int) -> None:
    assert parse_length(mm_text(nm), "mm") == nm


@given(st.integers(min_value=0, max_value=10**9), st.sampled_from([1, 2, 4, 8, 16, 32, 64]))
def test_every_fraction_of_an_inch_down_to_a_64th_is_exact(top: int, bottom: int) -> None:
    assert parse_length(f"{top}/{bottom}", "in") == Fraction(top, bottom) * NM_PER_IN
    assert parse_length(f"{top // bottom} {top % bottom}/{bottom} in", None) == parse_length(f"{top}/{bottom}", "in")


@given(st.decimals(min_value=0, max_value=100, places=5, allow_nan=False))
def test_inches_mils_and_millimetres_of_one_length_agree(inches: Decimal) -> None:
    nm = parse_length(f"{inches:f}", "in")
    assert nm == parse_length(f"{inches * 1000:f}", "mil")
    assert nm == parse_length(f"{inches * Decimal('25.4'):f}", "mm")


def test_a_length_is_shown_in_both_units_to_a_hundredth_of_a_millimetre_and_a_thousandth_of_an_inch() -> None:
    assert both(45 * NM_PER_MIL) == "1.14 mm (0.045 in)"
    assert both(45 * NM_PER_MIL, inches_first=True) == "0.045 in (1.14 mm)"
    assert both(-20 * NM_PER_MIL) == "-0.51 mm (-0.020 in)"
    assert both(-1) == "0.00 mm (0.000 in)"
    assert inch_text(parse_length("18.542", "mm")) == "0.730"


def test_one_more_digit_is_shown_where_two_different_lengths_would_look_equal() -> None:
    limit, cable = parse_length("0.970", "in"), parse_length("0.9701", "in")
    assert both(limit, inches_first=True) != both(cable, inches_first=True, extra_digits=1)
    extra = digits_to_tell_apart(limit, cable)
    assert extra == 1
    assert both(limit, extra_digits=extra) == "24.638 mm (0.9700 in)"
    assert both(cable, extra_digits=extra) == "24.641 mm (0.9701 in)"
    assert digits_to_tell_apart(limit, limit) == 0


@given(st.integers(min_value=0, max_value=10**11))
def test_a_shown_length_is_never_off_by_more_than_half_its_last_digit(nm: int) -> None:
    shown = Fraction(inch_text(nm)) * NM_PER_IN
    assert abs(shown - nm) <= Fraction(NM_PER_MIL, 2)
