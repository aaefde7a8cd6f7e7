"""Sense checks on dates and on the clocks of depots."""

from datetime import UTC, date, datetime
from difflib import get_close_matches
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from kitting.calculation.questions import ASK, NOTE, REFUSE
from kitting.calculation.sheets.parsers import CellDoubt, did_you_mean
from kitting.calculation.sheets.reading import SheetReading


def check_clocks(jobs: SheetReading, depots: SheetReading) -> None:
    """Refuse local times that a change of clocks leaves out, and a cutover that ends before it starts."""
    named = zip(depots.values("depot"), depots.values("time_zone"), strict=True)
    zones = {depot: ZoneInfo(name) for depot, name in named if isinstance(name, str)}
    for field in ("cutover", "cutover_end"):
        for at, moment in enumerate(jobs.values(field)):
            zone = zones.get(jobs.values("depot")[at])
            if isinstance(moment, datetime) and zone is not None:
                _check_clock(jobs, at, field, moment, zone)
    _check_order(jobs, "cutover", "cutover_end", "the cutover ends before it starts")


def check_approvals(stand_ins: SheetReading) -> None:
    """Refuse an approval that ends before it starts."""
    _check_order(stand_ins, "valid_from", "valid_to", "the approval ends before it starts")


def check_zones(depots: SheetReading) -> None:
    """Refuse time zones that don't exist."""
    for at, name in enumerate(depots.values("time_zone")):
        if isinstance(name, str):
            try:
                ZoneInfo(name)
            except (ZoneInfoNotFoundError, ValueError, OSError):  # ValueError, OSError: not even a possible name
                near = did_you_mean(get_close_matches(name, available_timezones(), n=2, cutoff=0.7))
                doubt = CellDoubt(
                    "no such time zone", near or "a name such as America/Chicago", ASK if near else REFUSE
                )
                depots.doubt(at, "time_zone", doubt)


def _check_clock(jobs: SheetReading, at: int, field: str, moment: datetime, zone: ZoneInfo) -> None:
    """A local time may stand twice, or not at all, on the night when the clocks change."""
    first = moment.replace(tzinfo=zone)
    if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != moment:
        doubt = CellDoubt("this local time does not exist: the clocks go forward over it", "an hour later?", REFUSE)
        jobs.doubt(at, field, doubt)
    elif first.utcoffset() != first.replace(fold=1).utcoffset():
        doubt = CellDoubt("this local time comes twice: the clocks go back; the first is taken", "", NOTE)
        jobs.doubt(at, field, doubt)


def _check_order(reading: SheetReading, first: str, last: str, problem: str) -> None:
    for at, (start, end) in enumerate(zip(reading.values(first), reading.values(last), strict=True)):
        if isinstance(start, date) and isinstance(end, date) and end < start:
            doubt = CellDoubt(f"{problem} ({reading.texts(first)[at]})", "check both dates", REFUSE)
            reading.doubt(at, last, doubt)
