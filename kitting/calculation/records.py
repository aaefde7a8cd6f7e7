"""Rows of a parsed sheet as plain mappings."""

from typing import Any

from kitting.calculation.sheets.book import Book

# A parsed value, None for blank, or a Missing.
Fact = Any
Record = dict[str, Any]


def records(book: Book, sheet: str) -> list[Record]:
    """Each row of a sheet as field -> fact, in sheet order."""
    frame = book.frames[sheet]
    names = [str(name) for name in frame.columns]
    return [dict(zip(names, row, strict=True)) for row in zip(*(frame[name].tolist() for name in names), strict=True)]
