"""What a cell holds, as text: the same text whether it came from a workbook or from a CSV file.

Only the standard library is imported: the child process that reads workbooks starts with this module.
"""

import datetime as dt
import re
from decimal import Decimal

LONGEST_TEXT = 32_767  # characters in a cell: the limit that spreadsheet programs state for themselves
_DIGITS = 15  # significant digits that a spreadsheet program keeps and shows of a number
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
_UNREADABLE = "\ufffd"  # the replacement character: nothing vanishes unseen


def cell_text(value: object) -> str:
    """Text of a cell: exact decimals, ISO dates, yes and no; ``''`` for a blank cell.

    Args:
        value: text, number, truth value, date, date with time, time of day, or span of time.
    """
    if isinstance(value, str):
        return clean_text(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return number_text(value)
    if isinstance(value, dt.datetime):
        return _moment_text(value)
    if isinstance(value, dt.time):
        return _clock_text(value)
    if isinstance(value, dt.timedelta):
        return _span_text(value)
    return str(value)


def clean_text(text: str) -> str:
    """Text with line ends as one newline and unprintable characters shown as U+FFFD; only blanks count as nothing."""
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not text.isprintable():
        text = _CONTROL.sub(_UNREADABLE, text)
    return "" if text.isspace() else text


def number_text(number: float) -> str:
    """Shortest plain decimal text of a number, to the 15 significant digits that a spreadsheet program keeps.

    So the noise of a stored sum does not reach the reader: 0.30000000000000004 reads 0.3.

    >>> number_text(23.6), number_text(350.0), number_text(1e-7), number_text(0.1 + 0.2)
    ('23.6', '350', '0.0000001', '0.3')
    """
    text = f"{number:.{_DIGITS}g}"
    if "e" in text:
        text = f"{Decimal(text):f}"
    return "0" if text == "-0" else text


def _moment_text(moment: dt.datetime) -> str:
    whole = moment + dt.timedelta(microseconds=500_000)  # to the nearest second: days are stored as binary fractions
    clock = whole.time().replace(microsecond=0)
    return f"{whole:%Y-%m-%d} {_clock_text(clock)}" if clock else f"{whole:%Y-%m-%d}"


def _clock_text(clock: dt.time) -> str:
    return _span_text(dt.timedelta(hours=clock.hour, minutes=clock.minute, seconds=clock.second))


def _span_text(span: dt.timedelta) -> str:
    seconds = round(span.total_seconds())
    hours, rest = divmod(abs(seconds), 3600)
    text = f"{'-' if seconds < 0 else ''}{hours:02}:{rest // 60:02}"
    return f"{text}:{rest % 60:02}" if rest % 60 else text
