"""The form of a declaration: one sheet, and each of its columns with label, field, parser, rule and message."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType

from kitting.calculation.sheets.parsers import Parser, loose


@dataclass(frozen=True, slots=True)
class Column:
    """One column of an input sheet.

    Args:
        label: header text without unit, as on the sheet: ``DOI low``.
        field: name of the column in the parsed frame: ``doi_low_nm``.
        parser: reads a cell's text, writes a value's text, and says in words what may stand there.
        required: a sheet without the column, or a row with the cell blank, can't be used.
        key: part of the key that tells the sheet's rows apart.
        rule: what a parsed value must meet beside being readable.
        message: what to say when the rule is not met.
        blank: the value that a blank cell means; None where blank means blank.
    """

    label: str
    field: str
    parser: Parser
    required: bool = False
    key: bool = False
    rule: Callable[[object], bool] | None = None
    message: str = ""
    blank: object = None

    @property
    def header(self) -> str:
        """Header text as our own sheets print it, with the unit of a length in brackets."""
        return f"{self.label} ({self.parser.unit})" if self.parser.unit else self.label


class Rows(Enum):
    """What becomes of a row with doubtful cells, beside the question."""

    KEPT = "the doubtful cell is a missing fact; only a row whose key is in doubt is dropped"
    REQUIRED = "a row with a doubtful required cell is dropped, other doubtful cells are missing facts"
    MARKED = "a row with a doubtful required cell stays, marked as not usable; other doubtful cells are missing facts"
    WHOLE = "a row with any doubtful cell is dropped"


@dataclass(frozen=True, slots=True)
class Sheet:
    """One input sheet: its name, its columns in printing order, whether a book must have it, what doubts do to rows.

    ``by_name`` finds a column by its label or field, written in any case and spacing.
    """

    name: str
    columns: tuple[Column, ...]
    required: bool = False
    rows: Rows = Rows.KEPT
    by_field: Mapping[str, Column] = field(init=False, compare=False, repr=False)
    by_name: Mapping[str, Column] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        fields = MappingProxyType({column.field: column for column in self.columns})
        object.__setattr__(self, "by_field", fields)
        names = {
            loose(name): column
            for column in self.columns
            for name in (column.field.removesuffix("_nm"), column.field, column.label)
        }
        object.__setattr__(self, "by_name", MappingProxyType(names))

    @property
    def key(self) -> tuple[Column, ...]:
        """The columns that tell rows apart; empty where rows have no key."""
        return tuple(column for column in self.columns if column.key)
