"""A table as data: drawn as rows at a desk and as cards on a phone, where each cell keeps its heading."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Protocol

from django.db.models import QuerySet
from django.urls import reverse

from kitting.calculation.answers import WORST_FIRST

_WHOLE = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d|\S{1,16}")  # a moment, day or code, not to be broken at hyphens
_ROW_NUMBER = re.compile(r"[0-9]{1,9}")
_NOT_IN_KEYS = re.compile(r"[^a-z0-9]+")

MOST_ROWS = 200


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell.

    Args:
        text: what it says.
        href: where it leads.
        answer: one of the six answers, drawn with its shape.
        note: a second, smaller line.
        number: whether figures stand right.
        route: page that it leads to; who may not see that reads the text alone. '' for an address of this page itself.
    """

    text: object = ""
    href: str = ""
    answer: str = ""
    note: str = ""
    number: bool = False
    route: str = ""

    @property
    def shown(self) -> str:
        """The text as it stands on the page: days in ISO form."""
        return str(self.text)

    @property
    def style(self) -> str:
        """How it is set: figures stand right, a moment, a day and a code stay on one line."""
        return "number" if self.number else "whole" if _WHOLE.fullmatch(self.shown) else ""


def link(text: object, route: str, *named: object, note: str = "", asking: Mapping[str, object] | None = None) -> Cell:
    """A cell that leads to a page, with what is asked of it, for whoever may see that."""
    return Cell(text, reverse(route, args=named, query=asking), note=note, route=route)


def figure(text: object, note: str = "") -> Cell:
    """A cell with a figure."""
    return Cell(text, number=True, note=note)


def said(answer: str) -> Cell:
    """A cell with one of the six answers; other words stand as they are."""
    return Cell("", answer=answer) if answer in WORST_FIRST else Cell(answer or "–")


Row = Sequence[Cell | object]


class Rows(Protocol):
    """Rows of a table: a list of them, or ``RowsOf``."""

    def __len__(self) -> int:
        """How many there are in all."""
        ...

    def __getitem__(self, part: slice, /) -> Sequence[Row]:
        """Those of a part."""
        ...


@dataclass(frozen=True)
class RowsOf:
    """Rows of a list that may be very long: counted, and fetched only as far as they are drawn.

    Args:
        found: the records, in their order.
        rows: the rows of some of them.
    """

    found: QuerySet[Any, Any]
    rows: Callable[[Iterable[Any]], Sequence[Row]]

    @cached_property
    def count(self) -> int:
        """How many there are in all."""
        return self.found.count()

    def __len__(self) -> int:
        """The same."""
        return self.count

    def __getitem__(self, part: slice) -> Sequence[Row]:
        """Those of a part; one query, and what their cells need."""
        return self.rows(self.found[part])


@dataclass(frozen=True, slots=True)
class Table:
    """A caption, headings, rows of cells (plain text will do), and what to say and do when there is no row.

    Of a long list ``MOST_ROWS`` are drawn at a time.
    """

    caption: str
    heads: tuple[str, ...]
    rows: Rows
    empty: str
    faded: frozenset[int] = field(default_factory=frozenset)

    @property
    def key(self) -> str:
        """What tells it from other tables of its page in an address."""
        return f"from-{_NOT_IN_KEYS.sub('-', self.caption.lower()).strip('-')}"

    def part(self, asked_for: str) -> "Part":
        """The rows to draw: those from the row that was asked for, the first ones where that is none of them."""
        total = len(self.rows)
        first = int(asked_for) - 1 if _ROW_NUMBER.fullmatch(asked_for) else 0
        first = first - first % MOST_ROWS if 0 < first < total else 0
        rows = self.rows[first : first + MOST_ROWS] if total else ()
        return Part(self, first, total, [[_cell(cell) for cell in row] for row in rows])


@dataclass(frozen=True, slots=True)
class Part:
    """The rows of a table that are drawn.

    Args:
        table: of which.
        first: how many stand before them.
        total: how many there are in all.
        rows: their cells.
    """

    table: Table
    first: int
    total: int
    rows: Sequence[Sequence[Cell]]

    @property
    def headings(self) -> list[tuple[str, bool]]:
        """Each heading, and whether figures stand below it."""
        return [(head, cell.number) for head, cell in zip(self.table.heads, self.rows[0], strict=False)]

    @property
    def lines(self) -> list[tuple[bool, list[tuple[str, Cell]]]]:
        """Each row: whether it is faded, and its cells with their headings."""
        return [
            (at in self.table.faded, list(zip(self.table.heads, row, strict=True)))
            for at, row in enumerate(self.rows, self.first)
        ]

    @property
    def last(self) -> int:
        """Number of the last row that is drawn, from 1."""
        return self.first + len(self.rows)

    @property
    def others(self) -> list[tuple[str, int]]:
        """Where the other parts are: words, and the number of the first row there, from 1; none where all is drawn."""
        end = (self.total - 1) // MOST_ROWS * MOST_ROWS if self.total else 0
        found = (
            ("First rows", 0, self.first > MOST_ROWS),
            ("Earlier rows", self.first - MOST_ROWS, self.first > 0),
            ("Later rows", self.last, self.last < self.total),
            ("Last rows", end, self.last < end),
        )
        return [(words, at + 1) for words, at, is_there in found if is_there]


def _cell(given: Cell | object) -> Cell:
    return given if isinstance(given, Cell) else Cell(given)
