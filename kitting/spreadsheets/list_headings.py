"""The headings of a foreign list, each under a name of its own, and the shape that they make."""

import hashlib
from collections.abc import Sequence

from kitting.calculation.sheets.headers import column_letters
from kitting.calculation.sheets.parsers import plain
from kitting.calculation.sheets.raw import RawSheet, trimmed


def heading_names(headers: Sequence[str], filled: Sequence[bool] = ()) -> list[str]:
    """Name of each column: its heading, numbered where it stands there again; ``column D`` above cells without one.

    Args:
        headers: the heading texts as read.
        filled: whether any cell below holds text; a column without heading and text has no name: ''.

    >>> heading_names(["Pad", "Pos", "Pad", ""], [True, True, True, True])
    ['Pad', 'Pos', 'Pad #2', 'column D']
    """
    names: list[str] = []
    seen: dict[str, int] = {}
    for at, header in enumerate(headers):
        name = plain(trimmed(header))
        if not name and at < len(filled) and filled[at]:
            name = f"column {column_letters(at)}"
        seen[name] = seen.get(name, 0) + 1
        names.append(f"{name} #{seen[name]}" if name and seen[name] > 1 else name)
    return names


def names_of(sheet: RawSheet) -> list[str]:
    """Name of each column of a list, by its headings and what stands below them."""
    return heading_names(sheet.headers, [bool((sheet.cells[at] != "").any()) for at in sheet.cells])


def shape_of(headers: Sequence[str]) -> str:
    """SHA-256 (hex) of the headings in their order; runs of blanks and what is right of the last don't matter."""
    texts = [plain(trimmed(header)) for header in headers]
    while texts and not texts[-1]:
        texts.pop()
    return hashlib.sha256("\x1f".join(texts).encode("utf-8", "surrogatepass")).hexdigest()
