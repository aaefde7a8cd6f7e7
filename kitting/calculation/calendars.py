"""Working days, and the dates that a cutover, a transfer or an order leads to.

A working day is Monday to Friday and not a closed day of the depot. Staging, receiving and transfer days count working
days of the depot that receives; lead days and the expiry margin count calendar days. All dates are local dates.
"""

from calendar import monthrange
from collections.abc import Set
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from kitting.errors import Refusal

_ONE_DAY = timedelta(days=1)
_CLOCK_STEP = timedelta(minutes=15)  # clocks change at quarters of an hour
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_SATURDAY = 5
_NEVER_CLOSED: frozenset[date] = frozenset()


def is_working_day(day: date, closed: Set[date]) -> bool:
    """True from Monday to Friday, unless the depot is closed on that day."""
    return day.weekday() < _SATURDAY and day not in closed


def add_working_days(day: date, count: int, closed: Set[date]) -> date:
    """The day ``count`` working days after ``day``, or before it where ``count`` is negative; 0 is the day itself."""
    step = _ONE_DAY if count > 0 else -_ONE_DAY
    for _ in range(abs(count)):
        day += step
        while not is_working_day(day, closed):
            day += step
    return day


def back_to_working_day(day: date, closed: Set[date]) -> date:
    """The day itself when the depot works, else the last working day before it."""
    while not is_working_day(day, closed):
        day -= _ONE_DAY
    return day


def staged_by(cutover: date, staging_days: int, closed: Set[date]) -> date:
    """The day by which the bags must be ready: ``staging_days`` working days before the local date of the cutover."""
    return add_working_days(cutover, -staging_days, closed)


def order_by(staged: date, *, receiving_days: int, lead_days: int, closed: Set[date]) -> date:
    """The last working day on which an order still arrives, is received and can be staged in time.

    Receiving counts working days of the depot, the lead calendar days; a result on a day off moves back.
    """
    arrival = add_working_days(back_to_working_day(staged, closed), -receiving_days, closed)
    return back_to_working_day(arrival - timedelta(days=lead_days), closed)


def transfer_arrival(start: date, transfer_days: int, closed: Set[date]) -> date:
    """The day on which a transfer that starts on ``start`` is at the depot whose closed days are given."""
    return add_working_days(start, transfer_days, closed)


def order_ready(
    promised: date,
    *,
    receiving_days: int,
    closed: Set[date],
    transfer_days: int = 0,
    closed_at_destination: Set[date] = _NEVER_CLOSED,
) -> date:
    """The day on which pieces of an order can be used: promised, received where they land, then moved on.

    Args:
        promised: the supplier's date.
        receiving_days: working days of receiving at the depot where the order lands.
        closed: closed days of that depot.
        transfer_days: working days to the depot of the job; 0 where the order lands there.
        closed_at_destination: closed days of the depot of the job.
    """
    received = add_working_days(promised, receiving_days, closed)
    return transfer_arrival(received, transfer_days, closed_at_destination)


def good_through(cutover: datetime, cutover_end: datetime | None, margin_days: int) -> date:
    """The last local date on which a lot must still be good: the end of the window plus the margin."""
    return (cutover_end or cutover).date() + timedelta(days=margin_days)


def end_of_month(year: int, month: int) -> date:
    """Last good day of a lot whose label gives only month and year (the reading of day 00 in GS1 element 17)."""
    return date(year, month, monthrange(year, month)[1])


@dataclass(frozen=True, slots=True)
class ClockChange:
    """The clocks change within an outage: ``at`` is the wall-clock time at which, ``hours`` they go forward or back."""

    at: datetime
    hours: Decimal

    @property
    def words(self) -> str:
        """``the clocks go forward 1 h on 2026-03-08 at 02:00``."""
        way = "forward" if self.hours > 0 else "back"
        return f"the clocks go {way} {abs(self.hours).normalize():f} h on {self.at:%Y-%m-%d} at {self.at:%H:%M}"


def clock_change(cutover: datetime, cutover_end: datetime, zone: str) -> ClockChange | None:
    """The first change of the clocks within an outage, None where there is none.

    Args:
        cutover, cutover_end: naive local start and end.
        zone: name in the IANA time zone database.
    """
    there = ZoneInfo(zone)
    moment, end = (one.replace(tzinfo=there).astimezone(UTC) for one in (cutover, cutover_end))
    while moment < end:
        after = min(moment + _CLOCK_STEP - (moment - _EPOCH) % _CLOCK_STEP, end)
        before, now = (one.astimezone(there).utcoffset() or timedelta(0) for one in (moment, after))
        if before != now:
            shift = Decimal((now - before) // timedelta(seconds=1)) / 3600
            return ClockChange((after + before).replace(tzinfo=None), shift)
        moment = after
    return None


def window_hours(cutover: datetime, cutover_end: datetime, zone: str) -> Decimal:
    """Hours that really pass between two local wall-clock times, clock changes counted, to a hundredth.

    A time that the clock shows twice is read as its first showing.

    Args:
        cutover: naive local start of the outage.
        cutover_end: naive local end.
        zone: name in the IANA time zone database, such as ``America/Chicago``.

    Raises:
        Refusal: ``window-ends-first`` when the end is before the start.
    """
    there = ZoneInfo(zone)
    passed = cutover_end.replace(tzinfo=there).astimezone(UTC) - cutover.replace(tzinfo=there).astimezone(UTC)
    if passed < timedelta(0):
        raise Refusal("window-ends-first", f"The outage ends {cutover_end} before it starts {cutover}.")
    hours = Decimal(passed // timedelta(seconds=1)) / 3600
    return Decimal(f"{round(hours, 2).normalize():f}")
