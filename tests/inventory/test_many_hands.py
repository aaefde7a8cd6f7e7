"""Many hands at once, and programs killed in the middle: every piece is still in exactly one place."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from functools import partial
from random import Random
from threading import Barrier, BrokenBarrierError, Thread
from time import sleep

import pytest
from django.db import OperationalError, connection
from warehouse import MONDAY, Warehouse, assert_books_are_whole

from inventory.errors import Refusal
from inventory.management.trials.killed import kill_and_look, prepare
from inventory.management.trials.last_pieces import last_piece_rounds
from inventory.models import Action, Balance, Depot, Lot, Movement
from inventory.services.actions import ATTEMPTS, use_case
from inventory.services.moving import Carry
from inventory.services.receiving import Arrival, receive
from inventory.services.reversing import reverse

pytestmark = pytest.mark.django_db(transaction=True)
HANDS = 16 if connection.vendor == "postgresql" else 4


def test_the_last_piece_goes_to_one_hand_and_the_others_are_told_whose() -> None:
    """Trap T52 as far as it is stock: two want the last one, one gets it, the other sees who has it."""
    rounds = last_piece_rounds(rounds=20, hands=HANDS)
    assert [fault for one in rounds if (fault := one.fault(HANDS))] == []
    assert_books_are_whole()


def test_a_careless_way_to_take_the_last_piece_is_found_out() -> None:
    """Looking first and writing afterwards gives one piece to several: the trial above must see that."""

    def take_carelessly(carry: Carry, by: str, action: str) -> None:
        balance = Balance.objects.get(place=carry.source, lot=carry.lot)
        if balance.quantity < carry.quantity:
            raise Refusal("not-enough", "gone", {"missing": [{"taken_by": "somebody"}]})
        sleep(0.05)
        balance.quantity -= carry.quantity
        balance.save()
        done = Action.objects.create(number=action, use_case="take", digest="", by=by, at=MONDAY)
        Movement.objects.create(
            action=done, line=1, lot=carry.lot, quantity=carry.quantity, from_place=carry.source, to_place=carry.target
        )

    rounds = last_piece_rounds(rounds=2, hands=4, take=take_carelessly)
    assert any("got the one piece" in one.fault(4) for one in rounds)
    with pytest.raises(AssertionError):
        assert_books_are_whole()


def test_a_program_killed_at_any_moment_leaves_nothing_half_booked() -> None:
    prepare()
    chance = Random()
    killed = [kill_and_look(f"run {run}", chance) for run in range(5)]
    assert [one.fault for one in killed if one.fault] == []
    assert all(one.said for one in killed)
    assert_books_are_whole()


def test_two_that_wait_for_each_other_both_get_done() -> None:
    """PostgreSQL gives one of them up and it is tried again; on SQLite the second one waits at its first line."""
    meeting = Barrier(2)
    names = ["N", "H"]
    for name in names:
        Depot.objects.create(depot=name)

    @use_case
    def rename(first: str, second: str) -> None:
        Depot.objects.select_for_update().get(depot=first)
        with suppress(BrokenBarrierError):
            meeting.wait(0.3)
        for name in (first, second):
            depot = Depot.objects.select_for_update().get(depot=name)
            depot.version += 1
            depot.save()

    def run(first: str, second: str) -> None:
        rename(first, second)
        connection.close()

    threads = [Thread(target=run, args=(names[at], names[1 - at])) for at in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(Depot.objects.values_list("depot", "version")) == [("H", 3), ("N", 3)]


def at_once(calls: Sequence[Callable[[], Action]]) -> list[Action | Refusal]:
    """What each call gives when all are made at the same moment by threads of their own."""
    start = Barrier(len(calls))

    def run(call: Callable[[], Action]) -> Action | Refusal:
        start.wait(30)
        try:
            return call()
        except Refusal as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(len(calls)) as pool:
        return [*pool.map(run, calls)]


def test_the_same_action_sent_at_the_same_moment_is_booked_once() -> None:
    warehouse = Warehouse()
    once = warehouse.stamp(action="R-1")
    arrivals = [Arrival(stock_code="BI15", place=warehouse.place("N/bin"), count=4000, lot="L-1")]
    done = at_once([lambda: receive(depot=warehouse.north, arrivals=arrivals, **once)] * 4)
    assert {one.pk for one in done if isinstance(one, Action)} == {Action.objects.get().pk}
    assert Balance.objects.get().quantity == 4000
    assert_books_are_whole()


def test_an_action_is_reversed_by_one_of_those_who_want_to() -> None:
    warehouse = Warehouse()
    warehouse.receive(4, action="R-1")
    stamps = [warehouse.stamp() for _ in range(4)]
    done = at_once([partial(reverse, reversed_action="R-1", why="twice", **stamp) for stamp in stamps])
    refused = [one.code for one in done if isinstance(one, Refusal)]
    assert refused == ["reversed-already"] * 3
    assert_books_are_whole()


def test_new_lots_that_arrive_twice_at_the_same_moment_are_one_lot() -> None:
    warehouse = Warehouse()
    stamps = [warehouse.stamp() for _ in range(4)]
    arrivals = [Arrival(stock_code="BI15", place=warehouse.place("N/bin"), count=1000, lot="L-1")]
    done = at_once([partial(receive, depot=warehouse.north, arrivals=arrivals, **stamp) for stamp in stamps])
    assert all(isinstance(one, Action) for one in done)
    assert (Lot.objects.count(), Balance.objects.get().quantity) == (1, 4000)


@pytest.mark.parametrize(("message", "tries"), [("database is locked", ATTEMPTS), ("disk full", 1)])
def test_what_others_do_not_cause_is_not_tried_again(message: str, tries: int) -> None:
    tried: list[str] = []

    def fail() -> None:
        tried.append(message)
        raise OperationalError(message)

    with pytest.raises(OperationalError, match=message):
        use_case(fail)()
    assert len(tried) == tries
