"""Adopting a foreign list of cable runs: a column layout turns it into our sheets of text, read as any others.

Nothing is guessed: what the list does not say stays blank or in its own word, and is asked when it is read.
"""

from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from pathlib import Path

from kitting.calculation.questions import NOTE, REFUSE, Question
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, trimmed
from kitting.errors import Refusal
from kitting.spreadsheets.csv_reader import read_csv_sheet
from kitting.spreadsheets.layout_file import END, KIND, SIDES, ColumnLayout, Facts, read_layout
from kitting.spreadsheets.raw_joining import Row, joined_sheet, without_known

_TYPE_SHEET = "cable types"
_TYPE = "cable type"


def adopt(layout_path: Path, raw_csv_path: Path, base: RawBook | None = None) -> RawBook:
    """The sheets jobs, systems, cable types, positions and schedule, made from a foreign list of cable runs.

    Args:
        layout_path: the column layout, see ``layout_file``.
        raw_csv_path: the list, a CSV file with one row a cable run.
        base: a book with the other sheets; where it has a job, system, cable type or position of the same key, its row
            stands and the one from the list is left out; runs are all kept, so that a repeated one is asked about.

    Raises:
        Refusal: those of ``read_layout`` and ``read_csv_sheet``; ``column-layout`` where the list lacks a column that
            the layout reads; ``not-adopted`` where every row is refused.
    """
    layout, foreign = read_layout(layout_path), read_csv_sheet(raw_csv_path)
    unused = tuple(_unused_columns(layout, foreign))
    rows = dict(_facts(layout, foreign))
    refused = {row: question for row, facts in rows.items() if (question := _refused(layout, foreign.name, row, facts))}
    if len(refused) == len(rows):
        why = next((question.problem for question in refused.values()), "it has none")
        message = f"{raw_csv_path.name}: no row can be adopted; {why}."
        raise Refusal("not-adopted", message, {"file": raw_csv_path.name, "rows": len(rows)})
    types = _CableTypes(layout, rows.values())
    made = _made(layout, {row: facts for row, facts in rows.items() if row not in refused})
    made["cable types"] = types.rows
    sheets = dict(base.sheets) if base else {}
    for name, made_rows in made.items():
        sheets[name] = joined_sheet(name, sheets.get(name), without_known(name, sheets.get(name), made_rows))
    runs = [_run(layout, types, facts) for facts in rows.values()]  # also refused ones: they stay, to be asked about
    sheets["schedule"] = joined_sheet("schedule", sheets.get("schedule"), runs, rows)
    return raw_book(sheets.values(), (*(base.notes if base else ()), *foreign.notes, *unused, *refused.values()))


def _unused_columns(layout: ColumnLayout, foreign: RawSheet) -> Iterator[Question]:
    read = layout.columns()
    absent = sorted(read - set(map(trimmed, foreign.headers)))
    if absent:
        message = f"The list lacks columns that the column layout reads: {', '.join(absent)}."
        raise Refusal("column-layout", message, {"columns": tuple(absent)})
    for header in map(trimmed, foreign.headers):
        if header and header not in read | layout.unused:
            problem = "the column layout does not use this column"
            yield Question(foreign.name, 1, header, header, problem, "add it to the layout, or to its unused", NOTE)


def _facts(layout: ColumnLayout, foreign: RawSheet) -> Iterator[tuple[int, Facts]]:
    headers = [trimmed(header) for header in foreign.headers]
    words = [layout.translate.get(header, {}) for header in headers]
    for row, *cells in foreign.cells.itertuples(name=None):
        texts = map(trimmed, cells)
        yield row, {header: known.get(text, text) for header, known, text in zip(headers, words, texts, strict=True)}


def _refused(layout: ColumnLayout, sheet: str, row: int, facts: Facts) -> Question | None:
    for bound, because in layout.refuse:
        if bound.is_met(facts):
            read = facts[bound.column]
            return Question(sheet, row, bound.column, read, f"{bound.column} {read}: {because}", "", REFUSE)
    return None


def _made(layout: ColumnLayout, rows: Mapping[int, Facts]) -> dict[str, list[Row]]:
    """Rows of jobs, systems and positions, each once, in the order of the list."""
    made = {name: _once(_filled(layout, name, facts) for facts in rows.values()) for name in ("jobs", "systems")}
    made["positions"] = _once(_position(layout, facts, side) for facts in rows.values() for side in SIDES)
    return made


def _once(rows: Iterable[Row]) -> list[Row]:
    return list({tuple(row.values()): row for row in rows}.values())


def _filled(layout: ColumnLayout, name: str, facts: Facts) -> dict[str, str]:
    return {header: template.fill(facts) for header, template in layout.sheets[name].items()}


class _CableTypes:
    """The cables of the list as cable types: equal facts are one type, and a name with several builds is numbered."""

    def __init__(self, layout: ColumnLayout, rows: Iterable[Facts]) -> None:
        self._layout = layout
        builds = _once(_filled(layout, "cable types", facts) for facts in rows)
        self._names: dict[tuple[str, ...], str] = {}
        for name, same in groupby(sorted(builds, key=_build), key=lambda build: build[_TYPE]):
            several = list(same)
            for number, build in enumerate(several, start=1):
                self._names[_build(build)] = f"{name} build {number}" if len(several) > 1 else name
        self.rows: list[Row] = [{**build, _TYPE: self._names[_build(build)]} for build in builds]

    def name(self, facts: Facts) -> str:
        """Name of the type of a run's cable."""
        return self._names[_build(_filled(self._layout, "cable types", facts))]


def _build(cable_type: Row) -> tuple[str, ...]:
    return (cable_type[_TYPE], *cable_type.values())


def _position(layout: ColumnLayout, facts: Facts, side: str) -> Row:
    """Row of the position at an end; a kind of end that the layout names has a position for every cable end."""
    seen = {**facts, **{END + fact: facts[column] for fact, column in layout.ends[side].items()}}
    word = seen[END + KIND]
    rules = [rule for rule in layout.kinds if rule.end == word]
    kind = next((rule.kind for rule in rules if rule.bound is None or rule.bound.is_met(facts)), word)
    row = _filled(layout, "positions", seen)
    return {**row, "position": row["position"] if rules else layout.shared_position.fill(seen), "kind": kind}


def _run(layout: ColumnLayout, types: _CableTypes, facts: Facts) -> Row:
    ends = {
        f"{side} {header}": row[header]
        for side in SIDES
        for row in (_position(layout, facts, side),)
        for header in ("structure", "position")
    }
    return {**_filled(layout, "schedule", facts), _TYPE: types.name(facts), **ends}
