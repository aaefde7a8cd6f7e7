"""What a supplier asks for a purchase unit from so many on, and what an order costs that reaches the next such step."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal


@dataclass(frozen=True, slots=True)
class PriceBreak:
    """From so many purchase units on, each costs ``price``."""

    units: int
    price: Decimal


@dataclass(frozen=True, slots=True)
class Offer:
    """An order of ``units`` at ``price`` each, beside the smallest one that reaches the next price break.

    ``later`` and ``later_price`` are None where no break lies beyond.
    """

    units: Decimal
    price: Decimal
    later: Decimal | None = None
    later_price: Decimal | None = None

    @property
    def saved(self) -> Decimal:
        """What the larger order costs less in all; negative where it costs more, 0 where there is none."""
        if self.later is None or self.later_price is None:
            return Decimal()
        return self.units * self.price - self.later * self.later_price


def price_at(units: Decimal, *, price: Decimal, breaks: Sequence[PriceBreak]) -> Decimal:
    """The price of a purchase unit in an order of so many: of the last break that it reaches, else ``price``.

    >>> price_at(Decimal(30), price=Decimal(50), breaks=[PriceBreak(24, Decimal(45)), PriceBreak(48, Decimal(40))])
    Decimal('45')
    """
    reached = [one for one in breaks if one.units <= units]
    return max(reached, key=lambda one: one.units).price if reached else price


def offer(units: Decimal, *, price: Decimal, breaks: Sequence[PriceBreak], step: Decimal) -> Offer:
    """An order beside the next break.

    Args:
        units: purchase units that are to be ordered.
        price: of one where no break is reached.
        breaks: in any order.
        step: purchase units by which an order may grow, above zero.
    """
    now = price_at(units, price=price, breaks=breaks)
    beyond = [one for one in breaks if one.units > units]
    if not beyond:
        return Offer(units, now)
    following = min(beyond, key=lambda one: one.units)
    larger = units + step * ((following.units - units) / step).to_integral_value(ROUND_CEILING)
    return Offer(units, now, larger, price_at(larger, price=price, breaks=breaks))
