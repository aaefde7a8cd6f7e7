"""Whatever people do in whatever order: each lot adds up, and the stored balances are what was moved."""

from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from itertools import count
from random import Random
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test
from warehouse import MONDAY, Warehouse, assert_books_are_whole, pieces

from inventory.errors import Refusal
from inventory.models import ENDINGS, Action, Balance, Lot, LotHold, Movement, Transfer
from inventory.selectors.balances import lying, open_differences
from inventory.selectors.trace import history, trace
from inventory.services.adjusting import Count, adjust
from inventory.services.ending import Ended, end
from inventory.services.holding import place_hold, release_hold
from inventory.services.moving import Carry, move
from inventory.services.receiving import Arrival, receive
from inventory.services.reversing import reverse
from inventory.services.transferring import (
    ARRIVED,
    FOUND_THERE,
    LOST_ON_THE_ROAD,
    STAYED,
    Load,
    Unload,
    receive_transfer,
    send_transfer,
    settle_difference,
)

LOTS = ("L-1", "L-2", "L-3")
PLACES = ("N/bin", "N/bag", "N/quarantine", "N/reserve", "H/bin", "H/truck 14")
quantities = st.integers(1, 5)
lots, places = st.sampled_from(LOTS), st.sampled_from(PLACES)


class AnyDay(RuleBasedStateMachine):
    """People do anything; what is refused must change nothing, what is done must show in a plain count beside it."""

    def __init__(self) -> None:
        super().__init__()
        self.books = transaction.atomic()
        self.books._from_testcase = True  # what a use case may stand in, as in Django's own tests
        self.books.__enter__()
        self.warehouse = Warehouse()
        self.beside: Counter[tuple[str, str]] = Counter()  # pieces by place or ending and lot
        self.done: dict[str, Counter[tuple[str, str]]] = {}
        self.fixed: set[str] = set()
        self.counted: dict[str, str] = {}  # action that counted a transfer out: the one that sent it
        for lot in LOTS:
            self.do({("N/bin", lot): 6}, self.warehouse.receive, 6, lot)

    def teardown(self) -> None:
        for lot in LOTS:
            found = trace(item=self.warehouse.insert, number=lot)
            ours = {name: pieces(quantity) for (name, of), quantity in self.beside.items() if of == lot and quantity}
            assert {str(place): quantity for place, quantity in found.places.items()} | found.endings == ours
            assert (found.received, found.gap) == (sum(ours.values()), 0)
        transaction.set_rollback(True)
        self.books.__exit__(None, None, None)

    def do(self, changes: dict[tuple[str, str], int], deed: Callable[..., Action], *args: Any, **facts: Any) -> bool:
        """Carry out a deed, and count it beside the books unless it is refused."""
        try:
            action = deed(*args, **facts)
        except Refusal:
            return False
        self.done[action.number] = Counter(changes)
        self.beside.update(changes)
        return True

    @rule(lot=lots, quantity=quantities, to=places)
    def receive(self, lot: str, quantity: int, to: str) -> None:
        self.do({(to, lot): quantity}, self.warehouse.receive, quantity, lot, to=to)

    @rule(lot=lots, quantity=quantities, source=places, goal=places)
    def move(self, lot: str, quantity: int, source: str, goal: str) -> None:
        if source != goal:
            changes = {(source, lot): -quantity, (goal, lot): quantity}
            self.do(changes, self.warehouse.move, quantity, self.warehouse.lot(lot), source, goal, "why")

    @rule(lot=lots, quantity=quantities, source=places, ending=st.sampled_from(ENDINGS))
    def end(self, lot: str, quantity: int, source: str, ending: str) -> None:
        changes = {(source, lot): -quantity, (ending, lot): quantity}
        self.do(changes, self.warehouse.end, quantity, self.warehouse.lot(lot), source, ending, "why")

    @rule(lot=lots, quantity=quantities)
    def send(self, lot: str, quantity: int) -> None:
        stamp = self.warehouse.stamp()
        number = f"T-{stamp['action']}"
        load = Load(lot=self.warehouse.lot(lot), quantity=pieces(quantity), source=self.warehouse.place("N/bin"))
        changes = {("N/bin", lot): -quantity, (f"H/{number}", lot): quantity}
        self.do(changes, send_transfer, transfer=number, to_depot=self.warehouse.hill, loads=[load], **stamp)

    @precondition(lambda self: self.open_transfers())
    @rule(data=st.data(), over=st.integers(-2, 1))
    def unload(self, data: st.DataObject, over: int) -> None:
        transfer = data.draw(st.sampled_from(self.open_transfers()))
        balance = transfer.place.balances.select_related("lot__item").get()
        counted = max(balance.quantity // 1000 + over, 0)
        arrived, lot = min(counted, balance.quantity // 1000), balance.lot
        one = Unload(lot=lot, counted=pieces(counted), target=self.warehouse.place("H/bin"))
        changes = {(f"H/{transfer}", lot.number): -arrived, ("H/bin", lot.number): arrived}
        stamp = self.warehouse.stamp()
        if self.do(changes, receive_transfer, transfer=transfer.number, unloads=[one], **stamp):
            self.counted[stamp["action"]] = transfer.sent.number

    def open_transfers(self) -> list[Transfer]:
        found = Transfer.objects.filter(received__isnull=True, place__balances__quantity__gt=0)
        return [*found.select_related("place", "sent").order_by("pk")]

    @precondition(lambda self: open_differences(self.warehouse.hill))
    @rule(how=st.sampled_from((ARRIVED, STAYED, LOST_ON_THE_ROAD)))
    def settle(self, how: str) -> None:
        told = open_differences(self.warehouse.hill)[0]
        missing, lot = (told.sent - told.counted) // 1000, told.lot.number
        target = {ARRIVED: "H/bin", STAYED: "N/bin"}.get(how) if missing > 0 else "H/bin"
        changes = {(target or "lost", lot): abs(missing)}
        if missing > 0:
            changes[(f"H/{told.transfer}", lot)] = -missing
        facts = {
            "difference": told.pk,
            "how": how if missing > 0 else FOUND_THERE,
            "why": "phoned",
            "target": self.warehouse.place(target) if target else None,
            **self.warehouse.stamp(),
        }
        if self.do(changes, settle_difference, **facts):
            self.fixed |= {str(facts["action"]), told.transfer.received.number}

    @rule(lot=lots)
    def hold_or_release(self, lot: str) -> None:
        hold = LotHold.objects.filter(lot_number=lot, released_at__isnull=True).first()
        if hold is None:
            place_hold(stock_code="BI15", lot=lot, reason="recall", **self.warehouse.stamp())
        else:
            release_hold(hold=hold.pk, reason="cleared", **self.warehouse.stamp())

    @rule(lot=lots, place=places, counted=st.integers(0, 8))
    def adjust(self, lot: str, place: str, counted: int) -> None:
        one = Count(stock_code="BI15", place=self.warehouse.place(place), counted=pieces(counted), lot=lot)
        missing = self.beside[(place, lot)] - counted
        changes = {(place, lot): -missing}
        if missing > 0:
            changes[("lost", lot)] = missing
        self.do(changes, adjust, counts=[one], why="count", **self.warehouse.stamp())

    @rule(data=st.data())
    def reverse(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self.done)))
        undone = {key: -quantity for key, quantity in self.done[number].items()}
        stamp = self.warehouse.stamp()
        if self.do(undone, reverse, reversed_action=number, why="wrong", **stamp):
            assert number not in self.fixed.union(self.counted.values())
            self.counted.pop(number, None)
            self.fixed |= {number, stamp["action"]}

    @invariant()
    def every_lot_adds_up(self) -> None:
        assert_books_are_whole()
        lie = {(f"{one.depot}/{one.place}", one.lot): one.quantity for one in lying(quantity__gt=0)}
        ended: Counter[tuple[str, str]] = Counter()
        for origin, ending, lot, quantity in Movement.objects.values_list(
            "origin", "ending", "lot__number", "quantity"
        ):
            ended[(ending, lot)] += quantity
            ended[(origin, lot)] -= quantity
        ends = {key: quantity for key, quantity in ended.items() if quantity and key[0] in ENDINGS}
        assert lie | ends == {key: pieces(quantity) for key, quantity in self.beside.items() if quantity}


@pytest.mark.usefixtures("db")
def test_every_lot_adds_up_after_every_step_of_any_day() -> None:
    run_state_machine_as_test(AnyDay, settings=settings(max_examples=10, stateful_step_count=20))


Call = tuple[Callable[..., Action], dict[str, Any]]


def a_day(warehouse: Warehouse) -> dict[str, list[Call]]:
    """What three devices do in a day, each in its own order; Bo's clock is 40 minutes slow (trap T55)."""
    bin_, bag, rack = (warehouse.place(f"N/{name}") for name in ("bin", "bag", "rack"))
    first, second = warehouse.lot("L-1"), warehouse.lot("L-2")
    days: dict[str, list[Call]] = {"Dot": [], "Bo": [], "Cole": []}
    for at in range(4):
        carry = Carry(lot=first, quantity=1000, source=bin_, target=bag)
        back = Carry(lot=first, quantity=1000, source=bag, target=rack)
        days["Dot"] += [(move, {"carries": [carry]}), (move, {"carries": [back]})]
        ended = Ended(lot=second, quantity=1000, source=bin_, ending=ENDINGS[at % 2])
        days["Bo"].append((end, {"pieces": [ended], "why": "cut"}))
        arrival = Arrival(stock_code="BI15", place=bin_, count=1000 * (at + 1), lot="L-3")
        days["Cole"].append((receive, {"depot": warehouse.north, "arrivals": [arrival]}))
    for by, calls in days.items():
        for order, (_, facts) in enumerate(calls):
            moment = MONDAY + timedelta(minutes=10 * order)
            facts |= {"by": by, "action": f"{by}-{order}", "at": moment + timedelta(hours=1)}
            facts["device_at"] = moment - timedelta(minutes=40 if by == "Bo" else 0)
    return days


def shuffled(days: dict[str, list[Call]], chance: Random) -> list[Call]:
    """All devices' calls, three times each device's day, mixed; the order on each device is kept."""
    turns = [by for by, calls in days.items() for _ in range(3 * len(calls))]
    chance.shuffle(turns)
    ahead = {by: iter(calls * 3) for by, calls in days.items()}
    return [next(ahead[by]) for by in turns]


def test_a_day_sent_three_times_and_shuffled_between_devices_ends_in_the_same_balances(warehouse: Warehouse) -> None:
    for lot in LOTS:
        warehouse.receive(9, lot)
    days = a_day(warehouse)
    ends = []
    for seed in range(3):
        books = transaction.atomic()
        books._from_testcase = True
        with books:
            for deed, facts in shuffled(days, Random(seed)):
                deed(**facts)
            assert_books_are_whole()
            ends.append(lying())
            orders = {
                by: [one.action.number for one in history(lots=Lot.objects.all()) if one.action.by == by] for by in days
            }
            assert orders == {by: [f"{by}-{order}" for order in range(len(days[by]))] for by in days}
            assert {one.drift for one in Action.objects.filter(by="Bo")} == {timedelta(hours=1, minutes=40)}
            transaction.set_rollback(True)
    assert ends[0] == ends[1] == ends[2]
    assert {one.quantity for one in ends[0] if (one.place, one.lot) == ("bin", "L-1")} == {pieces(5)}


def queries(deed: Callable[[int], object], lines: int) -> int:
    with CaptureQueriesContext(connection) as caught:
        deed(lines)
    return len(caught)


def test_the_number_of_queries_does_not_grow_with_the_lines(warehouse: Warehouse) -> None:
    bin_, bag, van = (warehouse.place(name) for name in ("N/bin", "N/bag", "H/bin"))
    numbers = count()

    def all_lots(lines: int) -> list[Lot]:
        return [*Lot.objects.select_related("item").filter(supplier_owned=False).order_by("pk")[:lines]]

    def deliver(lines: int) -> None:
        new = [f"L-{next(numbers)}" for _ in range(lines)]
        arrivals = [Arrival(stock_code="BI15", place=bin_, count=9000, lot=lot) for lot in new]
        receive(depot=warehouse.north, arrivals=arrivals, **warehouse.stamp())

    def carry(lines: int) -> None:
        carries = [Carry(lot=lot, quantity=1000, source=bin_, target=bag) for lot in all_lots(lines)]
        moved = move(carries=carries, **warehouse.stamp())
        reverse(reversed_action=moved.number, why="wrong", **warehouse.stamp())

    def install(lines: int) -> None:
        pieces_ = [Ended(lot=lot, quantity=1000, source=bin_, ending=ENDINGS[0]) for lot in all_lots(lines)]
        end(pieces=pieces_, **warehouse.stamp())

    def count_all(lines: int) -> None:
        counts = [Count(stock_code="BI15", place=bin_, counted=5000, lot=lot.number) for lot in all_lots(lines)]
        adjust(counts=counts, why="count", **warehouse.stamp())

    def transfer(lines: int) -> None:
        number, chosen = f"T-{lines}", all_lots(lines)
        loads = [Load(lot=lot, quantity=1000, source=bin_) for lot in chosen]
        send_transfer(transfer=number, to_depot=warehouse.hill, loads=loads, **warehouse.stamp())
        unloads = [Unload(lot=lot, counted=2000, target=van) for lot in chosen]
        receive_transfer(transfer=number, unloads=unloads, **warehouse.stamp())

    for deed in (deliver, carry, install, count_all, transfer, lambda _: lying()):
        assert queries(deed, 3) == queries(deed, 30)


def test_balances_that_were_tampered_with_are_told_and_put_right(
    warehouse: Warehouse, capsys: pytest.CaptureFixture[str]
) -> None:
    warehouse.order(warehouse.insert, 9)
    warehouse.receive(4, order="PO-1")
    call_command("rebuild_balances")
    assert "Every balance is what the movements give." in capsys.readouterr().out
    Balance.objects.update(quantity=7000)
    warehouse.insert.order_lines.update(received=0)
    with pytest.raises(CommandError, match="2 stored quantities"):
        call_command("rebuild_balances")
    told = capsys.readouterr().out
    assert "BI15 lot L-1 at N/bin: 7000 stored, 4000 moved" in told
    assert "order line PO-1/1: 0 stored, 4000 moved" in told
    call_command("rebuild_balances", "--write")
    assert_books_are_whole()
