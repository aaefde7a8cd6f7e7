"""Adopting a foreign list: a column layout turns it into our sheets of text, read as any others.

Nothing is guessed: what the list does not say stays blank or in its own word, and is asked when it is read.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path

from kitting.calculation.questions import ASK, NOTE, REFUSE, Question
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.headers import find_column
from kitting.calculation.sheets.near_names import NearNames
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, trimmed
from kitting.errors import Refusal
from kitting.spreadsheets.cell_forms import contradicts, in_our_form
from kitting.spreadsheets.csv_reader import read_csv_sheet
from kitting.spreadsheets.layout_file import (
    CABLE_TYPES,
    END,
    KIND,
    POSITIONS,
    SCHEDULE,
    SIDES,
    CellForm,
    ColumnLayout,
    Facts,
    read_layout,
)
from kitting.spreadsheets.list_headings import names_of
from kitting.spreadsheets.raw_joining import Row, joined_sheet, without_known
from kitting.spreadsheets.received_file import Progress
from kitting.spreadsheets.sheet_frames import FirstRows, sheet_name
from kitting.spreadsheets.workbook_reader import read_workbook

_TYPE = "cable type"
_WHOLE_ROW = "row"
_AS_WRITTEN = CellForm()


def adopt(
    layout_path: Path, list_path: Path, base: RawBook | None = None, *, said: Mapping[str, str] | None = None
) -> RawBook:
    """The sheets that a column layout makes of a foreign list, beside those of a base book.

    Args:
        layout_path: the column layout, see ``layout_file``.
        list_path: the list, a CSV file or a workbook.
        base: a book with the other sheets, see ``adopted``.
        said: what is the same in all rows of this list, by our header, where the layout asks for it.

    Raises:
        Refusal: those of ``read_layout``, ``read_list`` and ``adopted``.
    """
    layout = read_layout(layout_path)
    is_text = list_path.suffix.lower() == ".csv"
    return adopted(layout, read_list(list_path, layout), base, said=said, is_text=is_text)


def read_list(path: Path, layout: ColumnLayout, progress: Progress | None = None) -> RawSheet:
    """The sheet of a file that a layout reads, with the header row that it names.

    Raises:
        Refusal: those of ``read_csv_sheet`` and ``read_workbook``; ``column-layout``: the sheet or row is not there.
    """

    def header_row(name: str, first: FirstRows) -> int:
        wanted = layout.header_row
        rows = [row for row, _ in first]
        if wanted is None or name != (sheet_name(layout.list_sheet) or name):
            return rows[0]
        if wanted not in rows:
            message = f"The column layout reads the headings in row {wanted}, and row {wanted} of {path.name} is blank."
            raise Refusal("column-layout", message, {"row": wanted})
        return wanted

    if path.suffix.lower() == ".csv":
        return read_csv_sheet(path, progress, header_row)
    sheets, notes = read_workbook(path, progress, header_row)
    wanted = sheet_name(layout.list_sheet)
    found = next((sheet for sheet in sheets if sheet.name == wanted or not wanted), None)
    if found is None:
        there = ", ".join(sheet.name for sheet in sheets) or "none with text"
        message = f"The column layout reads the sheet {layout.list_sheet}; {path.name} has {there}."
        raise Refusal("column-layout", message, {"sheet": layout.list_sheet})
    return replace(found, notes=(*found.notes, *notes))


def adopted(
    layout: ColumnLayout,
    foreign: RawSheet,
    base: RawBook | None = None,
    *,
    said: Mapping[str, str] | None = None,
    is_text: bool = True,
) -> RawBook:
    """The sheets that a column layout makes of a foreign list.

    Args:
        layout: how the list is read.
        foreign: the list, one row of the layout's main sheet a row.
        base: a book with the other sheets; where it has a job, system, cable type or position of the same key, its row
            stands and the one from the list is left out; rows of the main sheet are all kept, so that a repeated one
            is asked about.
        said: what was said with this list for the columns that the layout asks for.
        is_text: whether its numbers were written as text, as in a CSV file; a workbook keeps them with a point.

    Raises:
        Refusal: ``column-layout`` where the list lacks a column that the layout reads; ``said-with-the-list`` where
            ``said`` lacks one that it asks for; ``not-adopted`` where every row is refused.
    """
    unused = tuple(_unused_columns(layout, foreign))
    given = _said(layout, said or {})
    rows = dict(_facts(layout, foreign))
    refused = {row: told for row, facts in rows.items() if (told := _refused(layout, facts))}
    if len(refused) == len(rows):
        why = next((told.problem for told in refused.values()), "it has none")
        message = f"{foreign.name}: no row can be adopted; {why}."
        raise Refusal("not-adopted", message, {"sheet": foreign.name, "rows": len(rows)})
    types = _CableTypes(layout, rows.values())
    made = _made(layout, {row: facts for row, facts in rows.items() if row not in refused})
    if CABLE_TYPES in layout.sheets and layout.main != CABLE_TYPES:
        made[CABLE_TYPES] = types.rows
    sheets = dict(base.sheets) if base else {}
    known: list[Question] = []
    for name, made_rows in made.items():
        new = without_known(name, sheets.get(name), made_rows)
        known += _known(name, len(made_rows) - len(new))
        before = sheets.get(name)
        sheets[name] = joined_sheet(name, before, new)
        if name == POSITIONS and before is not None:
            asked_of = tuple(_near_places(before, sheets[name]))
            sheets[name] = replace(sheets[name], notes=(*sheets[name].notes, *asked_of))
    main_rows = [{**_main_row(layout, types, facts), **given} for facts in rows.values()]  # also refused ones
    main = joined_sheet(layout.main, sheets.get(layout.main), main_rows, rows)
    numbers = dict(zip(rows, main.cells.index[len(main.cells) - len(rows) :].tolist(), strict=True))
    doubts = [*refused.items(), *(_contradictions(layout, foreign) if is_text else ()), *_doubts(foreign)]
    at_rows = {row: (numbers[row], made_row) for row, made_row in zip(rows, main_rows, strict=True)}
    asked = [question for row, told in doubts for question in _at_our_columns(layout, at_rows, row, told)]
    sheets[layout.main] = replace(main, notes=(*main.notes, *asked))
    notes = [note for note in foreign.notes if note.severity == NOTE]
    return raw_book(sheets.values(), (*(base.notes if base else ()), *notes, *unused, *known))


@dataclass(frozen=True, slots=True)
class _Told:
    """What is wrong with a cell of the list, before it is known which of our cells it became."""

    column: str
    problem: str
    suggestion: str
    severity: str


def _unused_columns(layout: ColumnLayout, foreign: RawSheet) -> Iterator[Question]:
    read, names = layout.columns(), names_of(foreign)
    absent = sorted(read - set(names))
    if absent:
        message = f"The list lacks columns that the column layout reads: {', '.join(absent)}."
        raise Refusal("column-layout", message, {"columns": tuple(absent)})
    for name in names:
        if name and name not in read | layout.unused:
            problem = "the column layout does not use this column"
            yield Question(foreign.name, 1, name, name, problem, "add it to the layout, or to its unused", NOTE)


def _said(layout: ColumnLayout, said: Mapping[str, str]) -> dict[str, str]:
    absent = [header for header in layout.asked if not said.get(header, "").strip()]
    if absent:
        message = f"Say with this list what is the same in all its rows: {', '.join(absent)}."
        raise Refusal("said-with-the-list", message, {"columns": tuple(absent)})
    return {header: said[header].strip() for header in layout.asked}


def _known(name: str, number: int) -> list[Question]:
    if not number:
        return []
    problem = f"{number} of the {name} of the list are known already: what is known of them stands"
    return [Question(name, 0, "", "", problem, "change it on its own page or sheet if the list is right", NOTE)]


def _near_places(known: RawSheet, positions: RawSheet) -> Iterator[Question]:
    """Ask once about each structure of the list that looks like one that is known: it may be the same place."""
    at = next(place for place, header in enumerate(positions.headers) if _is_structure(header))
    names = set(map(trimmed, known.cells[at]))
    near = NearNames(names)
    new = positions.cells[at].iloc[len(known.cells) :].map(trimmed).drop_duplicates()
    for row, name in new.items():
        alike = near.alike(name) if name not in names else ()
        if alike:
            problem = f"the structure {name} is new, and {' and '.join(alike)} is known: one place or two?"
            meant = f"keep it as a place of its own; drop it, and its runs are asked about: {alike[0]}?"
            yield Question(POSITIONS, int(str(row)), _WHOLE_ROW, name, problem, meant, ASK)


def _is_structure(header: str) -> bool:
    found = find_column(SHEETS[POSITIONS], header)
    return found is not None and found[0].label == "structure"


def _facts(layout: ColumnLayout, foreign: RawSheet) -> Iterator[tuple[int, Facts]]:
    names = names_of(foreign)
    words = [layout.translate.get(name, {}) for name in names]
    forms = [layout.read.get(name, _AS_WRITTEN) for name in names]
    for row, *cells in foreign.cells.itertuples(name=None):
        texts = map(trimmed, cells)
        yield (
            row,
            {
                name: known[text] if text in known else in_our_form(text, form)
                for name, known, form, text in zip(names, words, forms, texts, strict=True)
            },
        )


def _refused(layout: ColumnLayout, facts: Facts) -> _Told | None:
    for bound, because in layout.refuse:
        if bound.is_met(facts):
            return _Told(bound.column, f"{bound.column} {facts[bound.column]}: {because}", "", REFUSE)
    return None


def _contradictions(layout: ColumnLayout, foreign: RawSheet) -> Iterator[tuple[int, _Told]]:
    for at, name in enumerate(names_of(foreign)):
        form = layout.read.get(name, _AS_WRITTEN)
        for row, text in foreign.cells[at].items() if form.decimal else ():
            if contradicts(trimmed(text), form):
                problem = "has a point, and the column layout says that commas are the decimal mark"
                yield int(str(row)), _Told(name, problem, "the number with a point as decimal mark", ASK)


def _doubts(foreign: RawSheet) -> Iterator[tuple[int, _Told]]:
    """What the reader of the file asks about cells and rows."""
    names = dict(zip(map(trimmed, foreign.headers), names_of(foreign), strict=True))
    for note in foreign.notes:
        if note.severity != NOTE:
            column = names.get(trimmed(note.column), note.column)
            yield note.row, _Told(column, note.problem, note.suggestion, note.severity)


def _at_our_columns(
    layout: ColumnLayout, rows: Mapping[int, tuple[int, Row]], row: int, told: _Told
) -> Iterator[Question]:
    """What is told of a cell of the list, at each cell of the main sheet that reads it; else at the whole row."""
    if row not in rows or told.column in layout.unused:
        return
    number, made = rows[row]
    templates = layout.sheets[layout.main]
    columns = [header for header, template in templates.items() if told.column in template.columns()]
    for header in columns or [_WHOLE_ROW]:
        read = made.get(header, "")
        yield Question(layout.main, number, header, read, told.problem, told.suggestion, told.severity)


def _made(layout: ColumnLayout, rows: Mapping[int, Facts]) -> dict[str, list[Row]]:
    """Rows of the sheets beside the main one, each once, in the order of the list."""
    apart = (layout.main, CABLE_TYPES, POSITIONS) if layout.ends else (layout.main, CABLE_TYPES)
    made = {
        name: _once(_filled(layout, name, facts) for facts in rows.values())
        for name in layout.sheets
        if name not in apart
    }
    if layout.ends:
        made[POSITIONS] = _once(_position(layout, facts, side) for facts in rows.values() for side in SIDES)
    return made


def _once(rows: Iterable[Row]) -> list[Row]:
    return list({tuple(row.values()): row for row in rows}.values())


def _filled(layout: ColumnLayout, name: str, facts: Facts) -> dict[str, str]:
    return {header: template.fill(facts) for header, template in layout.sheets[name].items()}


class _CableTypes:
    """The cables of the list as cable types: equal facts are one type, and a name with several builds is numbered."""

    def __init__(self, layout: ColumnLayout, rows: Iterable[Facts]) -> None:
        self._layout = layout
        self.are_made = CABLE_TYPES in layout.sheets and layout.main == SCHEDULE
        builds = _once(_filled(layout, CABLE_TYPES, facts) for facts in rows) if self.are_made else []
        self._names: dict[tuple[str, ...], str] = {}
        for name, same in groupby(sorted(builds, key=_build), key=lambda build: build[_TYPE]):
            several = list(same)
            for number, build in enumerate(several, start=1):
                self._names[_build(build)] = f"{name} build {number}" if len(several) > 1 else name
        self.rows: list[Row] = [{**build, _TYPE: self._names[_build(build)]} for build in builds]

    def name(self, facts: Facts) -> str:
        """Name of the type of a run's cable."""
        return self._names[_build(_filled(self._layout, CABLE_TYPES, facts))]


def _build(cable_type: Row) -> tuple[str, ...]:
    return (cable_type[_TYPE], *cable_type.values())


def _position(layout: ColumnLayout, facts: Facts, side: str) -> Row:
    """Row of the position at an end; a kind of end that the layout names has a position for every cable end."""
    seen = {**facts, **{END + fact: facts[column] for fact, column in layout.ends[side].items()}}
    word = seen[END + KIND]
    rules = [rule for rule in layout.kinds if rule.end == word]
    kind = next((rule.kind for rule in rules if rule.bound is None or rule.bound.is_met(facts)), word)
    row = _filled(layout, POSITIONS, seen)
    return {**row, "position": row["position"] if rules else layout.shared_position.fill(seen), "kind": kind}


def _main_row(layout: ColumnLayout, types: _CableTypes, facts: Facts) -> dict[str, str]:
    """The row of the main sheet that a row of the list becomes."""
    row = _filled(layout, layout.main, facts)
    if types.are_made:
        row[_TYPE] = types.name(facts)
    for side in layout.ends:
        position = _position(layout, facts, side)
        row |= {f"{side} {header}": position[header] for header in ("structure", "position")}
    return row
