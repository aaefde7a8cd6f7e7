"""Price breaks are read exactly, and a larger order is told beside what is needed."""

from decimal import Decimal

import pytest

from kitting.calculation.price_breaks import PriceBreak, offer
from kitting.calculation.sheets.parsers import CellDoubt, Setting
from kitting.calculation.sheets.trade_parsers import PRICE_BREAKS, read_price_breaks

BREAKS = [PriceBreak(48, Decimal(39)), PriceBreak(24, Decimal("41.50"))]


def test_price_breaks_are_read_in_their_order_and_what_is_none_is_refused() -> None:
    assert read_price_breaks("48: 39; 24: 41.50") == (BREAKS[1], BREAKS[0])
    assert PRICE_BREAKS.write(PRICE_BREAKS.read("48:39;24:41.50", Setting())) == "24: 41.50; 48: 39"
    for text in (
        "24",
        "1: 50",
        "24: 41,50",
        "24: -1",
        "24: 41; 24: 40",
        ";",
        "2.5: 10",
        "1000001: 9",
        f"{'9' * 5_000}: 9",
    ):
        with pytest.raises(CellDoubt):
            read_price_breaks(text)


@pytest.mark.parametrize(
    ("units", "step", "price", "later", "later_price", "saved"),
    [
        ("22", "1", "50", "24", "41.50", "104.00"),  # 22 x 50 - 24 x 41.50 = 1100 - 996
        ("10", "1", "50", "24", "41.50", "-496.00"),  # 500 - 996
        ("22", "10", "50", "32", "41.50", "-228.00"),  # an order grows by tens: 1100 - 32 x 41.50
        ("30", "1", "41.50", "48", "39", "-627.00"),  # 30 x 41.50 - 48 x 39
    ],
)
def test_the_next_break_stands_beside_what_is_needed(
    units: str, step: str, price: str, later: str, later_price: str, saved: str
) -> None:
    found = offer(Decimal(units), price=Decimal(50), breaks=BREAKS, step=Decimal(step))
    assert (found.price, found.later, found.later_price, found.saved) == tuple(
        map(Decimal, (price, later, later_price, saved))
    )


def test_beyond_the_last_break_there_is_nothing_to_gain() -> None:
    last = offer(Decimal(48), price=Decimal(50), breaks=BREAKS, step=Decimal(1))
    assert (last.price, last.later, last.saved) == (Decimal(39), None, 0)
