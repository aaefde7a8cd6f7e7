"""Cells of dates and times."""

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.questions import ASK, REFUSE
from kitting.calculation.sheets.date_parsers import DATE, MOMENT, USE_BY
from kitting.calculation.sheets.parsers import CellDoubt, Parser, Setting

FIFTH_OF_MARCH = date(2026, 3, 5)


def read(text: str, order: str = "asked", parser: Parser = DATE) -> object:
    return parser.read(text, Setting(date_order=order))


def doubt_about(text: str, order: str = "asked", parser: Parser = DATE) -> CellDoubt:
    with pytest.raises(CellDoubt) as caught:
        read(text, order, parser)
    return caught.value


@pytest.mark.parametrize(
    "text", ["2026-03-05", "2026/3/5", "20260305", "5 Mar 2026", "March 5, 2026", "05-MAR-2026", "2026-03-05 00:00"]
)
def test_dates_with_one_reading_are_read(text: str) -> None:
    assert read(text) == FIFTH_OF_MARCH


def test_two_possible_days_are_asked_unless_the_owner_declares_the_order() -> None:
    """The same cell under two declared orders is two different, stated dates."""
    doubt = doubt_about("03/05/2026")
    assert (doubt.severity, doubt.suggestion) == (ASK, "2026-03-05 or 2026-05-03?")
    assert read("03/05/2026", "month first") == FIFTH_OF_MARCH
    assert read("03/05/2026", "day first") == date(2026, 5, 3)


def test_a_day_that_only_one_order_allows_is_read_and_the_other_order_refuses_it() -> None:
    assert read("13/04/2026") == date(2026, 4, 13)
    assert read("04/04/2026") == date(2026, 4, 4)
    assert doubt_about("13/04/2026", "month first").severity == REFUSE


@pytest.mark.parametrize("text", ["2026-02-30", "2026-13-01", "30/02/2026", "31 Apr 2026", "1900-01-00"])
def test_a_date_that_does_not_exist_is_refused(text: str) -> None:
    doubt = doubt_about(text)
    assert (doubt.severity, doubt.problem) == (REFUSE, "is a date that does not exist")


def test_a_year_of_two_digits_is_asked() -> None:
    assert doubt_about("13/04/26").suggestion == "2026-04-13?"
    assert doubt_about("5-Mar-26").suggestion == "2026-03-05?"


def test_a_year_that_no_plan_can_mean_is_refused() -> None:
    assert doubt_about("0206-03-05").severity == REFUSE


def test_a_bare_day_number_of_a_spreadsheet_is_asked() -> None:
    """Day 1 of the count is 1900-01-01 and 1900 counts as a leap year, so 46086 is 2026-03-05 (common practice)."""
    assert doubt_about("46086").suggestion == "2026-03-05?"


def test_a_month_holds_to_its_last_day_as_use_by_only() -> None:
    assert [read(text, parser=USE_BY) for text in ("2028-02", "02/2028", "Feb 2028")] == [date(2028, 2, 29)] * 3
    assert read("2026-03-05", parser=USE_BY) == FIFTH_OF_MARCH
    assert doubt_about("2028-02").severity == ASK


def test_a_cutover_has_a_local_time_of_day() -> None:
    nine = datetime(2026, 3, 5, 9, 0)
    for text in ("2026-03-05 09:00", "2026-03-05T09:00:00", "Mar 5, 2026 9:00 am"):
        assert read(text, parser=MOMENT) == nine
    assert read("2026-03-05 9:30 PM", parser=MOMENT) == nine.replace(hour=21, minute=30)
    assert read("2026-03-05 12:00 am", parser=MOMENT) == nine.replace(hour=0)
    assert doubt_about("09:00", parser=MOMENT).severity == ASK
    assert doubt_about("2026-03-05 24:10", parser=MOMENT).severity == REFUSE
    assert doubt_about("2026-03-05 09:00Z", parser=MOMENT).severity == REFUSE
    assert doubt_about("2026-03-05T09:00+01:00", parser=MOMENT).severity == REFUSE


def test_a_time_of_day_in_a_date_column_is_asked() -> None:
    assert doubt_about("2026-03-05 09:00").suggestion == "2026-03-05?"


@given(st.dates(date(1950, 1, 1), date(2099, 12, 31)))
def test_every_date_is_read_back_from_iso_and_from_a_declared_order(day: date) -> None:
    assert read(day.isoformat()) == day
    assert read(f"{day:%d/%m/%Y}", "day first") == day
    assert read(f"{day:%m/%d/%Y}", "month first") == day
