"""Rows of a parsed sheet as plain mappings."""

from typing import Any, cast

from kitting.calculation.sheets.book import Book

# A parsed value, None for blank, or a Missing.
Fact = Any
Record = dict[str, Any]


def records(book: Book, sheet: str) -> list[Record]:
    """Each row of a sheet as field -> fact, in sheet order."""
    return cast("list[Record]", book.frames[sheet].to_dict("records"))
