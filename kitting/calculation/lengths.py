"""Lengths as whole nanometres (0.000001 mm): exact for 1/64 in, 0.00001 in and 0.000001 mm.

The inch is 25.4 mm exactly (international yard and pound agreement, 1959). Nothing here rounds before a comparison;
only the texts for people are rounded.
"""

import re
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType

from kitting.calculation.doubts import Doubt

NM_PER_MM = 1_000_000
NM_PER_CM = 10 * NM_PER_MM
NM_PER_M = 1_000 * NM_PER_MM
NM_PER_IN = 25_400_000
NM_PER_MIL = 25_400
NM_PER_FT = 12 * NM_PER_IN

NM_PER_UNIT: Mapping[str, int] = MappingProxyType(
    {"mm": NM_PER_MM, "cm": NM_PER_CM, "m": NM_PER_M, "in": NM_PER_IN, "mil": NM_PER_MIL, "ft": NM_PER_FT}
)
_SPELLINGS: Mapping[str, str] = MappingProxyType(
    dict.fromkeys(("in", "inch", "inches", '"', "''", "\N{DOUBLE PRIME}", "\N{RIGHT DOUBLE QUOTATION MARK}"), "in")
    | dict.fromkeys(("mil", "mils"), "mil")
    | dict.fromkeys(("ft", "foot", "feet", "'", "\N{PRIME}", "\N{RIGHT SINGLE QUOTATION MARK}"), "ft")
    | dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm")
    | dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), "cm")
    | dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m")
)
_LONGEST_TEXT = 40
_LENGTH = re.compile(
    r"(?:(?P<decimal>[0-9]+(?:\.[0-9]*)?|\.[0-9]+)|(?:(?P<whole>[0-9]+)[ -]+)?(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+))"
    r"[ -]?(?P<unit>[^0-9 .]*)\.?"
)
_COMMA_NUMBER = re.compile(r"(?P<number>[0-9]+(?:,[0-9]+)+(?:\.[0-9]+)?)(?P<rest>[^0-9]*)")
_SHOWN_MM_DECIMALS = 2
_SHOWN_IN_DECIMALS = 3
_MOST_EXTRA_DIGITS = 4


class LengthDoubt(Doubt):
    """A length that can't be read exactly."""


def unit_name(text: str) -> str | None:
    """The unit that a spelling means (``inches`` -> ``in``), or None where it is not a unit of length."""
    return _SPELLINGS.get(text.strip().lower().rstrip("."))


def parse_length(text: str, unit: str | None) -> int:
    """Read one length cell as nanometres.

    Args:
        text: the cell, such as ``23.6``, ``1 1/16 in``, ``175 mil``, ``0.845"``.
        unit: the unit that the column's header declares, or None; a unit in the cell wins over it.

    Returns:
        The exact length in nanometres.

    Raises:
        LengthDoubt: no unit, a comma, not a number, negative, or not a whole number of nanometres.
    """
    cleaned = " ".join(text.replace("\u00a0", " ").replace("\u202f", " ").split())
    match = _LENGTH.fullmatch(cleaned) if len(cleaned) <= _LONGEST_TEXT else None
    if match is None:
        raise _not_a_length(cleaned, unit)
    found = match["unit"].lower() or unit
    if found is None:
        raise LengthDoubt("a length without a unit", f"{cleaned} mm or {cleaned} in")
    known = unit_name(found)
    if known is None:
        raise LengthDoubt(f"{found} is not a unit of length (in, mil, ft, mm, cm, m)")
    return _whole_nm(_number(match, cleaned) * NM_PER_UNIT[known])


def _number(match: re.Match[str], text: str) -> Fraction:
    if match["decimal"] is not None:
        return Fraction(match["decimal"])
    if int(match["bottom"]) == 0:
        raise LengthDoubt(f"{text} divides by zero, it is not a length")
    return int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["bottom"]))


def _whole_nm(length: Fraction) -> int:
    if length.denominator != 1:
        raise LengthDoubt("finer than 0.000001 mm, so it can't be held exactly", f"{mm_text(round(length))} mm")
    return length.numerator


def _not_a_length(text: str, unit: str | None) -> LengthDoubt:
    comma = _COMMA_NUMBER.fullmatch(text)
    if comma is not None and len(text) <= _LONGEST_TEXT:
        return _comma_doubt(comma["number"], comma["rest"].strip() or unit or "")
    if text.startswith(("-", "\N{MINUS SIGN}")):
        return LengthDoubt("a negative length")
    return LengthDoubt("not a length" if text else "blank, not a length")


def _comma_doubt(number: str, unit: str) -> LengthDoubt:
    if "." in number or number.count(",") > 1:
        read = f"{number.replace(',', '')} {unit}".strip()
        return LengthDoubt(f"comma as thousands mark, {read}?", read)
    read = f"{number.replace(',', '.')} {unit}".strip()
    return LengthDoubt(f"comma as decimal point, {read}?", read)


def mm_text(nm: int) -> str:
    """The exact length in millimetres, without trailing zeros: 18542000 -> ``18.542``."""
    whole, rest = divmod(abs(nm), NM_PER_MM)
    decimals = f"{rest:06d}".rstrip("0")
    return f"{'-' if nm < 0 else ''}{whole}{'.' if decimals else ''}{decimals}"


def inch_text(nm: int, decimals: int = _SHOWN_IN_DECIMALS) -> str:
    """The length in inches as shown to people, rounded half up: 18542000 -> ``0.730``."""
    return _shown(nm, NM_PER_IN, decimals)


def both(nm: int, *, extra_digits: int = 0, inches_first: bool = False) -> str:
    """The length in both units as shown to people (0.01 mm, 0.001 in): ``1.14 mm (0.045 in)``.

    Args:
        nm: length in nanometres; may be negative (a margin that is lacking).
        extra_digits: more decimals than usual, see ``digits_to_tell_apart``.
        inches_first: put the inches first: ``0.045 in (1.14 mm)``.
    """
    mm = f"{_shown(nm, NM_PER_MM, _SHOWN_MM_DECIMALS + extra_digits)} mm"
    inches = f"{inch_text(nm, _SHOWN_IN_DECIMALS + extra_digits)} in"
    return f"{inches} ({mm})" if inches_first else f"{mm} ({inches})"


def digits_to_tell_apart(first_nm: int, second_nm: int) -> int:
    """How many more decimals ``both`` needs so that two different lengths don't look equal in either unit."""
    for extra in range(_MOST_EXTRA_DIGITS):
        mm = [_shown(nm, NM_PER_MM, _SHOWN_MM_DECIMALS + extra) for nm in (first_nm, second_nm)]
        inches = [inch_text(nm, _SHOWN_IN_DECIMALS + extra) for nm in (first_nm, second_nm)]
        if first_nm == second_nm or (mm[0] != mm[1] and inches[0] != inches[1]):
            return extra
    return _MOST_EXTRA_DIGITS


def _shown(nm: int, nm_per_unit: int, decimals: int) -> str:
    value = Fraction(abs(nm) * 10**decimals, nm_per_unit)
    steps = (2 * value.numerator + value.denominator) // (2 * value.denominator)
    whole, rest = divmod(steps, 10**decimals)
    text = f"{whole}.{rest:0{decimals}d}"
    return f"-{text}" if nm < 0 and steps else text
