"""Quantities as whole thousandths of the stock unit, so that pieces and feet add up exactly."""

import re
from decimal import Decimal
from functools import lru_cache

from kitting.calculation.doubts import Doubt

PER_UNIT = 1_000
_LONGEST_TEXT = 30
_MOST = 10_000_000  # units; the number under a bar code is longer
_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+")
_DECIMAL_COMMA = re.compile(r"[0-9]+,[0-9]{1,2}")


class QuantityDoubt(Doubt):
    """A quantity that can't be read exactly."""


def thousandths(quantity: str | int | Decimal) -> int:
    """Read a quantity (``6``, ``12.5``, Decimal("0.25")) as thousandths of its unit.

    Raises:
        QuantityDoubt: not a number, a comma, negative, finer than a thousandth, or, of a text, more than there can be.
    """
    text = str(quantity).strip() if isinstance(quantity, str) else format(Decimal(quantity), "f")
    if len(text) > _LONGEST_TEXT or _NUMBER.fullmatch(text) is None:
        raise _not_a_quantity(text)
    if isinstance(quantity, str) and Decimal(text) > _MOST:
        raise QuantityDoubt(f"more than {_MOST}; was a code scanned here?")
    scaled = Decimal(text) * PER_UNIT
    if scaled != scaled.to_integral_value():
        raise QuantityDoubt("finer than a thousandth of a unit", str(as_decimal(round(scaled))))
    return int(scaled)


def _not_a_quantity(text: str) -> QuantityDoubt:
    if len(text) > _LONGEST_TEXT:
        return QuantityDoubt("too long to be a quantity")
    if _DECIMAL_COMMA.fullmatch(text):
        return QuantityDoubt("comma as decimal point?", text.replace(",", "."))
    without_commas = text.replace(",", "")
    if "," in text and _NUMBER.fullmatch(without_commas):
        return QuantityDoubt("comma as thousands mark?", without_commas)
    if text.startswith(("-", "\N{MINUS SIGN}")):
        return QuantityDoubt("a negative quantity")
    return QuantityDoubt("not a quantity")


@lru_cache(maxsize=65_536)
def as_decimal(quantity: int) -> Decimal:
    """Thousandths as a plain decimal without trailing zeros: 6000 -> Decimal("6"), 500 -> Decimal("0.5")."""
    whole, rest = divmod(abs(quantity), PER_UNIT)
    decimals = f"{rest:03d}".rstrip("0")
    return Decimal(f"{'-' if quantity < 0 else ''}{whole}{'.' if decimals else ''}{decimals}")


def quantity_text(quantity: int, unit: str) -> str:
    """A quantity with its unit, for people: ``6 ea``, ``12.5 ft``."""
    return f"{as_decimal(quantity)} {unit}".rstrip()
