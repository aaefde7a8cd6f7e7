"""Parsers of dates: ISO is read, a date with two readings is asked, an impossible one is refused."""

import re
from calendar import monthrange
from datetime import date, datetime, time, timedelta

from kitting.calculation.questions import REFUSE
from kitting.calculation.sheets.parsers import CellDoubt, Parser, Setting

DATE_ORDERS = ("asked", "month first", "day first")
_MONTH_NAMES = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_CLOCK = re.compile(r"(.*?)[ T]+([0-9]{1,2}):([0-9]{2})(?::[0-9]{2}(?:\.0+)?)?(?:\s*([ap])\.?m\.?)?", re.IGNORECASE)
_YEAR_FIRST = re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})|([0-9]{4})([0-9]{2})([0-9]{2})")
_NUMBERS = re.compile(r"([0-9]{1,2})([-/. ])([0-9]{1,2})\2([0-9]{4}|[0-9]{2})")
_DAY_NAME_YEAR = re.compile(r"([0-9]{1,2})[-. ]+([a-z]{3,9})[-., ]+([0-9]{2,4})", re.IGNORECASE)
_NAME_DAY_YEAR = re.compile(r"([a-z]{3,9})[-. ]+([0-9]{1,2})[-., ]+([0-9]{2,4})", re.IGNORECASE)
_YEAR_MONTH = re.compile(r"([0-9]{4})[-/]([0-9]{1,2})")
_MONTH_YEAR = re.compile(r"([0-9]{1,2}|[a-z]{3,9})[-/. ]+([0-9]{4})", re.IGNORECASE)
_DAY_NUMBER = re.compile(r"[34][0-9]{4}(?:\.[0-9]+)?")
_DAY_ZERO = date(1899, 12, 30)  # spreadsheets count days from here (common practice)
_YEARS = range(1950, 2100)
_NOON = 12
_LONGEST = 60


def _read_date(text: str, setting: Setting) -> date:
    day, clock = _apart(text)
    if clock not in (None, time(0)):
        raise CellDoubt("has a time of day where only a date belongs", f"{_day(day, setting).isoformat()}?")
    return _day(day, setting)


def _read_date_or_month(text: str, setting: Setting) -> date:
    month = _month_only(text)
    return month if month is not None else _read_date(text, setting)


def _read_moment(text: str, setting: Setting) -> datetime:
    if re.fullmatch(r"[0-9]{1,2}:[0-9]{2}", text):
        raise CellDoubt("is a time without a date", "date and time, such as 2026-03-05 09:00")
    if re.search(r"[0-9]{2}(?:Z|[+-][0-9]{2}:?[0-9]{2})$", text) and ":" in text:
        raise CellDoubt("names a time zone; this is the depot's local time", "the local time without a zone", REFUSE)
    day, clock = _apart(text)
    return datetime.combine(_day(day, setting), clock or time(0))


DATE = Parser("a date such as 2026-03-05", _read_date)
USE_BY = Parser("a date such as 2026-03-05, or a month such as 2026-03 (its last day)", _read_date_or_month)
MOMENT = Parser(
    "date and local time such as 2026-03-05 09:00", _read_moment, lambda value: str(value)[: len("2026-03-05 09:00")]
)


def _apart(text: str) -> tuple[str, time | None]:
    """Date text and time of day."""
    if len(text) > _LONGEST:
        raise CellDoubt("is too long for a date", "a date such as 2026-03-05", REFUSE)
    found = _CLOCK.fullmatch(text)
    if found is None:
        return text, None
    day, hour, minute, half = found[1], int(found[2]), int(found[3]), found[4]
    if half is not None and 1 <= hour <= _NOON:
        hour = hour % _NOON + (_NOON if half in "pP" else 0)
    try:
        return day, time(hour, minute)
    except ValueError:
        raise CellDoubt("has a time of day that does not exist", "a time from 00:00 to 23:59", REFUSE) from None


def _day(text: str, setting: Setting) -> date:
    found = _YEAR_FIRST.fullmatch(text)
    if found is not None:
        year, month, day = (found[1], found[3], found[4]) if found[1] else (found[5], found[6], found[7])
        return _possible(int(year), int(month), int(day))
    found = _NUMBERS.fullmatch(text)
    if found is not None:
        return _ordered(int(found[1]), int(found[3]), found[4], setting.date_order)
    found = _DAY_NAME_YEAR.fullmatch(text)
    if found is not None:
        return _named(found[1], found[2], found[3])
    found = _NAME_DAY_YEAR.fullmatch(text)
    if found is not None:
        return _named(found[2], found[1], found[3])
    if _DAY_NUMBER.fullmatch(text):
        likely = _DAY_ZERO + timedelta(days=int(float(text)))
        raise CellDoubt("looks like a spreadsheet's day number", f"{likely.isoformat()}?")
    if _month_only(text) is not None:
        raise CellDoubt("is a month without a day", "a date such as 2026-03-05")
    raise CellDoubt("is not a date", "a date such as 2026-03-05", REFUSE)


def _possible(year: int, month: int, day: int) -> date:
    try:
        found = date(year, month, day)
    except ValueError:
        raise CellDoubt("is a date that does not exist", "a date such as 2026-03-05", REFUSE) from None
    if year not in _YEARS:
        raise CellDoubt(f"has a year outside {_YEARS.start} to {_YEARS.stop - 1}", "check the year", REFUSE)
    return found


def _ordered(first: int, second: int, year: str, order: str) -> date:
    """Read ``03/04/2026`` by the owner's order; asked where two readings are possible and no order is declared."""
    orders = {"month first": (first, second), "day first": (second, first)}
    readings = {}
    for name, (month, day) in orders.items():
        if order in ("asked", name):
            try:
                readings[name] = date(int(year) + (2000 if len(year) == len("26") else 0), month, day)
            except ValueError:
                continue
    days = sorted(set(readings.values()))
    if not days:
        raise CellDoubt("is a date that does not exist", "a date such as 2026-03-05", REFUSE)
    shown = " or ".join(day.isoformat() for day in days)
    if len(year) == len("26"):
        raise CellDoubt("has a year of two digits", f"{shown}?")
    if len(days) > 1:
        raise CellDoubt("is two dates, by month first or by day first", f"{shown}?")
    return _possible(days[0].year, days[0].month, days[0].day)


def _named(day: str, name: str, year: str) -> date:
    month = _month_number(name)
    if month is None:
        raise CellDoubt("is not a date", "a date such as 2026-03-05", REFUSE)
    if len(year) != len("2026"):
        likely = _possible(2000 + int(year[-2:]), month, int(day))
        raise CellDoubt("has a year of two digits", f"{likely.isoformat()}?")
    return _possible(int(year), month, int(day))


def _month_number(name: str) -> int | None:
    short = name[:3].casefold()
    return _MONTH_NAMES.index(short) + 1 if short in _MONTH_NAMES else None


def _month_only(text: str) -> date | None:
    """Last day of the month, where only a month is given: a date printed by month holds to its end."""
    found = _YEAR_MONTH.fullmatch(text)
    year, month = (int(found[1]), int(found[2])) if found else (0, None)
    found = _MONTH_YEAR.fullmatch(text)
    if found:
        year, month = int(found[2]), int(found[1]) if found[1].isdigit() else _month_number(found[1])
    if month is None or not 1 <= month <= len(_MONTH_NAMES) or year not in _YEARS:
        return None
    return date(year, month, monthrange(year, month)[1])
