"""Natural order of codes: digits inside a text sort as numbers, so A-2 comes before A-10."""

import re
from collections.abc import Iterable

_DIGITS = re.compile(r"(\d+)")


def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key of a code.

    >>> sorted(["A-10", "A-2"], key=natural_key)
    ['A-2', 'A-10']
    """
    parts = _DIGITS.split(text)
    return tuple((0, int(part), part) if part.isdecimal() else (1, 0, part) for part in parts if part)


def natural_rank(texts: Iterable[str]) -> dict[str, int]:
    """Place of each distinct text in natural order, from 0."""
    return {text: rank for rank, text in enumerate(sorted(set(texts), key=natural_key))}
