"""A small warehouse: two depots, their places, a few stock codes, and short words for what people do there."""

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from itertools import count
from typing import Any

from inventory.models import (
    BAG,
    BIN,
    HOLD,
    RESERVE,
    STAGING,
    SUPPLIER_OWNED,
    TRUCK,
    Action,
    Balance,
    Depot,
    Item,
    Lot,
    OrderLine,
    Place,
    PurchaseOrder,
)
from inventory.selectors.rebuilding import unequal_balances, unequal_order_lines
from inventory.services.ending import Ended, end
from inventory.services.moving import Carry, move
from inventory.services.receiving import Arrival, receive

MONDAY = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
PLACES = (
    ("bin", BIN), ("other bin", BIN), ("rack", STAGING), ("bag", BAG), ("truck 14", TRUCK), ("quarantine", HOLD),
    ("reserve", RESERVE), ("theirs", SUPPLIER_OWNED),
)  # fmt: skip


def pieces(number: float) -> int:
    """Thousandths."""
    return round(number * 1000)


class Warehouse:
    """Depots N and H with the same places; every deed takes the next action number and minute."""

    def __init__(self) -> None:
        self.north = Depot.objects.create(depot="N", name="North", time_zone="America/Chicago")
        self.hill = Depot.objects.create(depot="H", name="Hill", time_zone="America/Chicago")
        self.insert = Item.objects.create(stock_code="BI15", kind="bushing insert")
        self.splice = Item.objects.create(
            stock_code="CS15-6",
            kind="splice",
            purchase_unit="kit",
            per_purchase_unit=pieces(3),
            shelf_months=36,
            lot_tracked=True,
        )
        self._places = {
            (depot.depot, code): Place.objects.create(depot=depot, code=code, kind=kind)
            for depot in (self.north, self.hill)
            for code, kind in PLACES
        }
        self._deeds = count(1)

    def place(self, name: str) -> Place:
        """The place of a name such as ``N/bin``."""
        depot, _, code = name.partition("/")
        return self._places[(depot, code)]

    def stamp(self, **given: Any) -> dict[str, Any]:
        """Who, when and the number of the next deed."""
        deed = next(self._deeds)
        return {"by": "Ana", "at": MONDAY + timedelta(minutes=deed), "action": f"A-{deed}", **given}

    def lot(self, number: str, item: Item | None = None) -> Lot:
        """A lot on the books."""
        return Lot.objects.select_related("item").get(item=item or self.insert, number=number)

    def order(self, item: Item, quantity: float, number: str = "PO-1", depot: Depot | None = None) -> OrderLine:
        """Line 1 of a new order."""
        order = PurchaseOrder.objects.create(number=number)
        return OrderLine.objects.create(
            order=order, line="1", item=item, quantity=pieces(quantity), depot=depot or self.north
        )

    def receive(
        self,
        quantity: float,
        lot: str = "L-1",
        *,
        to: str = "N/bin",
        item: Item | None = None,
        use_by: date | None = None,
        order: str = "",
        unit: str = "",
        confirmed: tuple[str, ...] = (),
        **given: Any,
    ) -> Action:
        """One line of a delivery."""
        arrival = Arrival(
            stock_code=(item or self.insert).stock_code,
            place=self.place(to),
            count=pieces(quantity),
            unit=unit,
            lot=lot,
            use_by=use_by,
            order=order,
            line="1" if order else "",
        )
        return receive(depot=self.place(to).depot, arrivals=[arrival], confirmed=confirmed, **self.stamp(**given))

    def move(self, quantity: float, lot: Lot, source: str, target: str, why: str = "", **given: Any) -> Action:
        """Carry pieces of a lot."""
        carry = Carry(lot=lot, quantity=pieces(quantity), source=self.place(source), target=self.place(target))
        return move(carries=[carry], why=why, **self.stamp(**given))

    def end(self, quantity: float, lot: Lot, source: str, ending: str, why: str = "", **given: Any) -> Action:
        """Let pieces of a lot end."""
        ended = Ended(lot=lot, quantity=pieces(quantity), source=self.place(source), ending=ending)
        return end(pieces=[ended], why=why, **self.stamp(**given))

    def holds(self, name: str, lot: Lot) -> int:
        """Thousandths of a lot at a place."""
        found = Balance.objects.filter(place=self.place(name), lot=lot).first()
        return found.quantity if found else 0


def assert_books_are_whole() -> None:
    """What is stored is what the movements give."""
    assert unequal_balances() == []
    assert unequal_order_lines() == []


def shares(places: Mapping[Place, int]) -> dict[str, int]:
    """Thousandths by the names of places."""
    return {str(place): quantity for place, quantity in places.items()}
