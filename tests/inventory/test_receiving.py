"""What a supplier brings is booked as it was counted, or asked about."""

from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from warehouse import Warehouse, assert_books_are_whole, pieces

from inventory.errors import Doubt, Refusal
from inventory.models import Action, Item, Lot, Movement
from inventory.selectors.balances import lying
from inventory.services.receiving import Arrival, months_after, receive
from inventory.services.reversing import reverse


def test_a_delivery_counted_in_kits_is_booked_in_pieces(warehouse: Warehouse) -> None:
    warehouse.order(warehouse.splice, 12)
    warehouse.receive(4, item=warehouse.splice, unit="kit", order="PO-1", use_by=date(2028, 8, 31))
    assert warehouse.holds("N/bin", warehouse.lot("L-1", warehouse.splice)) == pieces(12)
    with pytest.raises(Refusal, match="counted in ea or kit, not in spool"):
        warehouse.receive(4, item=warehouse.splice, unit="spool")
    assert_books_are_whole()


@pytest.mark.parametrize(("ordered", "counted"), [(12, 4), (4, 12)])
def test_a_count_that_is_off_by_the_kit_asks_each_or_kit(warehouse: Warehouse, ordered: int, counted: int) -> None:
    """Trap T06: four kits of 3 booked as four each; the question comes at the receipt."""
    warehouse.order(warehouse.splice, ordered)
    wanted = {"item": warehouse.splice, "order": "PO-1", "use_by": date(2028, 8, 31), "action": "R-1"}
    with pytest.raises(Doubt, match=r"each \(ea\) or kit of 3 ea") as asked:
        warehouse.receive(counted, **wanted)
    questions = asked.value.data["questions"]
    assert isinstance(questions, dict)
    assert "each-or-kit/1" in questions
    assert Action.objects.count() == Lot.objects.count() == 0
    warehouse.receive(counted, confirmed=tuple(questions), **wanted)
    assert warehouse.holds("N/bin", warehouse.lot("L-1", warehouse.splice)) == pieces(counted)


def test_several_lots_of_one_order_line_are_asked_about_by_their_sum(warehouse: Warehouse) -> None:
    """Three lots of four make the twelve that were ordered; four of one lot alone would ask each or kit."""
    warehouse.order(warehouse.splice, 12)
    arrivals = [
        Arrival(stock_code="CS15-6", place=warehouse.place("N/bin"), count=pieces(4), lot=lot, order="PO-1", line="1")
        for lot in ("L-1", "L-2", "L-3")
    ]
    with pytest.raises(Doubt, match="each"):
        receive(depot=warehouse.north, arrivals=arrivals[:1], **warehouse.stamp())
    receive(depot=warehouse.north, arrivals=arrivals, **warehouse.stamp())
    assert sum(one.quantity for one in lying()) == pieces(12)


def test_part_deliveries_add_up_on_their_order_line_and_too_much_asks(warehouse: Warehouse) -> None:
    """Trap T19 as far as it is stock: 15 of 24 come, then the other 9."""
    line = warehouse.order(warehouse.insert, 24)
    warehouse.receive(15, order="PO-1")
    with pytest.raises(Doubt, match="24 ea ordered, 15 ea came before; 1 ea more than ordered"):
        warehouse.receive(10, order="PO-1")
    warehouse.receive(9, order="PO-1", action="R-2")
    line.refresh_from_db()
    assert line.received == line.quantity == pieces(24)
    reverse(reversed_action="R-2", why="not ours", **warehouse.stamp())
    line.refresh_from_db()
    assert line.received == pieces(15)
    assert_books_are_whole()


def test_pieces_answer_only_the_order_line_they_were_ordered_by(warehouse: Warehouse) -> None:
    warehouse.order(warehouse.splice, 6, depot=warehouse.hill)
    with pytest.raises(Refusal, match="PO-1/1 is CS15-6 for H, not BI15 for N"):
        warehouse.receive(6, order="PO-1")
    with pytest.raises(Refusal, match="no order line PO-9/1"):
        warehouse.receive(6, order="PO-9")
    with pytest.raises(Refusal, match="no stock code BI1S; did you mean BI15"):
        warehouse.receive(6, item=Item(stock_code="BI1S"))


def test_a_lot_that_is_out_of_date_on_arrival_lands_in_hold(warehouse: Warehouse) -> None:
    """A lot is good through its date: on that day it still goes to its bin."""
    warehouse.receive(2, "L-OLD", item=warehouse.splice, use_by=date(2026, 3, 1))
    warehouse.receive(3, "L-DAY", item=warehouse.splice, use_by=date(2026, 3, 2))
    assert warehouse.holds("N/quarantine", warehouse.lot("L-OLD", warehouse.splice)) == pieces(2)
    assert warehouse.holds("N/bin", warehouse.lot("L-DAY", warehouse.splice)) == pieces(3)


def test_a_date_is_worked_out_from_the_day_it_was_made() -> None:
    assert months_after(date(2026, 1, 31), 1) == date(2026, 2, 28)
    assert months_after(date(2025, 12, 15), 36) == date(2028, 12, 15)


def test_a_lot_nobody_knows_stays_visibly_unknown(warehouse: Warehouse) -> None:
    for lot in ("?", "N/A", ""):
        warehouse.receive(1, lot)
    assert [(one.lot, one.quantity) for one in lying(lot__number="")] == [("", pieces(3))]
    assert not Lot.objects.exclude(number="").exists()


def test_a_lot_has_one_date_and_half_a_date_asks(warehouse: Warehouse) -> None:
    warehouse.receive(2, item=warehouse.splice)
    with pytest.raises(Doubt, match="on the books without a date; is 2028-08-31 the date of all its pieces"):
        warehouse.receive(2, item=warehouse.splice, use_by=date(2028, 8, 31))
    warehouse.receive(2, item=warehouse.splice, use_by=date(2028, 8, 31), confirmed=("same-lot/1",))
    lot = warehouse.lot("L-1", warehouse.splice)
    assert (lot.use_by, warehouse.holds("N/bin", lot)) == (date(2028, 8, 31), pieces(4))
    with pytest.raises(Doubt, match="these have no date: the same"):
        warehouse.receive(1, item=warehouse.splice)
    with pytest.raises(Refusal, match="a lot has one date"):
        warehouse.receive(1, item=warehouse.splice, use_by=date(2027, 8, 31))


def test_the_same_action_twice_is_booked_once_and_another_content_is_refused(warehouse: Warehouse) -> None:
    first = warehouse.receive(4, action="R-1")
    again = warehouse.receive(4, action="R-1")
    assert first == again
    assert warehouse.holds("N/bin", warehouse.lot("L-1")) == pieces(4)
    with pytest.raises(Refusal, match="R-1 is already booked with another content by Ana"):
        warehouse.receive(5, action="R-1")


def replace_movements() -> None:
    """Put each movement in its own place with another quantity, in one statement."""
    columns = [field.column for field in Movement._meta.concrete_fields]
    values = ", ".join("1" if column == "quantity" else column for column in columns)
    rows = f"INTO inventory_movement ({', '.join(columns)}) SELECT {values} FROM inventory_movement"
    replaces = f"INSERT {rows} ON CONFLICT (id) DO UPDATE SET quantity = excluded.quantity"
    with connection.cursor() as cursor:
        cursor.execute(f"REPLACE {rows}" if connection.vendor == "sqlite" else replaces)


def test_a_movement_is_never_edited_and_never_deleted(warehouse: Warehouse) -> None:
    warehouse.receive(4)
    for forbidden in (
        lambda: Movement.objects.update(quantity=1),
        lambda: Movement.objects.all()._raw_delete("default"),
        lambda: Action.objects.update(by="Bo"),
        replace_movements,
    ):
        with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
            forbidden()
    assert Movement.objects.get().quantity == pieces(4)
