"""Dates of the demo: Good Friday 2026-04-03 is closed; clocks go forward on 2026-03-08 (North American rule)."""

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation import calendars
from kitting.errors import Refusal

GOOD_FRIDAY = date(2026, 4, 3)
CLOSED = frozenset({GOOD_FRIDAY})
DAYS = st.dates(date(2025, 1, 1), date(2030, 12, 31))
CLOSED_DAYS = st.frozensets(st.dates(date(2025, 1, 1), date(2030, 12, 31)), max_size=40)


@pytest.mark.parametrize(
    ("cutover", "staged"),
    [
        (date(2026, 3, 15), date(2026, 3, 12)),
        (date(2026, 4, 4), date(2026, 4, 1)),
        (date(2026, 3, 5), date(2026, 3, 3)),
        (date(2026, 3, 31), date(2026, 3, 27)),
    ],
    ids=["a Sunday", "the Saturday after a closed Friday", "a Thursday", "a Tuesday"],
)
def test_bags_are_staged_two_working_days_before_the_cutover(cutover: date, staged: date) -> None:
    """Trap T37."""
    assert calendars.staged_by(cutover, 2, CLOSED) == staged


def test_no_staging_days_means_the_day_of_the_cutover() -> None:
    assert calendars.staged_by(date(2026, 3, 15), 0, CLOSED) == date(2026, 3, 15)


@pytest.mark.parametrize(
    ("staged", "lead", "expected"),
    [
        (date(2026, 4, 16), 10, date(2026, 4, 6)),
        (date(2026, 4, 1), 14, date(2026, 3, 18)),
        (date(2026, 4, 23), 14, date(2026, 4, 9)),
        (date(2026, 4, 13), 10, date(2026, 4, 2)),
        (date(2026, 3, 27), 98, date(2025, 12, 19)),
    ],
    ids=["J11", "J09", "J12", "back over Good Friday", "J08 moved up"],
)
def test_order_by_counts_lead_in_calendar_days_and_moves_back_to_a_working_day(
    staged: date, lead: int, expected: date
) -> None:
    assert calendars.order_by(staged, receiving_days=0, lead_days=lead, closed=CLOSED) == expected


def test_receiving_counts_working_days_before_the_lead() -> None:
    monday = date(2026, 4, 6)
    assert calendars.order_by(monday, receiving_days=1, lead_days=0, closed=CLOSED) == date(2026, 4, 2)


def test_a_transfer_arrives_after_working_days_of_the_receiving_depot() -> None:
    assert calendars.transfer_arrival(date(2026, 4, 2), 1, CLOSED) == date(2026, 4, 6)
    assert calendars.transfer_arrival(date(2026, 4, 2), 1, frozenset()) == GOOD_FRIDAY


def test_an_order_that_lands_elsewhere_needs_its_transfer_too() -> None:
    """Trap T19: 9 pieces promised 04-10 to one depot are at the other on Monday 04-13."""
    here = calendars.order_ready(date(2026, 4, 10), receiving_days=0, closed=CLOSED)
    there = calendars.order_ready(
        date(2026, 4, 10), receiving_days=0, closed=CLOSED, transfer_days=1, closed_at_destination=CLOSED
    )
    assert (here, there) == (date(2026, 4, 10), date(2026, 4, 13))


def test_the_night_of_the_clock_change_is_an_hour_short() -> None:
    """Trap T36."""
    start, end = datetime(2026, 3, 7, 23, 0), datetime(2026, 3, 8, 6, 0)
    assert calendars.window_hours(start, end, "America/Chicago") == 6
    assert calendars.window_hours(start + timedelta(days=7), end + timedelta(days=7), "America/Chicago") == 7
    assert str(calendars.window_hours(start, end + timedelta(minutes=20), "America/Chicago")) == "6.33"


def test_a_window_that_ends_before_it_starts_is_refused() -> None:
    start = datetime(2026, 3, 7, 23, 0)
    with pytest.raises(Refusal, match="before it starts"):
        calendars.window_hours(start, start - timedelta(hours=1), "America/Chicago")


def test_a_lot_must_be_good_through_the_end_of_the_window_and_the_margin() -> None:
    start, end = datetime(2026, 3, 7, 23, 0), datetime(2026, 3, 8, 6, 0)
    assert calendars.good_through(start, None, 0) == date(2026, 3, 7)
    assert calendars.good_through(start, end, 5) == date(2026, 3, 13)


def test_a_month_alone_means_its_last_day() -> None:
    assert calendars.end_of_month(2026, 2) == date(2026, 2, 28)
    assert calendars.end_of_month(2028, 2) == date(2028, 2, 29)


@given(day=DAYS, count=st.integers(1, 30), closed=CLOSED_DAYS)
def test_working_days_counted_forth_land_on_a_working_day_with_that_many_passed(
    day: date, count: int, closed: frozenset[date]
) -> None:
    there = calendars.add_working_days(day, count, closed)
    span = [day + timedelta(days=n) for n in range(1, (there - day).days + 1)]
    assert calendars.is_working_day(there, closed)
    assert sum(calendars.is_working_day(each, closed) for each in span) == count


@given(day=DAYS, count=st.integers(0, 30), closed=CLOSED_DAYS)
def test_working_days_counted_forth_and_back_return_to_a_working_day(
    day: date, count: int, closed: frozenset[date]
) -> None:
    day = calendars.back_to_working_day(day, closed)
    assert calendars.add_working_days(calendars.add_working_days(day, count, closed), -count, closed) == day


@given(staged=DAYS, lead=st.integers(0, 120), receiving=st.integers(0, 5), closed=CLOSED_DAYS)
def test_an_order_placed_by_its_order_by_arrives_in_time(
    staged: date, lead: int, receiving: int, closed: frozenset[date]
) -> None:
    placed = calendars.order_by(staged, receiving_days=receiving, lead_days=lead, closed=closed)
    arrived = calendars.order_ready(placed + timedelta(days=lead), receiving_days=receiving, closed=closed)
    assert calendars.is_working_day(placed, closed)
    assert arrived <= staged


def test_hours_are_a_plain_number() -> None:
    start = datetime(2026, 3, 10, 0, 0)
    assert str(calendars.window_hours(start, start + timedelta(hours=100), "America/Chicago")) == "100"
    assert calendars.window_hours(start, start, "America/Chicago") == Decimal(0)


def test_an_outage_over_a_change_of_the_clocks_says_when_they_change() -> None:
    """Trap T36: 23:00 to 06:00 on 2026-03-08 are six hours; the clocks went forward at 02:00 and back on 11-01."""
    spring = calendars.clock_change(datetime(2026, 3, 7, 23, 5), datetime(2026, 3, 8, 6), "America/Chicago")
    autumn = calendars.clock_change(datetime(2026, 10, 31, 23), datetime(2026, 11, 1, 6), "America/Chicago")
    assert spring is not None
    assert autumn is not None
    assert spring.words == "the clocks go forward 1 h on 2026-03-08 at 02:00"
    assert autumn.words == "the clocks go back 1 h on 2026-11-01 at 02:00"
    assert calendars.clock_change(datetime(2026, 3, 8, 6), datetime(2026, 3, 8, 23), "America/Chicago") is None
    assert calendars.clock_change(datetime(2026, 3, 7, 23), datetime(2026, 3, 8, 6), "Asia/Tokyo") is None
