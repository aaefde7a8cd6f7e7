"""Cells of words, numbers, codes and lists."""

from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from kitting.calculation.doubts import Doubt
from kitting.calculation.questions import ASK, REFUSE
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.columns import Column
from kitting.calculation.sheets.parsers import CODE, YES_NO, CellDoubt, Parser, Setting, number, several, whole, word
from kitting.calculation.sheets.trade_parsers import graded

HERE = Setting()
COLUMN_BY_PARSER = {column.parser.words: column for sheet in SHEETS.values() for column in sheet.columns}


def doubt_about(parser: Parser, text: str) -> CellDoubt:
    with pytest.raises(Doubt) as caught:
        parser.read(text, HERE)
    return graded(caught.value)


def test_a_word_is_taken_in_any_case_and_a_near_one_is_asked() -> None:
    state = word(("in use", "open point"), also={"normally open": "open point"})
    assert state.read("In-Use", HERE) == "in use"
    assert state.read("NORMALLY OPEN", HERE) == "open point"
    near = doubt_about(state, "open pont")
    assert (near.severity, near.suggestion) == (ASK, "did you mean open point?")
    assert doubt_about(state, "closed").severity == REFUSE
    assert "one of: in use, open point" in doubt_about(state, "closed").problem


def test_yes_and_no_are_words_and_nothing_else_is() -> None:
    assert [YES_NO.read(text, HERE) for text in ("yes", "Y", "TRUE", "no", "n", "false")] == [True] * 3 + [False] * 3
    assert doubt_about(YES_NO, "maybe").severity == REFUSE


def test_whole_numbers_are_exact_and_bounded() -> None:
    cables = whole(1, 12)
    assert cables.read("2", HERE) == 2
    assert cables.read("2.0", HERE) == 2
    for text in ("0", "-1", "2.5", "13", "two", "1e1", "٢"):
        assert doubt_about(cables, text).severity == REFUSE


def test_a_comma_in_a_number_is_asked_with_every_reading() -> None:
    kv = number("1", "9999")
    assert kv.read("12.47", HERE) == Decimal("12.47")
    assert doubt_about(kv, "12,47").suggestion == "12.47?"
    assert doubt_about(kv, "1,234").suggestion == "1234 or 1.234?"
    assert doubt_about(kv, "1,234,567").suggestion == "1234567?"
    assert doubt_about(kv, "0,123").suggestion == "0.123?"


def test_a_unit_behind_a_number_is_taken_only_if_it_is_the_columns_own() -> None:
    kv = number("1", "99", ("kV",))
    assert kv.read("12.47 kV", HERE) == Decimal("12.47")
    assert doubt_about(kv, "12470 V").severity == REFUSE


@pytest.mark.parametrize("text", ["1E+06", "1.00E+06", "4.57e-12", "2026-03-01", "2026-03-01 00:00", "1-Mar", "Mar-26"])
def test_a_code_that_a_spreadsheet_damaged_is_asked(text: str) -> None:
    doubt = doubt_about(CODE, text)
    assert doubt.severity == ASK
    assert "code damaged by the spreadsheet" in doubt.problem


@pytest.mark.parametrize("text", ["0457", "007", "12E5", "1/0", "A-2", "=1+1", "10.50", "1-2"])
def test_other_codes_stay_text_as_they_are(text: str) -> None:
    assert CODE.read(text, HERE) == text


def test_a_code_cut_off_by_a_narrow_column_is_refused() -> None:
    assert doubt_about(CODE, "#####").severity == REFUSE
    assert doubt_about(CODE, "x" * 101).severity == REFUSE


def test_the_number_of_a_job_or_depot_has_no_slash_because_names_of_lines_and_places_part_there() -> None:
    for sheet, field in (("jobs", "job"), ("depots", "depot")):
        parser = SHEETS[sheet].by_field[field].parser
        doubt = doubt_about(parser, "26/0412")
        assert (parser.read("26-0412", HERE), doubt.suggestion, doubt.severity) == ("26-0412", "26-0412", REFUSE)


def test_a_list_takes_each_part_once_unless_order_counts() -> None:
    assert several(CODE).read("b; a;b;", HERE) == ("b", "a")
    assert several(CODE, repeats=True).read("R-1; R-1; R-2", HERE) == ("R-1", "R-1", "R-2")
    assert doubt_about(several(CODE), ";").severity == REFUSE


@pytest.mark.parametrize("column", COLUMN_BY_PARSER.values(), ids=lambda column: column.field)
@given(
    text=st.text(min_size=1, max_size=40) | st.from_regex(r"\A[-+#]?[0-9]{0,4}[ ,./x;-]?[0-9]{0,9} ?[a-zA-Z%]{0,4}\Z")
)
@example(text="1/0")
@example(text="²")
@example(text="2026-02-30")
@example(text="99999999999999999999999999999999999")
def test_any_text_is_a_value_or_a_doubt_and_a_value_written_reads_the_same(column: Column, text: str) -> None:
    """No text ends the reading; what was understood survives the round trip through our own sheets."""
    setting = Setting(column.parser.unit or None, "day first")
    value = value_or_problem(column.parser, text.strip() or "x", setting)
    if value is not None and not isinstance(value, Doubt):
        assert column.parser.read(column.parser.write(value), setting) == value


def value_or_problem(parser: Parser, text: str, setting: Setting) -> object:
    try:
        return parser.read(text, setting)
    except Doubt as doubt:
        return doubt
