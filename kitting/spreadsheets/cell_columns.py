"""Columns of cells as they are read: each distinct value once, and a number for every row.

A sheet of 100,000 rows holds few distinct values in most columns, so text is made, sent and checked once for each.
Only the standard library is imported: the child process that reads workbooks uses this module.
"""

from array import array
from collections.abc import Hashable, Iterable, Sequence
from itertools import zip_longest


class _Numbering(dict[Hashable, int]):
    """Numbers values in the order they are first seen; the blank is 0."""

    def __missing__(self, value: Hashable) -> int:
        self[value] = number = len(self)
        return number


class CellColumns:
    """Columns that grow by rows; a short row is filled with blanks, a long one adds columns."""

    def __init__(self) -> None:
        self.rows = 0
        self.codes: list[array[int]] = []
        self._numbers: list[_Numbering] = []

    def add(self, rows: Sequence[Iterable[Hashable]]) -> None:
        """Append rows of cells; ``''`` is a blank cell."""
        columns = list(zip_longest(*rows, fillvalue=""))
        while len(self.codes) < len(columns):
            self.codes.append(array("i", bytes(4 * self.rows)))
            self._numbers.append(_Numbering({"": 0}))
        self.rows += len(rows)
        for codes, numbers, cells in zip(self.codes, self._numbers, columns, strict=False):
            codes.extend(map(numbers.__getitem__, _told_apart(cells)))
        for codes in self.codes[len(columns) :]:
            codes.frombytes(bytes(4 * len(rows)))

    def distinct(self, column: int) -> list[Hashable]:
        """The distinct values of a column, in the order of their codes."""
        return list(self._numbers[column])


def _told_apart(cells: Sequence[Hashable]) -> Sequence[Hashable]:
    """Cells with truth values as words, because True and 1 would be one key."""
    if bool in set(map(type, cells)):
        return [("yes" if cell else "no") if isinstance(cell, bool) else cell for cell in cells]
    return cells
