"""Rows of text side by side, for a person at a terminal."""

from collections.abc import Sequence


def in_columns(rows: Sequence[Sequence[str]], *, figures: bool = False) -> str:
    """The rows as lines, each column as wide as its longest text; figures stand to the right."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    place = str.rjust if figures else str.ljust
    return "\n".join(
        "  ".join(place(cell, width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )
