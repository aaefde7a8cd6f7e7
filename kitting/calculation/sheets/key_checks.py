"""Rows that say the same thing twice, or different things about one key."""

from collections.abc import Iterable, Iterator, Sequence

from kitting.calculation.natural_order import natural_key
from kitting.calculation.questions import ASK, REFUSE
from kitting.calculation.sheets.columns import Rows
from kitting.calculation.sheets.parsers import CellDoubt
from kitting.calculation.sheets.reading import SheetReading


def check_keys(reading: SheetReading) -> None:
    """Refuse a second row with the key of an earlier one.

    Where the two rows differ, what differs is in doubt in both, so that no line rests on either; a marked sheet's rows
    are then all not usable.
    """
    fields = [column.field for column in reading.sheet.key]
    for places in _groups([reading.values(field) for field in fields], range(len(reading))):
        first, *others = places
        key = "/".join(str(reading.values(field)[first]) for field in fields)
        differing = [field for field in reading.sheet.by_field if _differ(reading, field, places)]
        for at in others:
            problem = f"{key} stands in row {reading.rows[first]} already" + _differences(reading, differing)
            reading.refuse_row(at, key, CellDoubt(problem, "one row for each, or another code", REFUSE))
        if differing and reading.sheet.rows is Rows.MARKED:
            reading.unusable.setdefault(first, f"rows {_rows(reading, places)} are all {key}")
            continue
        for field in differing:
            reading.void(first, field, f"rows {_rows(reading, places)} say different things")


def _groups(columns: Sequence[Iterable[object]], places: range) -> Iterator[list[int]]:
    """Places of rows whose known values agree in all columns, for values that stand more than once."""
    groups: dict[tuple[object, ...], list[int]] = {}
    keys = list(zip(*columns, strict=True))
    for at, key in zip(places, keys, strict=True) if len(set(keys)) < len(keys) else ():
        if all(isinstance(part, str) for part in key):
            groups.setdefault(key, []).append(at)
    return (group for group in groups.values() if len(group) > 1)


def _differ(reading: SheetReading, field: str, places: list[int]) -> bool:
    values = reading.values(field)
    return any(values[at] != values[places[0]] for at in places[1:])


def _differences(reading: SheetReading, fields: list[str]) -> str:
    labels = ", ".join(reading.sheet.by_field[field].label for field in fields)
    return f" and says otherwise ({labels})" if labels else ""


def _rows(reading: SheetReading, places: list[int]) -> str:
    return " and ".join(str(reading.rows[at]) for at in places)


_ENDS = ("from_structure", "from_position", "to_structure", "to_position")


def check_repeats(schedule: SheetReading) -> None:
    """Ask about rows with the ends (in either direction), phases and system of another row.

    The row of the earlier run in natural order stands; it is the later one that waits for an answer.
    """
    ends = [schedule.values(field) for field in _ENDS]
    phases, systems = schedule.values("phases"), schedule.values("system")
    groups: dict[tuple[object, ...], list[int]] = {}
    for at, (place_a, position_a, place_b, position_b) in enumerate(zip(*ends, strict=True)):
        if at not in schedule.unusable:
            sides = frozenset(((place_a, position_a), (place_b, position_b)))
            groups.setdefault((sides, phases[at], systems[at]), []).append(at)
    jobs, runs = schedule.values("job"), schedule.values("run")
    for places in groups.values():
        if len(places) > 1:
            first, *others = sorted(places, key=lambda at: (natural_key(str(jobs[at])), natural_key(str(runs[at])), at))
            for at in others:
                problem = (
                    f"row {schedule.rows[at]} repeats row {schedule.rows[first]} ({jobs[first]} run {runs[first]})"
                )
                schedule.doubt_row(at, _row_text(schedule, at), CellDoubt(problem, "keep both? keep or drop", ASK))


def _row_text(schedule: SheetReading, at: int) -> str:
    from_structure, from_position, to_structure, to_position = (str(schedule.values(field)[at]) for field in _ENDS)
    ends = f"{from_structure} {from_position} to {to_structure} {to_position}"
    return f"{ends}, {schedule.values('phases')[at]}, {schedule.values('system')[at]}"
