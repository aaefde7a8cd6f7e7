"""A lot's pieces are never lost from sight: on the road, at two depots, at any past moment."""

from datetime import timedelta

import pytest
from warehouse import MONDAY, Warehouse, assert_books_are_whole, pieces, shares

from inventory.errors import Doubt, Refusal
from inventory.models import INSTALLED, SCRAPPED, Action, Lot, Transfer
from inventory.selectors.balances import lying, on_the_road, open_differences
from inventory.selectors.trace import trace
from inventory.services.holding import place_hold
from inventory.services.reversing import reverse
from inventory.services.transferring import (
    ARRIVED,
    FOUND_THERE,
    LOST_ON_THE_ROAD,
    SENT_TOO,
    STAYED,
    Load,
    Unload,
    receive_transfer,
    send_transfer,
    settle_difference,
)


def send(warehouse: Warehouse, lot: Lot, quantity: float, number: str = "T-1", **given: object) -> Action:
    load = Load(lot=lot, quantity=pieces(quantity), source=warehouse.place("N/bin"))
    return send_transfer(transfer=number, to_depot=warehouse.hill, loads=[load], **warehouse.stamp(**given))


def unload(warehouse: Warehouse, lot: Lot, counted: float, number: str = "T-1", **given: object) -> Action:
    one = Unload(lot=lot, counted=pieces(counted), target=warehouse.place("H/bin"))
    return receive_transfer(transfer=number, unloads=[one], **warehouse.stamp(**given))


@pytest.fixture
def lot(warehouse: Warehouse) -> Lot:
    warehouse.receive(10)
    return warehouse.lot("L-1")


def test_pieces_on_the_road_lie_in_a_van_of_the_receiver(warehouse: Warehouse, lot: Lot) -> None:
    send(warehouse, lot, 6)
    assert shares(trace(item=warehouse.insert, number="L-1").places) == {"H/T-1": 6000, "N/bin": 4000}
    assert [one.place_kind for one in lying(place__code="T-1")] == ["van"]
    assert [*map(str, on_the_road(warehouse.north))] == [*map(str, on_the_road(warehouse.hill))] == ["T-1"]
    unload(warehouse, lot, 6)
    assert shares(trace(item=warehouse.insert, number="L-1").places) == {"H/bin": 6000, "N/bin": 4000}
    assert on_the_road(warehouse.hill) == open_differences(warehouse.hill) == []
    with pytest.raises(Refusal, match="received by Ana"):
        unload(warehouse, lot, 6)
    assert_books_are_whole()


def test_a_bags_pieces_go_to_another_depot_only_with_their_bag(warehouse: Warehouse, lot: Lot) -> None:
    warehouse.move(2, lot, "N/bin", "N/bag")
    load = Load(lot=lot, quantity=1000, source=warehouse.place("N/bag"))
    with pytest.raises(Refusal, match="N/bag is a bag: send it whole by scan") as told:
        send_transfer(transfer="T-1", to_depot=warehouse.hill, loads=[load], **warehouse.stamp())
    assert told.value.code == "goes-whole"
    assert on_the_road(warehouse.hill) == []


def test_what_is_on_the_road_is_touched_only_by_its_transfer(warehouse: Warehouse, lot: Lot) -> None:
    sent = send(warehouse, lot, 6)
    van = Load(lot=lot, quantity=1000, source=on_the_road(warehouse.hill)[0].place)
    warehouse._places[("H", "van")] = van.source
    for touch in (lambda: warehouse.move(1, lot, "H/van", "H/bin"), lambda: warehouse.end(1, lot, "H/van", INSTALLED)):
        with pytest.raises(Refusal, match="T-1 is on the road"):
            touch()
    with pytest.raises(Refusal, match="a van or transfer T-1 already"):
        send(warehouse, lot, 1)
    with pytest.raises(Refusal, match=r"Not counted: BI15 lot L-1\. Say 0 where nothing came"):
        receive_transfer(transfer="T-1", unloads=[], **warehouse.stamp())
    reverse(reversed_action=sent.number, why="van broke down", **warehouse.stamp())
    assert (warehouse.holds("N/bin", lot), on_the_road(warehouse.hill)) == (pieces(10), [])


def test_a_van_loaded_by_mistake_is_taken_back_and_is_not_counted_out_any_more(warehouse: Warehouse, lot: Lot) -> None:
    sent = send(warehouse, lot, 6)
    unload(warehouse, lot, 6)
    with pytest.raises(Refusal, match="T-1 was counted out by Ana: that is taken back first"):
        reverse(reversed_action=sent.number, why="wrong van", **warehouse.stamp())
    reverse(reversed_action=Transfer.objects.get().received.number, why="wrong van", **warehouse.stamp())
    reverse(reversed_action=sent.number, why="wrong van", **warehouse.stamp())
    assert warehouse.holds("N/bin", lot) == pieces(10)
    assert Transfer.objects.get().taken_back is not None
    with pytest.raises(Refusal, match="T-1 was taken back by Ana"):
        unload(warehouse, lot, 0)
    assert_books_are_whole()


def test_a_van_counted_out_by_mistake_is_on_the_road_again_with_what_differed_until_that_is_settled(
    warehouse: Warehouse, lot: Lot
) -> None:
    send(warehouse, lot, 6)
    wrong = unload(warehouse, lot, 4)
    assert len(open_differences(warehouse.hill)) == 1
    reverse(reversed_action=wrong.number, why="the box was below", **warehouse.stamp())
    assert (open_differences(warehouse.hill), [*map(str, on_the_road(warehouse.hill))]) == ([], ["T-1"])
    assert shares(trace(item=warehouse.insert, number="L-1").places) == {"H/T-1": 6000, "N/bin": 4000}

    second = unload(warehouse, lot, 5)
    (told,) = open_differences(warehouse.hill)
    settle_difference(difference=told.pk, how=LOST_ON_THE_ROAD, why="gone", **warehouse.stamp())
    with pytest.raises(Refusal, match="the difference is settled, so the count stands: adjust the counts"):
        reverse(reversed_action=second.number, why="again", **warehouse.stamp())
    assert_books_are_whole()


@pytest.mark.parametrize(
    ("how", "target", "places", "lost"),
    [
        (ARRIVED, "H/other bin", {"H/bin": 4000, "H/other bin": 2000, "N/bin": 4000}, 0),
        (STAYED, "N/other bin", {"H/bin": 4000, "N/bin": 4000, "N/other bin": 2000}, 0),
        (LOST_ON_THE_ROAD, None, {"H/bin": 4000, "N/bin": 4000}, 2000),
    ],
)
def test_missing_pieces_stay_on_the_road_until_both_depots_settle_them(
    warehouse: Warehouse, lot: Lot, how: str, target: str | None, places: dict[str, int], lost: int
) -> None:
    send(warehouse, lot, 6)
    unload(warehouse, lot, 4)
    assert shares(trace(item=warehouse.insert, number="L-1").places) == {"H/T-1": 2000, "H/bin": 4000, "N/bin": 4000}
    (told,) = open_differences(warehouse.north)
    assert open_differences(warehouse.hill) == [told]
    assert (told.sent, told.counted) == (6000, 4000)
    with pytest.raises(Refusal, match="doesn't explain that"):
        settle_difference(difference=told.pk, how=FOUND_THERE, why="?", **warehouse.stamp())
    where = {"target": warehouse.place(target)} if target else {}
    settle_difference(difference=told.pk, how=how, why="phoned", **where, **warehouse.stamp())
    found = trace(item=warehouse.insert, number="L-1")
    assert (shares(found.places), found.endings.get("lost", 0), found.gap) == (places, lost, 0)
    assert open_differences(warehouse.north) == open_differences(warehouse.hill) == []
    assert_books_are_whole()


@pytest.mark.parametrize(("how", "left", "received"), [(SENT_TOO, 3000, 10000), (FOUND_THERE, 4000, 11000)])
def test_a_piece_too_many_is_not_booked_until_it_is_explained(
    warehouse: Warehouse, lot: Lot, how: str, left: int, received: int
) -> None:
    send(warehouse, lot, 6)
    unload(warehouse, lot, 7)
    assert warehouse.holds("H/bin", lot) == pieces(6)
    (told,) = open_differences(warehouse.north)
    source = {"source": warehouse.place("N/bin")} if how == SENT_TOO else {}
    settle_difference(
        difference=told.pk, how=how, why="slip says 6", target=warehouse.place("H/bin"), **source, **warehouse.stamp()
    )
    found = trace(item=warehouse.insert, number="L-1")
    assert (shares(found.places), found.received) == ({"H/bin": 7000, "N/bin": left}, received)
    with pytest.raises(Refusal, match="no open difference"):
        settle_difference(difference=told.pk, how=how, why="again", **warehouse.stamp())


def test_held_pieces_stay_and_the_suppliers_travel_with_his_yes(warehouse: Warehouse, lot: Lot) -> None:
    warehouse.receive(3, "L-2", to="N/theirs")
    load = [Load(lot=warehouse.lot("L-2"), quantity=1000, source=warehouse.place("N/theirs"))]
    with pytest.raises(Doubt, match="did he agree that it goes to H"):
        send_transfer(transfer="T-2", to_depot=warehouse.hill, loads=load, **warehouse.stamp())
    send_transfer(transfer="T-2", to_depot=warehouse.hill, loads=load, owner_agrees=True, **warehouse.stamp())
    place_hold(stock_code="BI15", lot="L-1", reason="recall", **warehouse.stamp())
    with pytest.raises(Refusal, match="stopped by hold"):
        send(warehouse, lot, 1)


def test_a_recalled_lot_adds_up_to_what_was_received(warehouse: Warehouse) -> None:
    """Trap T31: 17 installed + 9 in bags + 5 + 3 + 2 + 1 + 2 + 1 scrapped = 40, of which H has 10 by transfer."""
    warehouse.receive(40, "L-2409-17")
    lot = warehouse.lot("L-2409-17")
    send(warehouse, lot, 10)
    unload(warehouse, lot, 10)
    warehouse.end(6, lot, "H/bin", INSTALLED)
    warehouse.end(11, lot, "N/bin", INSTALLED)
    for quantity, source, target in (
        (9, "N/bin", "N/bag"), (2, "N/bin", "N/truck 14"), (2, "N/bin", "N/quarantine"),
        (3, "H/bin", "H/reserve"), (1, "H/bin", "H/truck 14"),
    ):  # fmt: skip
        warehouse.move(quantity, lot, source, target)
    warehouse.end(1, lot, "N/bin", SCRAPPED, "cut")
    before = MONDAY + timedelta(hours=12)
    place_hold(stock_code="BI15", lot="L-2409-17", reason="recall", **warehouse.stamp(at=before + timedelta(minutes=1)))
    found = trace(item=warehouse.insert, number="L-2409-17")
    assert found.endings == {"installed": pieces(17), "scrapped": pieces(1)}
    assert shares(found.places) == {
        "H/reserve": 3000, "H/truck 14": 1000, "N/bag": 9000, "N/bin": 5000, "N/quarantine": 2000, "N/truck 14": 2000,
    }  # fmt: skip
    assert 17 + 9 + 5 + 3 + 2 + 1 + 2 + 1 == found.received // 1000 == 40
    assert (found.gap, [hold.reason for hold in found.holds]) == (0, ["recall"])
    assert trace(item=warehouse.insert, number="L-2409-17", as_of=before).holds == ()
    with pytest.raises(Refusal, match="no lot L-2409-71; did you mean L-2409-17"):
        trace(item=warehouse.insert, number="L-2409-71")


def test_a_lot_is_traced_as_of_any_past_moment(warehouse: Warehouse, lot: Lot) -> None:
    scrapped = warehouse.end(3, lot, "N/bin", SCRAPPED, "cut")
    reverse(reversed_action=scrapped.number, why="other lot", **warehouse.stamp())
    then = trace(item=warehouse.insert, number="L-1", as_of=scrapped.at)
    now = trace(item=warehouse.insert, number="L-1")
    assert (shares(then.places), then.endings, then.gap) == ({"N/bin": 7000}, {"scrapped": 3000}, 0)
    assert (shares(now.places), now.endings, now.gap) == ({"N/bin": 10000}, {}, 0)
    with pytest.raises(Refusal, match="Nothing was booked before"):
        trace(item=warehouse.insert, number="L-1", as_of=MONDAY)
