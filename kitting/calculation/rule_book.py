"""The rule book: six decision tables, the packaged default ones or the owner's own."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from types import MappingProxyType

import pandas as pd

from kitting.calculation.rule_table import FORMS, RuleTable, read_rule_table
from kitting.errors import Refusal

DEFAULT_REVISION = "default 1"


@dataclass(frozen=True, slots=True)
class RuleBook:
    """All tables by name; every table of the vocabulary is there."""

    tables: Mapping[str, RuleTable]

    def table(self, name: str) -> RuleTable:
        """The table of that name, such as ``end accessories``.

        Raises:
            KeyError: there is no such table.
        """
        return self.tables[name]

    def revision(self, name: str) -> str:
        """``default 1``, or ``owner`` and a digest of the sheet's content."""
        return self.tables[name].revision


def rule_book(book_rules: Mapping[str, pd.DataFrame]) -> RuleBook:
    """The default book, with the owner's tables in place of their own.

    Args:
        book_rules: text frames of the ``rules …`` sheets that were given, by table name.

    Raises:
        Refusal: a sheet names no table of the book, or its cells can't be used; all sheets' doubts in one message.
    """
    owned: dict[str, RuleTable] = {}
    refusals: list[Refusal] = []
    for name, frame in sorted(book_rules.items()):
        try:
            rows = tuple(frame.itertuples(index=False, name=None))
            owned[name] = _owned_table(name, tuple(map(str, frame.columns)), rows)
        except Refusal as refusal:
            refusals.append(refusal)
    if refusals:
        cells = tuple(refusal.data for refusal in refusals)
        raise Refusal("rules-in-doubt", "; ".join(refusal.message for refusal in refusals), {"sheets": cells})
    return RuleBook(MappingProxyType({name: owned.get(name) or default_table(name) for name in FORMS}))


@lru_cache(maxsize=64)
def _owned_table(name: str, columns: tuple[str, ...], rows: tuple[tuple[object, ...], ...]) -> RuleTable:
    """A table that the owner states, read once however many plans follow it."""
    return read_rule_table(name, pd.DataFrame(rows, columns=list(columns), dtype=object))


@cache
def default_table(name: str) -> RuleTable:
    """The packaged table of that name; every row of it names its source."""
    return read_rule_table(name, default_frame(name), DEFAULT_REVISION)


def default_frame(name: str) -> pd.DataFrame:
    """The text of the packaged table of that name."""
    packaged = files("kitting.calculation").joinpath("tables", f"rules_{name.replace(' ', '_')}.csv")
    header, *rows = csv.reader(packaged.read_text(encoding="utf-8").splitlines())
    return pd.DataFrame(rows, columns=header, dtype=object)
