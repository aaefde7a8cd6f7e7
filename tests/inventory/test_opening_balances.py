"""What lies on the shelves when the books begin is booked row by row, with what was not known of it."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from warehouse import MONDAY, Warehouse, assert_books_are_whole

from inventory.errors import Doubt, Refusal
from inventory.models import OPENING, Balance, Item, Level, Movement
from inventory.selectors.balances import lying
from inventory.services.actions import begin
from inventory.services.opening import Opening, open_balances


def opened(*openings: Opening, number: str = "load 1") -> None:
    with transaction.atomic():
        action, _ = begin("load", {"rows": len(openings)}, {"by": "Ana", "at": MONDAY, "action": number})
        open_balances(action, openings)


def test_every_row_of_the_shelves_is_booked_those_of_nothing_too(warehouse: Warehouse) -> None:
    counted = date(2026, 2, 27)
    rows = [
        Opening(item=warehouse.insert, place=warehouse.place("N/bin"), quantity=4000, lot="L-1", counted_on=counted),
        Opening(item=warehouse.insert, place=warehouse.place("N/bin"), quantity=2000, lot="n/a"),
        Opening(item=warehouse.insert, place=warehouse.place("H/bin"), quantity=0),
        Opening(item=warehouse.insert, place=warehouse.place("N/theirs"), quantity=9000, lot="L-1"),
    ]
    opened(*rows)
    found = [(one.depot, one.place, one.lot, one.quantity, one.counted_on, one.supplier_owned) for one in lying()]
    assert found == [
        ("H", "bin", "", 0, None, False),
        ("N", "bin", "L-1", 4000, counted, False),
        ("N", "bin", "", 2000, None, False),
        ("N", "theirs", "L-1", 9000, None, True),
    ]
    assert set(Movement.objects.values_list("origin", flat=True)) == {OPENING}
    assert_books_are_whole()


def test_one_lot_number_with_two_dates_or_half_a_date_is_not_opened(warehouse: Warehouse) -> None:
    def row(use_by: date | None) -> Opening:
        place = warehouse.place("N/bin")
        return Opening(item=warehouse.splice, place=place, quantity=1000, lot="L-1", use_by=use_by)

    with pytest.raises(Refusal, match="a lot has one date"):
        opened(row(date(2026, 3, 31)), row(date(2028, 8, 31)))
    with pytest.raises(Doubt, match="on the books without a date"):
        opened(row(None), row(date(2026, 3, 31)))
    assert not Balance.objects.exists()


@pytest.mark.parametrize("text", ["8.4", "350", "0.000001", "12.7"])
def test_a_decimal_comes_back_as_it_was_given_or_is_refused(warehouse: Warehouse, text: str) -> None:
    warehouse.insert.price = Decimal(text)
    warehouse.insert.save()
    assert str(Item.objects.get(stock_code="BI15").price) == text
    warehouse.insert.price = Decimal("0.0000001")
    with pytest.raises(ValueError, match="can't be kept exactly"):
        warehouse.insert.save()


@pytest.mark.parametrize(
    "wrong",
    [
        {"doi_low_nm": 2, "doi_high_nm": 1},
        {"doi_low_2_nm": 2, "doi_high_2_nm": 1},
        {"jacket_low_nm": 2, "jacket_high_nm": 1},
        {"per_purchase_unit": 0},
    ],
)
def test_the_database_refuses_an_item_that_can_not_be(warehouse: Warehouse, wrong: dict[str, int]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Item.objects.filter(pk=warehouse.insert.pk).update(**wrong)
    Item.objects.filter(pk=warehouse.insert.pk).update(doi_low_2_nm=1, doi_high_2_nm=1)


@pytest.mark.parametrize("wrong", [{"minimum": -1}, {"reserve_floor": -1}, {"minimum": 5, "maximum": 4}])
def test_the_database_refuses_a_level_that_can_not_be(warehouse: Warehouse, wrong: dict[str, int]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Level.objects.create(item=warehouse.insert, depot=warehouse.north, **wrong)
    Level.objects.create(item=warehouse.insert, depot=warehouse.north, minimum=0, maximum=4, reserve_floor=0)
