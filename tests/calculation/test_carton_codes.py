"""Cartons are read by their GS1 element strings, and a wrong one is refused in words.

The numbers with their check digits are worked examples of the GS1 General Specifications, from memory; that they hold
is shown by the digits themselves.
"""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.carton_codes import FNC1, Carton, check_digit, is_carton, read_carton
from kitting.errors import Refusal

TODAY = date(2026, 3, 2)
GTIN = "09506000134352"
SSCC = "106141412345678908"
texts = st.text(st.characters(min_codepoint=48, max_codepoint=90, categories=("Lu", "Nd")), min_size=1, max_size=20)


def test_both_forms_of_a_code_say_the_same() -> None:
    wanted = Carton(gtin=GTIN, lot="ABC123", use_by=date(2028, 8, 31), count=12)
    assert read_carton(f"(01){GTIN}(17)280831(10)ABC123(37)12", today=TODAY) == wanted
    assert read_carton(f"]C101{GTIN}1728083110ABC123{FNC1}3712", today=TODAY) == wanted
    assert read_carton(f"]d2{FNC1}01{GTIN}3712{FNC1}1728083110ABC123", today=TODAY) == wanted


@pytest.mark.parametrize("number", [GTIN, SSCC, "00614141123452", "04006381333931"])
def test_the_check_digit_is_that_of_known_numbers(number: str) -> None:
    assert check_digit(number[:-1]) == int(number[-1])


@given(st.integers(0, 10**13 - 1), st.integers(0, 12), st.integers(1, 9))
def test_one_wrong_digit_is_always_found(number: int, place: int, more: int) -> None:
    digits = f"{number:013}"
    whole = f"{digits}{check_digit(digits)}"
    wrong = f"{whole[:place]}{(int(whole[place]) + more) % 10}{whole[place + 1 :]}"
    assert read_carton(f"(01){whole}", today=TODAY).gtin == whole
    with pytest.raises(Refusal, match="check digit is wrong"):
        read_carton(f"(01){wrong}", today=TODAY)


@given(texts, texts, st.integers(0, 99_999_999), st.dates(date(1977, 1, 1), date(2075, 12, 31)))
def test_what_was_written_is_read(lot: str, serial: str, count: int, use_by: date) -> None:
    raw = f"]C110{lot}{FNC1}17{use_by:%y%m%d}21{serial}{FNC1}30{count}"
    read = read_carton(raw, today=TODAY)
    assert (read.lot, read.serial, read.count, read.use_by) == (lot, serial, count, use_by)


def test_a_month_without_a_day_ends_with_its_last_and_years_lie_within_fifty_of_this_one() -> None:
    assert read_carton("(17)280200", today=TODAY).use_by == date(2028, 2, 29)
    assert read_carton("(17)760101", today=TODAY).use_by == date(2076, 1, 1)
    assert read_carton("(17)770101", today=TODAY).use_by == date(1977, 1, 1)
    assert read_carton("(17)010101", today=date(2096, 1, 1)).use_by == date(2101, 1, 1)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("(17)281301", "there is no such day"),
        ("(17)28083", "it must be 6 characters long"),
        ("(37)twelve", "it must be digits"),
        ("(10)ABCDEFGHIJKLMNOPQRSTUVW", "it must be 1 to 20 characters long"),
        (f"(01){GTIN}(02)00614141123452", "gtin is there twice and differs"),
        ("(10)A(", "write each field as"),
        ("(99)ours", "holds no field that is read here"),
        ("]C199ours", "begins with no field that is read here"),
    ],
)
def test_a_code_that_can_not_be_so_is_refused_with_its_field(text: str, words: str) -> None:
    assert is_carton(text)
    with pytest.raises(Refusal, match=words):
        read_carton(text, today=TODAY)


def test_a_field_that_says_nothing_here_is_passed_over_and_a_stock_code_is_no_carton() -> None:
    assert read_carton("(90)ours(10)L-1", today=TODAY) == Carton(lot="L-1")
    assert not is_carton("EL15-2")
