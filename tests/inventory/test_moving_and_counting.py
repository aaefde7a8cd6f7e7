"""Pieces are carried, counted and used up within a depot; what must not go anywhere stays."""

from datetime import date, timedelta

import pytest
from warehouse import MONDAY, Warehouse, assert_books_are_whole, pieces

from inventory.errors import Doubt, Refusal
from inventory.models import HOLD, INSTALLED, LOST, SCRAPPED, Balance, Item
from inventory.selectors.balances import DATE_MISSING, EXPIRED, look_ahead, lying
from inventory.selectors.counting import book_at, happened, moved_since
from inventory.selectors.trace import consumed
from inventory.services.adjusting import Count, adjust
from inventory.services.holding import place_hold, release_hold
from inventory.services.reversing import reverse


def count_of(warehouse: Warehouse, counted: float, place: str = "N/bin", code: str = "CS15-6") -> Count:
    return Count(stock_code=code, place=warehouse.place(place), counted=pieces(counted), lot="L-1")


def test_more_than_is_there_is_refused_and_says_who_took_the_last(warehouse: Warehouse) -> None:
    warehouse.receive(4)
    lot = warehouse.lot("L-1")
    warehouse.move(3, lot, "N/bin", "N/bag", by="Bo")
    with pytest.raises(
        Refusal, match=r"2 ea of BI15 lot L-1 asked for at N/bin, 1 ea there; .* to N/bag with Bo"
    ) as told:
        warehouse.move(2, lot, "N/bin", "N/truck 14")
    assert told.value.code == "not-enough"
    assert [warehouse.holds(f"N/{place}", lot) for place in ("bin", "bag", "truck 14")] == [1000, 3000, 0]


def test_what_is_counted_by_the_piece_never_goes_in_parts_and_a_length_does(warehouse: Warehouse) -> None:
    warehouse.receive(4)
    lot = warehouse.lot("L-1")
    with pytest.raises(Refusal, match=r"BI15 is counted by the piece, so 1.5 can't be"):
        warehouse.move(1.5, lot, "N/bin", "N/bag")
    with pytest.raises(Refusal, match="counted by the piece"):
        warehouse.receive(2.5)
    with pytest.raises(Refusal, match="counted by the piece"):
        adjust(counts=[count_of(warehouse, 3.5, code="BI15")], why="counted", **warehouse.stamp())
    assert warehouse.holds("N/bin", lot) == 4000

    Balance.objects.filter(lot=lot).update(quantity=2500)  # as from a sheet: a count puts it right
    adjust(counts=[count_of(warehouse, 2, code="BI15")], why="counted", **warehouse.stamp())
    Item.objects.filter(stock_code="BI15").update(stock_unit="ft")
    warehouse.move(1.5, warehouse.lot("L-1"), "N/bin", "N/bag")
    assert warehouse.holds("N/bin", lot) == 500


def test_pieces_go_to_another_place_than_where_they_are_and_to_another_depot_only_by_a_transfer(
    warehouse: Warehouse,
) -> None:
    warehouse.receive(4)
    with pytest.raises(Refusal, match="are at N/bin already: name another place"):
        warehouse.move(1, warehouse.lot("L-1"), "N/bin", "N/bin")
    with pytest.raises(Refusal, match="make a transfer"):
        warehouse.move(1, warehouse.lot("L-1"), "N/bin", "H/bin")


def test_a_count_off_by_the_kit_points_to_the_receipt(warehouse: Warehouse) -> None:
    """Trap T06: 12 on the shelf, 4 on the books since receipt R-0212; the receipt is put right, not the count."""
    booked = warehouse.receive(4, item=warehouse.splice, paper="R-0212")
    with pytest.raises(Doubt, match=r"12 ea counted, 4 ea on the books, exactly one kit of 3 ea: .* receipt R-0212"):
        adjust(counts=[count_of(warehouse, 12)], why="count", **warehouse.stamp())
    reverse(reversed_action=booked.number, why="kits, not each", **warehouse.stamp())
    warehouse.receive(4, item=warehouse.splice, unit="kit", paper="R-0212")
    adjust(counts=[count_of(warehouse, 12)], why="count", **warehouse.stamp())
    balance = Balance.objects.get()
    assert (balance.quantity, balance.counted_on) == (pieces(12), date(2026, 3, 2))
    assert_books_are_whole()


def test_a_count_that_differs_is_found_or_lost_with_a_reason(warehouse: Warehouse) -> None:
    warehouse.receive(7, item=warehouse.splice)
    lot = warehouse.lot("L-1", warehouse.splice)
    with pytest.raises(Refusal, match="how the difference is explained"):
        adjust(counts=[count_of(warehouse, 5)], why=" ", **warehouse.stamp())
    adjust(counts=[count_of(warehouse, 5), count_of(warehouse, 1, "N/other bin")], why="put away", **warehouse.stamp())
    assert (warehouse.holds("N/bin", lot), warehouse.holds("N/other bin", lot)) == (5000, 1000)
    typed = Count(stock_code="CS15-6", place=warehouse.place("N/bin"), counted=1000, lot="L-l")
    with pytest.raises(Doubt, match="has no lot L-l on the books; did you mean L-1"):
        adjust(counts=[typed], why="found", **warehouse.stamp())
    adjust(counts=[typed], why="found", confirmed=["new-lot/1"], **warehouse.stamp())
    with pytest.raises(Refusal, match="counted twice"):
        adjust(counts=[count_of(warehouse, 5), count_of(warehouse, 5)], why="twice", **warehouse.stamp())
    assert_books_are_whole()


def test_staged_pieces_are_counted_in_their_bag_and_not_missed_on_the_shelf(warehouse: Warehouse) -> None:
    """Trap T34: 12 on the books, 6 of them in the bag; the shelf count of 6 is no difference."""
    warehouse.receive(12)
    warehouse.move(6, warehouse.lot("L-1"), "N/bin", "N/bag")
    done = adjust(counts=[count_of(warehouse, 6, code="BI15")], why="count", **warehouse.stamp())
    assert done.movements.count() == 0
    assert lying(place__code="bin", place__depot=warehouse.north)[0].counted_on == date(2026, 3, 2)


def test_truck_stock_is_shown_as_a_place_of_its_own(warehouse: Warehouse) -> None:
    """Trap T32: two inserts on truck 14 are on the books, at a place that is no shelf."""
    warehouse.receive(5)
    warehouse.move(2, warehouse.lot("L-1"), "N/bin", "N/truck 14")
    found = [(one.place, one.place_kind, one.quantity) for one in lying()]
    assert found == [("bin", "bin", 3000), ("truck 14", "truck", 2000)]


def test_the_suppliers_pieces_stay_his_until_they_are_used(warehouse: Warehouse) -> None:
    """Trap T33: of 20, 7 are issued, 1 comes back, 6 are consumed, 14 are left."""
    warehouse.receive(20, to="N/theirs")
    lot = warehouse.lot("L-1")
    warehouse.move(7, lot, "N/theirs", "N/bag")
    warehouse.end(6, lot, "N/bag", INSTALLED)
    with pytest.raises(Refusal, match="belongs to the supplier: it can't lie at N/bin"):
        warehouse.move(1, lot, "N/bag", "N/bin")
    warehouse.move(1, lot, "N/bag", "N/theirs")
    assert (consumed(item=warehouse.insert), warehouse.holds("N/theirs", lot)) == (pieces(6), pieces(14))
    warehouse.receive(1, "L-2")
    with pytest.raises(Refusal, match="is ours"):
        warehouse.move(1, warehouse.lot("L-2"), "N/bin", "N/theirs")


def test_a_hold_stops_every_piece_of_its_lot_wherever_it_lies(warehouse: Warehouse) -> None:
    warehouse.receive(6, "L-9")
    warehouse.receive(2, "L-9", to="H/bin")
    warehouse.receive(2, "L-9", to="N/theirs")
    lots = warehouse.insert.lots.order_by("supplier_owned")
    warehouse.move(1, lots[0], "N/bin", "N/bag")
    with pytest.raises(Refusal, match="There is no stock code BI51; did you mean BI15"):
        place_hold(stock_code="BI51", lot="L-9", reason="recall", **warehouse.stamp())
    with pytest.raises(Refusal, match="no lot L-8; did you mean L-9"):
        place_hold(stock_code="BI15", lot="L-8", reason="recall", **warehouse.stamp())
    place_hold(stock_code="BI15", lot="L-9", reason="recall 7", **warehouse.stamp())
    (hold,) = {one.hold for one in lying()}
    for lot, source, target in (
        (lots[0], "N/bin", "N/bag"),
        (lots[0], "H/bin", "H/rack"),
        (lots[1], "N/theirs", "N/bag"),
    ):
        with pytest.raises(Refusal, match=f"stopped by hold {hold} since 2026-03-02: recall 7"):
            warehouse.move(1, lot, source, target)
    warehouse.receive(1, "L-9")
    with pytest.raises(Refusal, match="stopped by hold"):
        warehouse.receive(1, "L-9", to="N/bag")
    with pytest.raises(Refusal, match="stopped by hold"):
        warehouse.end(1, lots[0], "N/bag", INSTALLED)
    warehouse.move(1, lots[0], "N/bag", "N/quarantine")
    release_hold(hold=hold or 0, reason="maker cleared it", **warehouse.stamp())
    warehouse.move(1, lots[0], "N/bin", "N/bag")
    assert {one.hold for one in lying()} == {None}
    with pytest.raises(Refusal, match="no open hold"):
        release_hold(hold=hold or 0, reason="again", **warehouse.stamp())


def test_pieces_set_aside_stop_nothing_else_and_come_back_with_a_reason(warehouse: Warehouse) -> None:
    warehouse.receive(6)
    lot = warehouse.lot("L-1")
    warehouse.move(2, lot, "N/bin", "N/quarantine")
    warehouse.move(1, lot, "N/bin", "N/bag")
    with pytest.raises(Refusal, match="set aside"):
        warehouse.move(1, lot, "N/quarantine", "N/bag", "needed")
    with pytest.raises(Refusal, match=r"leave N/quarantine \(hold\) only with a reason"):
        warehouse.move(1, lot, "N/quarantine", "N/bin")
    warehouse.move(1, lot, "N/quarantine", "N/bin", "seal is whole")
    with pytest.raises(Refusal, match="Pieces of an unknown lot are set aside"):
        place_hold(stock_code="BI15", lot="?", reason="recall", **warehouse.stamp())
    assert [one.place_kind for one in lying(quantity=1000, place__kind=HOLD)] == [HOLD]


def test_the_reserve_is_opened_only_with_a_reason(warehouse: Warehouse) -> None:
    warehouse.receive(3)
    lot = warehouse.lot("L-1")
    warehouse.move(3, lot, "N/bin", "N/reserve")
    with pytest.raises(Refusal, match="only with a reason"):
        warehouse.move(1, lot, "N/reserve", "N/bag")
    warehouse.move(1, lot, "N/reserve", "N/bag", "dig-in, supervisor Cole")


def test_pieces_end_once_and_scrapped_or_lost_ones_with_a_reason(warehouse: Warehouse) -> None:
    warehouse.receive(4)
    lot = warehouse.lot("L-1")
    for ending in (SCRAPPED, LOST):
        with pytest.raises(Refusal, match=f"Say why pieces of BI15 lot L-1 are {ending}"):
            warehouse.end(1, lot, "N/bin", ending)
    with pytest.raises(Refusal, match="not eaten"):
        warehouse.end(1, lot, "N/bin", "eaten")
    warehouse.end(1, lot, "N/bin", SCRAPPED, "cut")
    assert warehouse.holds("N/bin", lot) == pieces(3)


def test_an_action_is_undone_by_its_movements_the_other_way_round(warehouse: Warehouse) -> None:
    warehouse.receive(4)
    lot = warehouse.lot("L-1")
    moved = warehouse.move(3, lot, "N/bin", "N/bag")
    installed = warehouse.end(2, lot, "N/bag", INSTALLED)
    with pytest.raises(Refusal, match="3 ea of BI15 lot L-1 asked for at N/bag, 1 ea there"):
        reverse(reversed_action=moved.number, why="wrong bag", **warehouse.stamp())
    undone = reverse(reversed_action=installed.number, why="not used", **warehouse.stamp())
    reverse(reversed_action=moved.number, why="wrong bag", **warehouse.stamp())
    assert (warehouse.holds("N/bin", lot), warehouse.holds("N/bag", lot)) == (pieces(4), 0)
    for number, words in (
        (moved.number, "was reversed by Ana"),
        (undone.number, "is a reversal"),
        ("none", "has moved"),
    ):
        with pytest.raises(Refusal, match=words):
            reverse(reversed_action=number, why="again", **warehouse.stamp())
    assert_books_are_whole()


def test_the_look_ahead_lists_what_expires_and_what_has_no_date(warehouse: Warehouse) -> None:
    """On 2 March: a lot good to 31 March is within 30 days, a dated item without a date is listed as such."""
    for lot, use_by in (
        ("L-A", date(2026, 3, 31)),
        ("L-B", date(2026, 4, 1)),
        ("L-C", date(2026, 5, 31)),
        ("L-D", date(2026, 6, 1)),
        ("L-E", date(2026, 3, 1)),
        ("L-F", None),
    ):
        warehouse.receive(1, lot, item=warehouse.splice, use_by=use_by)
    warehouse.receive(1, "L-X")
    found = [(one.lying.lot, one.within) for one in look_ahead(today=date(2026, 3, 2))]
    assert found == [
        ("L-E", EXPIRED), ("L-A", "30 days"), ("L-B", "30 days"), ("L-C", "90 days"), ("L-F", DATE_MISSING),
    ]  # fmt: skip


def test_the_books_of_a_moment_know_late_papers_and_reversals_but_not_what_moved_after(warehouse: Warehouse) -> None:
    """A count is compared with the books as they are to be at its moment, whenever they heard of it."""
    warehouse.receive(12)
    lot, early = warehouse.lot("L-1"), warehouse.stamp()["at"]
    wrong = warehouse.move(3, lot, "N/bin", "N/bag")
    moment = warehouse.stamp()["at"]
    key = (warehouse.place("N/bin").pk, lot.pk)
    warehouse.move(2, lot, "N/bin", "N/truck 14")
    assert book_at(key, moment) == pieces(9)
    reverse(reversed_action=wrong.number, why="never picked", **warehouse.stamp())
    assert book_at(key, moment) == pieces(12)
    warehouse.move(1, lot, "N/bin", "N/truck 14", device_at=early)
    assert book_at(key, moment) == pieces(11)
    later = warehouse.move(4, lot, "N/bin", "N/truck 14")
    reverse(reversed_action=later.number, why="put back", **warehouse.stamp())
    warehouse.move(1, lot, "N/truck 14", "N/bin", device_at=MONDAY + timedelta(days=9))
    assert book_at(key, moment) == pieces(11)
    assert book_at((warehouse.place("N/other bin").pk, lot.pk), moment) == 0
    assert (moved_since({}), happened(moment, moment + timedelta(days=9))) == ({}, moment)
