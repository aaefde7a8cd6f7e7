"""Rows of text side by side, for a person at a terminal."""

from collections.abc import Sequence


def in_columns(rows: Sequence[Sequence[str]]) -> str:
    """The rows as lines, each column as wide as its longest text."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )
