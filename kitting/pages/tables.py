"""A table as data: drawn as rows at a desk and as cards on a phone, where each cell keeps its heading."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from django.urls import reverse

from kitting.calculation.answers import WORST_FIRST

_WHOLE = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d|\S{1,16}")  # a moment, day or code, not to be broken at hyphens

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


@dataclass(frozen=True, slots=True)
class Table:
    """A caption, headings, rows of cells (plain text will do), and what to say and do when there is no row.

    Of a long list the first ``MOST_ROWS`` are drawn, and how many are left out is said.
    """

    caption: str
    heads: tuple[str, ...]
    rows: Sequence[Sequence[Cell | object]]
    empty: str
    faded: frozenset[int] = field(default_factory=frozenset)

    @property
    def headings(self) -> list[tuple[str, bool]]:
        """Each heading, and whether figures stand below it."""
        first = map(_cell, self.rows[0]) if self.rows else ()
        return [(head, cell.number) for head, cell in zip(self.heads, first, strict=False)]

    @property
    def lines(self) -> list[tuple[bool, list[tuple[str, Cell]]]]:
        """Each row: whether it is faded, and its cells with their headings."""
        return [
            (at in self.faded, list(zip(self.heads, map(_cell, row), strict=True)))
            for at, row in enumerate(self.rows[:MOST_ROWS])
        ]

    @property
    def left_out(self) -> int:
        """How many rows are not drawn."""
        return max(len(self.rows) - MOST_ROWS, 0)


def _cell(given: Cell | object) -> Cell:
    return given if isinstance(given, Cell) else Cell(given)
