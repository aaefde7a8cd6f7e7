"""Weights as whole nanograms: exact for a milligram, for 0.0001 lb and for an ounce; and what pieces weigh together.

The pound is 0.45359237 kg exactly (international yard and pound agreement, 1959), the ounce a sixteenth of it. Nothing
here rounds before it is shown.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from kitting.calculation.doubts import Doubt
from kitting.calculation.quantities import PER_UNIT

NG_PER_KG = 1_000_000_000_000
NG_PER_LB = 453_592_370_000
NG_PER_UNIT: Mapping[str, int] = MappingProxyType(
    {"kg": NG_PER_KG, "g": NG_PER_KG // 1_000, "lb": NG_PER_LB, "oz": NG_PER_LB // 16}
)
WEIGHT_UNITS: Mapping[str, str] = MappingProxyType(
    dict.fromkeys(("kg", "kilogram", "kilograms"), "kg")
    | dict.fromkeys(("g", "gram", "grams"), "g")
    | dict.fromkeys(("lb", "lbs", "pound", "pounds"), "lb")
    | dict.fromkeys(("oz", "ounce", "ounces"), "oz")
)
_LONGEST_TEXT = 40
_WEIGHT = re.compile(r"(?P<number>[0-9]+(?:\.[0-9]*)?|\.[0-9]+) ?(?P<unit>[^0-9 .,]*)\.?")
_COMMA = re.compile(r"(?P<whole>[0-9]+),(?P<rest>[0-9]+) ?(?P<unit>[^0-9 .,]*)\.?")


class WeightDoubt(Doubt):
    """A weight that can't be read exactly."""


def parse_weight(text: str, unit: str | None) -> int:
    """Read one weight cell as nanograms.

    Args:
        text: the cell, such as ``1.25``, ``2.7 lb``, ``350 g``.
        unit: the unit that the column's header declares, or None; a unit in the cell wins over it.

    Raises:
        WeightDoubt: no unit, a comma, not a number, or not a whole number of nanograms.
    """
    cleaned = " ".join(text.split())
    match = _WEIGHT.fullmatch(cleaned) if len(cleaned) <= _LONGEST_TEXT else None
    if match is None:
        comma = _COMMA.fullmatch(cleaned) if len(cleaned) <= _LONGEST_TEXT else None
        if comma:
            raise WeightDoubt("comma as decimal point", f"{comma['whole']}.{comma['rest']} {comma['unit'] or unit}")
        raise WeightDoubt("not a weight")
    found = match["unit"].casefold() or unit
    if found is None:
        raise WeightDoubt("a weight without a unit", f"{cleaned} kg or {cleaned} lb")
    known = WEIGHT_UNITS.get(found)
    if known is None:
        raise WeightDoubt(f"{found} is not a unit of weight (kg, g, lb, oz)")
    weight = Fraction(match["number"]) * NG_PER_UNIT[known]
    if weight.denominator != 1:
        raise WeightDoubt("finer than can be held exactly", f"{weight_text(weight, 'g', 3)}")
    return weight.numerator


def weight_text(ng: Fraction, unit: str, decimals: int = 1) -> str:
    """A weight as shown to people, rounded half up: ``12.4 kg``."""
    steps = int(ng * 10**decimals / NG_PER_UNIT[unit] + Fraction(1, 2))
    whole, rest = divmod(steps, 10**decimals)
    return f"{whole}.{rest:0{decimals}d} {unit}"


def both_weights(ng: Fraction, *, decimals: int = 1) -> str:
    """A weight in both units: ``12.4 kg (27.3 lb)``."""
    return f"{weight_text(ng, 'kg', decimals)} ({weight_text(ng, 'lb', decimals)})"


@dataclass(frozen=True, slots=True)
class Pieces:
    """Pieces of one stock code: thousandths, what one weighs in nanograms, and how many come in a box (0: in none).

    None is a fact that nobody has given.
    """

    stock_code: str
    quantity: int
    weight_ng: int | None
    per_box: int | None


@dataclass(frozen=True, slots=True)
class Load:
    """What pieces weigh together, in nanograms, and in how many boxes they come, as far as it is known.

    ``codes`` are all stock codes among them, ``unweighed`` and ``unboxed`` those for which a fact is missing.
    """

    weight: Fraction
    boxes: int
    codes: frozenset[str]
    unweighed: frozenset[str]
    unboxed: frozenset[str]

    def __add__(self, other: "Load") -> "Load":
        """Both on one truck; a box that is not full stays one of its own."""
        return Load(
            self.weight + other.weight,
            self.boxes + other.boxes,
            self.codes | other.codes,
            self.unweighed | other.unweighed,
            self.unboxed | other.unboxed,
        )

    @property
    def words(self) -> str:
        """``12.4 kg (27.3 lb), 3 boxes``; where facts are missing, ``at least`` and of how many items.

        Boxes are left out where nobody has given a number for any item.
        """
        if not self.codes:
            return "nothing to load"
        return ", ".join(filter(None, (self._weight_words(), self._box_words())))

    def _weight_words(self) -> str:
        if self.unweighed == self.codes:
            return f"weight unknown: {_items(self.unweighed)} without weight"
        if self.unweighed:
            return f"at least {both_weights(self.weight)}, {_items(self.unweighed)} without weight"
        return both_weights(self.weight)

    def _box_words(self) -> str:
        if self.unboxed == self.codes:
            return ""
        boxes = f"{self.boxes} box{'es' * (self.boxes != 1)}"
        return f"at least {boxes}, {_items(self.unboxed)} without a number per box" if self.unboxed else boxes


NO_LOAD = Load(Fraction(), 0, frozenset(), frozenset(), frozenset())


def _items(codes: frozenset[str]) -> str:
    return f"{len(codes)} item{'s' * (len(codes) > 1)}"


def load_of(pieces: Iterable[Pieces]) -> Load:
    """What pieces weigh together and how many boxes they are; pieces of one stock code share boxes."""
    sums: dict[str, int] = defaultdict(int)
    facts: dict[str, Pieces] = {}
    for one in pieces:
        sums[one.stock_code] += one.quantity
        facts[one.stock_code] = one
    there = {code: facts[code] for code, quantity in sums.items() if quantity > 0}
    return Load(
        sum(
            (Fraction(one.weight_ng * sums[code], PER_UNIT) for code, one in there.items() if one.weight_ng), Fraction()
        ),
        sum(-(-sums[code] // (one.per_box * PER_UNIT)) for code, one in there.items() if one.per_box),
        frozenset(there),
        frozenset(code for code, one in there.items() if one.weight_ng is None),
        frozenset(code for code, one in there.items() if one.per_box is None),
    )
