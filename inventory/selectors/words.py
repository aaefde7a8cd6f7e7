"""Quantities and near names as people read them."""

from collections.abc import Iterable
from decimal import Decimal
from difflib import get_close_matches

_PER_UNIT = Decimal(1000)


def quantity_text(quantity: int, unit: str) -> str:
    """Thousandths with their unit: ``6 ea``, ``12.5 ft``."""
    return f"{(quantity / _PER_UNIT).normalize():f} {unit}".rstrip()


def near(name: str, known: Iterable[str]) -> str:
    """What was perhaps meant, as the end of a sentence; '' where nothing comes near."""
    found = near_names(name, known)
    return f"; did you mean {', '.join(found)}?" if found else ""


def near_names(name: str, known: Iterable[str]) -> list[str]:
    """The names that come near, the nearest first; three at most."""
    return get_close_matches(name, sorted(set(known)), n=3)
