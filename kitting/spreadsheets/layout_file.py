"""The form of a column layout: a small TOML file that says how a foreign list of cable runs becomes our sheets.

The file holds:

- ``unused``: their columns that are known and left out;
- ``[translate.THEIR_COLUMN]``: their value -> the value used in its place;
- ``[[refuse]]``: ``column``, ``at_most``, ``because``: rows that can't be adopted;
- ``[ends.from]`` and ``[ends.to]``: a fact of the end -> their column; ``[positions]`` reads it as ``{end.NAME}``;
- ``[[kinds]]``: ``end`` (their kind of end), ``kind`` (our kind of position), and, where a rating decides, ``column``
  with ``at_most`` or ``above``; an end that no entry takes keeps its word, so that it is asked;
- ``shared_position``: template for the position of ends whose kind no entry names: cables that meet there share it;
- ``[jobs]``, ``[systems]``, ``["cable types"]``, ``[schedule]``, ``[positions]``: our header -> a template such as
  ``"{conductor_size} AWG"``, a constant, or a list of which the first that is not blank counts. A template is blank
  where one of its columns is. The kind of a position, and the cable type and the ends of a run, fill themselves.
"""

import string
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.headers import find_column
from kitting.errors import Refusal
from kitting.spreadsheets.received_file import MEGABYTE, received_bytes

MADE_SHEETS = ("jobs", "systems", "cable types", "positions", "schedule")
SIDES = ("from", "to")
END = "end."
KIND = "kind"
_LARGEST_LAYOUT = MEGABYTE
_PARTS = {"unused", "translate", "refuse", "ends", "kinds", "shared_position", *MADE_SHEETS}

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
class ColumnLayout:
    """A column layout as read; see the module for the parts."""

    unused: frozenset[str]
    translate: Mapping[str, Mapping[str, str]]
    refuse: tuple[tuple[Bound, str], ...]
    ends: Mapping[str, Mapping[str, str]]
    kinds: tuple[KindRule, ...]
    shared_position: Template
    sheets: Mapping[str, Mapping[str, Template]]

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
    """Read a column layout.

    Raises:
        Refusal: those of ``received_bytes``; ``column-layout`` where the file is no TOML, or says what is not known.
    """
    try:
        given = tomllib.loads(received_bytes(path, _LARGEST_LAYOUT).decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _refusal(path, f"it is not TOML in UTF-8: {error}") from None
    try:
        layout = _layout(given)
    except (KeyError, TypeError, ValueError, AttributeError, InvalidOperation) as error:
        raise _refusal(path, f"a part is missing or not in the right form: {error}") from None
    problems = [*_unknown(given), *_unknown_ends(layout)]
    if problems:
        raise _refusal(path, "; ".join(problems))
    return layout


def _layout(given: Mapping[str, Any]) -> ColumnLayout:
    return ColumnLayout(
        unused=frozenset(given.get("unused", ())),
        translate={column: dict(words) for column, words in given.get("translate", {}).items()},
        refuse=tuple((_bound(one), str(one["because"])) for one in given.get("refuse", ())),
        ends={side: dict(given["ends"][side]) for side in SIDES},
        kinds=tuple(
            KindRule(one["end"], one["kind"], _bound(one) if "column" in one else None)
            for one in given.get("kinds", ())
        ),
        shared_position=_template(given["shared_position"]),
        sheets={name: {header: _template(text) for header, text in given[name].items()} for name in MADE_SHEETS},
    )


def _bound(given: Mapping[str, Any]) -> Bound:
    at_most, above = (Decimal(given[word]) if word in given else None for word in ("at_most", "above"))
    return Bound(given["column"], at_most, above)


def _template(given: str | list[str]) -> Template:
    texts = [given] if isinstance(given, str) else given
    return Template(tuple(_parts(text) for text in texts))


def _parts(text: str) -> tuple[tuple[str, str], ...]:
    return tuple((literal, column or "") for literal, column, _, _ in string.Formatter().parse(text))


def _filled(parts: Iterable[tuple[str, str]], facts: Facts) -> str:
    text = ""
    for literal, column in parts:
        if column and not facts[column]:
            return ""
        text += literal + (facts[column] if column else "")
    return text


def _unknown(given: Mapping[str, Any]) -> Iterator[str]:
    yield from (f"unknown part {part!r}" for part in given if part not in _PARTS)
    for name in MADE_SHEETS:
        known = {header: find_column(SHEETS[name], header) for header in given[name]}
        yield from (f"sheet {name} has no column {header!r}" for header, found in known.items() if found is None)
    for name, header in (("positions", "structure"), ("positions", "position"), ("cable types", "cable type")):
        if header not in given[name]:
            yield f"[{name}] must give {header!r}"


def _unknown_ends(layout: ColumnLayout) -> Iterator[str]:
    for side in SIDES:
        facts = {KIND} | {
            column.removeprefix(END)
            for template in (layout.shared_position, *layout.sheets["positions"].values())
            for column in template.columns()
            if column.startswith(END)
        }
        yield from (f"[ends.{side}] must give {fact!r}" for fact in sorted(facts - set(layout.ends[side])))


def _refusal(path: Path, why: str) -> Refusal:
    return Refusal("column-layout", f"The column layout {path.name} can't be used: {why}.", {"file": path.name})
