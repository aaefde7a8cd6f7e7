"""The packaged tables: published figures and the vocabulary of kinds, one CSV each.

Every row has a ``source`` (the publication) and ``confirmed``: ``text`` = the value was seen in print, ``memory`` = it
was written from knowledge of the publication, ``practice`` = common practice of the trade. ``confidence`` grades what
is from memory.
"""

import csv
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType

_TABLES = files("kitting.calculation").joinpath("tables")


@cache
def table_rows(name: str) -> tuple[Mapping[str, str], ...]:
    """The rows of ``tables/<name>.csv`` in file order, each column as text.

    Raises:
        FileNotFoundError: there is no such table.
    """
    text = _TABLES.joinpath(f"{name}.csv").read_text(encoding="utf-8")
    return tuple(MappingProxyType(row) for row in csv.DictReader(text.splitlines()))


def listed(cell: str) -> tuple[str, ...]:
    """The words of a cell that lists several, separated by semicolons."""
    return tuple(word.strip() for word in cell.split(";") if word.strip())
