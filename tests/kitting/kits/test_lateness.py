"""How late suppliers were, from what has come and the day that was promised first."""

from datetime import date, timedelta

import pytest
from bag_stores import Stores, demo_sheets, planned
from module_books import books_of_module
from people import BUYER, STORES

from inventory.models import Depot, Item, OrderLine, PurchaseOrder, Supplier
from inventory.services.receiving import Arrival, receive
from kitting.selectors.lateness import Lateness, lateness
from kitting.services.change_orders import redate_order, split_order
from kitting.services.cut_orders import cut_order

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)
FIRST = Stores().at.date()


def ordered(number: int, pieces: int, promised: date | None) -> str:
    """An order of so many elbows for N."""
    order = PurchaseOrder.objects.create(number=f"X-{number}")
    OrderLine.objects.create(
        order=order, line="1", item=Item.objects.get(stock_code="EL25-2"), quantity=pieces * 1000, promised=promised,
        depot=Depot.objects.get(depot="N"), supplier=Supplier.objects.get(name="Larkfield Supply"),
    )  # fmt: skip
    return order.number


def came(order: str, pieces: int, day: date, line: str = "1") -> None:
    stores = Stores()
    arrival = Arrival(
        stock_code="EL25-2", place=stores.place("N", "arrived"), count=pieces * 1000, lot="L-9", order=order, line=line
    )
    stamp = {"by": STORES.name, "at": stores.at + (day - FIRST), "action": f"in {order} {line} {pieces}"}
    receive(depot=Depot.objects.get(depot="N"), arrivals=[arrival], **stamp)


def found(today: date) -> Lateness | None:
    return lateness(today).get(Supplier.objects.get(name="Larkfield Supply").pk)


def test_a_line_counts_once_all_of_it_has_come_from_the_day_that_was_promised_first() -> None:
    stores, today = Stores(), date(2026, 5, 1)
    assert found(today) is None
    came(ordered(1, 4, date(2026, 3, 10)), 4, date(2026, 3, 9))
    late = ordered(2, 4, date(2026, 3, 10))
    came(late, 3, date(2026, 3, 10))
    assert found(today) == Lateness(1, [])
    came(late, 1, date(2026, 3, 14))
    put_off = ordered(3, 4, date(2026, 3, 10))
    redate_order(order=put_off, line="1", promised=date(2026, 3, 30), why="strike", **stores.scan(BUYER))
    came(put_off, 4, date(2026, 3, 30))
    came(ordered(4, 4, None), 4, date(2026, 3, 30))  # nobody promised a day
    parts = ordered(5, 6, date(2026, 3, 10))
    split_order(order=parts, line="1", units=2000, promised=date(2026, 3, 12), why="x", **stores.scan(BUYER))
    came(parts, 4, date(2026, 3, 10))
    came(parts, 2, date(2026, 3, 12), "1.2")
    given_up = ordered(6, 6, date(2026, 3, 10))
    cut_order(order=given_up, line="1", why="x", **stores.scan(BUYER))

    told = found(today)

    assert told is not None
    assert (told.came, sorted(told.late)) == (5, [2, 4, 20])
    assert told.words == "3 of 5 came late in the last year, typically 4 days, at most 20"
    assert found(today + timedelta(400)) is None


def test_who_was_never_late_and_who_never_brought_anything_is_said_so() -> None:
    assert Lateness(3, []).words == "none of 3 came late in the last year"
    assert Lateness(2, [1]).words == "1 of 2 came late in the last year, typically 1 day"
    assert "nobody knows" in Lateness(0, []).words
