"""The form of a column layout: a small TOML file that says how a foreign list becomes our sheets, row by row.

The file holds, with what is not needed left out:

- ``[list]``: ``sheet`` (of a workbook; the first without), ``header_row`` (the first row with text without);
- ``unused``: their columns that are known and left out;
- ``asked``: columns of ours that are the same in all rows of a list and are said with each list;
- ``[read.THEIR_COLUMN]``: ``decimal`` (comma, point), ``dates`` (day first, month first): how its cells are written;
- ``[translate.THEIR_COLUMN]``: their value -> the value used in its place;
- ``[[refuse]]``: ``column``, ``at_most``, ``because``: rows that can't be adopted;
- ``["cable types"]``, ``[schedule]``, ``[items]`` and so on: our header -> a template such as
  ``"{conductor_size} AWG"``, a constant, or a list of which the first that is not blank counts. A template is blank
  where one of its columns is. Beside a schedule further sheets can be made; their rows stand once each.

A list of cable runs may say what stands at the ends of each run:

- ``[ends.from]`` and ``[ends.to]``: a fact of the end -> their column; ``[positions]`` reads it as ``{end.NAME}``;
- ``[[kinds]]``: ``end`` (their kind of end), ``kind`` (our kind of position), and, where a rating decides, ``column``
  with ``at_most`` or ``above``; an end that no entry takes keeps its word, so that it is asked;
- ``shared_position``: template for the position of ends whose kind no entry names: cables that meet there share it.

The kind of such a position, and the cable type (where those are made) and the ends of a run, fill themselves.
"""

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.columns import Column
from kitting.calculation.sheets.headers import find_column
from kitting.calculation.sheets.parsers import plain
from kitting.errors import Refusal
from kitting.spreadsheets.received_file import MEGABYTE, received_bytes

SCHEDULE, POSITIONS, CABLE_TYPES = "schedule", "positions", "cable types"
MADE_SHEETS = tuple(name for name in SHEETS if name not in ("answers", "policies"))
SIDES = ("from", "to")
END = "end."
KIND = "kind"
DECIMALS, DATES = ("comma", "point"), ("day first", "month first")
RUN_ENDS = tuple(f"{side} {header}" for side in SIDES for header in ("structure", "position"))
_LARGEST_LAYOUT = MEGABYTE
_PARTS = {"list", "unused", "asked", "read", "translate", "refuse", "ends", "kinds", "shared_position", *MADE_SHEETS}
_TEMPLATE = re.compile(r"\{\{|\}\}|\{([^{}]+)\}|[^{}]+")

Facts = Mapping[str, str]
"""Values of one foreign row by column name, translated."""


@dataclass(frozen=True, slots=True)
class Template:
    """Alternatives of literal texts and columns; the first that is not blank counts."""

    alternatives: tuple[tuple[tuple[str, str], ...], ...]

    def fill(self, facts: Facts) -> str:
        """Text of the first alternative whose columns are all given."""
        return next(filter(None, (_filled(parts, facts) for parts in self.alternatives)), "")

    def columns(self) -> Iterator[str]:
        """Their columns that the template reads."""
        return (column for parts in self.alternatives for _, column in parts if column)


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit on a number in one of their columns; a cell that is no number meets no limit."""

    column: str
    at_most: Decimal | None
    above: Decimal | None

    def is_met(self, facts: Facts) -> bool:
        """Whether the number in the row lies within."""
        try:
            number = Decimal(facts[self.column])
        except InvalidOperation:
            return False
        return (self.at_most is None or number <= self.at_most) and (self.above is None or number > self.above)


@dataclass(frozen=True, slots=True)
class KindRule:
    """What kind of position an end of a kind is."""

    end: str
    kind: str
    bound: Bound | None


@dataclass(frozen=True, slots=True)
class CellForm:
    """How the cells of one of their columns are written: a word of ``DECIMALS`` and of ``DATES``, or ''."""

    decimal: str = ""
    dates: str = ""


@dataclass(frozen=True, slots=True)
class ColumnLayout:
    """A column layout as read; see the module for the parts."""

    list_sheet: str
    header_row: int | None
    unused: frozenset[str]
    asked: tuple[str, ...]
    read: Mapping[str, CellForm]
    translate: Mapping[str, Mapping[str, str]]
    refuse: tuple[tuple[Bound, str], ...]
    ends: Mapping[str, Mapping[str, str]]
    kinds: tuple[KindRule, ...]
    shared_position: Template
    sheets: Mapping[str, Mapping[str, Template]]

    @property
    def main(self) -> str:
        """The sheet of which every row of the list is a row."""
        return SCHEDULE if SCHEDULE in self.sheets else next(iter(self.sheets))

    def columns(self) -> set[str]:
        """Every column of theirs that the layout reads."""
        templates = [self.shared_position, *(one for sheet in self.sheets.values() for one in sheet.values())]
        read = {column for one in templates for column in one.columns() if not column.startswith(END)}
        bounds = [rule.bound for rule in self.kinds if rule.bound] + [bound for bound, _ in self.refuse]
        return (
            read
            | {bound.column for bound in bounds}
            | {column for end in self.ends.values() for column in end.values()}
        )


def read_layout(path: Path) -> ColumnLayout:
    """Read a column layout from its file.

    Raises:
        Refusal: those of ``received_bytes`` and ``parsed_layout``.
    """
    return parsed_layout(received_bytes(path, _LARGEST_LAYOUT), path.name)


def parsed_layout(content: bytes, name: str) -> ColumnLayout:
    """Read a column layout.

    Args:
        content: its text, in UTF-8.
        name: what a refusal calls it.

    Raises:
        Refusal: ``column-layout`` where it is no TOML, or says what is not known.
    """
    try:
        given = tomllib.loads(content.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _refusal(name, f"it is not TOML in UTF-8: {error}") from None
    unknown = [f"unknown part {part!r}" for part in given if part not in _PARTS]
    try:
        layout = _layout(given)
    except (KeyError, TypeError, ValueError, AttributeError, InvalidOperation) as error:
        raise _refusal(name, "; ".join((*unknown, f"a part is missing or not in the right form: {error}"))) from None
    problems = [*unknown, *_problems(layout)]
    if problems:
        raise _refusal(name, "; ".join(problems))
    return layout


def _layout(given: Mapping[str, Any]) -> ColumnLayout:
    where = given.get("list", {})
    sheets = {
        name: {header: _template(text) for header, text in given[name].items()} for name in MADE_SHEETS if name in given
    }
    row = where.get("header_row")
    return ColumnLayout(
        list_sheet=str(where.get("sheet", "")),
        header_row=None if row is None else int(row),
        unused=frozenset(map(plain, given.get("unused", ()))),
        asked=tuple(map(plain, given.get("asked", ()))),
        read={plain(column): _cell_form(words) for column, words in given.get("read", {}).items()},
        translate={plain(column): dict(words) for column, words in given.get("translate", {}).items()},
        refuse=tuple((_bound(one), str(one["because"])) for one in given.get("refuse", ())),
        ends={side: {fact: plain(column) for fact, column in given["ends"][side].items()} for side in SIDES}
        if "ends" in given
        else {},
        kinds=tuple(
            KindRule(one["end"], one["kind"], _bound(one) if "column" in one else None)
            for one in given.get("kinds", ())
        ),
        shared_position=_template(given["shared_position"])
        if "shared_position" in given
        else sheets.get(POSITIONS, {}).get("position", Template(())),
        sheets=sheets,
    )


def _cell_form(given: Mapping[str, str]) -> CellForm:
    form = CellForm(**given)
    for word, known in ((form.decimal, DECIMALS), (form.dates, DATES)):
        if word and word not in known:
            raise ValueError(f"{word!r} is none of: {', '.join(known)}")
    return form


def _bound(given: Mapping[str, Any]) -> Bound:
    at_most, above = (Decimal(given[word]) if word in given else None for word in ("at_most", "above"))
    return Bound(plain(given["column"]), at_most, above)


def _template(given: str | list[str]) -> Template:
    texts = [given] if isinstance(given, str) else given
    return Template(tuple(_parts(text) for text in texts))


def _parts(text: str) -> tuple[tuple[str, str], ...]:
    """Literal texts and columns in their order.

    Raises:
        ValueError: the braces don't match.
    """
    found, at = [], 0
    while at < len(text):
        part = _TEMPLATE.match(text, at)
        if part is None:
            raise ValueError(f"the braces of {text!r} don't match")
        found.append(("", plain(part[1])) if part[1] else (part[0].replace("{{", "{").replace("}}", "}"), ""))
        at = part.end()
    return tuple(found)


def _filled(parts: Iterable[tuple[str, str]], facts: Facts) -> str:
    text = ""
    for literal, column in parts:
        if column and not facts[column]:
            return ""
        text += literal + (facts[column] if column else "")
    return text


def _problems(layout: ColumnLayout) -> Iterator[str]:
    if not layout.sheets:
        yield f"it makes no sheet; it can make {', '.join(MADE_SHEETS)}"
        return
    if len(layout.sheets) > 1 and SCHEDULE not in layout.sheets:
        yield f"it makes {' and '.join(layout.sheets)}; several sheets are made only beside a schedule"
    for name in layout.sheets:
        yield from _problems_of_columns(layout, name)
    yield from _problems_of_ends(layout)


def _problems_of_columns(layout: ColumnLayout, name: str) -> Iterator[str]:
    """What is wrong with the columns that a sheet is given, beside those that fill themselves."""
    asked = layout.asked if name == layout.main else ()
    given: list[Column] = []
    for header in (*layout.sheets[name], *asked):
        found = find_column(SHEETS[name], header)
        if found is None:
            yield f"sheet {name} has no column {header!r}"
        elif found[0] in given:
            yield f"[{name}] gives {found[0].label!r} twice"
        else:
            given.append(found[0])
    itself = {KIND} if name == POSITIONS and layout.ends else set()
    if name == SCHEDULE and layout.ends:
        itself = set(RUN_ENDS)
    for column in SHEETS[name].columns:
        if column.required and column not in given and column.label not in itself:
            yield f"[{name}] must give {column.label!r}"


def _problems_of_ends(layout: ColumnLayout) -> Iterator[str]:
    positions = layout.sheets.get(POSITIONS, {})
    facts = set(_end_facts((layout.shared_position, *positions.values())))
    for name, columns in layout.sheets.items():
        if name != POSITIONS and (read := [*_end_facts(columns.values())]):
            yield f"[{name}] reads {{{END}{read[0]}}}, which only [positions] beside [ends.from] and [ends.to] can"
    if layout.ends and SCHEDULE not in layout.sheets:
        yield "[ends] are those of the runs of a schedule, and it makes none"
    if not layout.ends:
        if POSITIONS in layout.sheets and SCHEDULE in layout.sheets:
            yield "[positions] beside a schedule are made of [ends.from] and [ends.to]"
        elif facts:
            yield "[ends.from] and [ends.to] are missing"
        return
    if not positions:
        yield "[positions] is missing: it says what the [ends] are"
    for side in SIDES:
        needed = {KIND} | facts
        yield from (f"[ends.{side}] must give {fact!r}" for fact in sorted(needed - set(layout.ends[side])))


def _end_facts(templates: Iterable[Template]) -> Iterator[str]:
    """Facts of an end that templates read."""
    columns = (column for template in templates for column in template.columns())
    return (column.removeprefix(END) for column in columns if column.startswith(END))


def _refusal(name: str, why: str) -> Refusal:
    return Refusal("column-layout", f"The column layout {name} can't be used: {why}.", {"file": name})
