"""A truck is a place with a list: restocked from the free shelf, turned in from, used for jobs; never free for kits."""

from datetime import timedelta

import pytest
from bag_stores import CREW, MORNING, Stores, demo_sheets, free_lot, planned
from module_books import books_of_module
from people import PLANNER, STORES
from refusals import refusal

from inventory.models import Balance, Item, LotHold, Place
from kitting.documents.restock_slip import NONE_FREE, OFF, TAKE, restock_slip_csv, restock_slip_of
from kitting.models import BagEntry, Event, Promise
from kitting.selectors.nearest import where_is
from kitting.selectors.stock_sums import FREE, ON_TRUCKS, spots, sums
from kitting.selectors.trucks import OnTruck, Truck, restock, trucks
from kitting.services.other_lots import bring_in
from kitting.services.truck_stock import Load, keep_truck_line, load_truck, turn_in_from_truck

pytestmark = pytest.mark.django_db
TODAY = MORNING.date()


def issued() -> None:
    """J03's bag for V2 is out with the crew."""
    planned()
    made = Stores(prefix="before")
    made.out("J03", "V2")


books = books_of_module(demo_sheets, issued)


@pytest.fixture
def stores() -> Stores:
    return Stores()


def truck_14() -> Truck:
    (found,) = trucks(today=TODAY, numbers=[Place.objects.get(code="truck 14", kind="truck").pk])
    return found


def line(code: str) -> OnTruck:
    return next(one for one in truck_14().lines if one.item.stock_code == code)


def kept(stores: Stores, code: str, least: int, most: int, **given: object) -> None:
    keep_truck_line(
        depot="N", truck="truck 14", stock_code=code, minimum=least, maximum=most, **{**stores.scan(CREW), **given}
    )


def test_a_list_has_a_least_and_a_most_and_a_new_truck_is_asked_about(stores: Stores) -> None:
    kept(stores, "BI15", 2000, 4000)
    assert (line("BI15").good, line("BI15").lacking, line("BI15").is_below) == (2000, 2000, False)
    kept(stores, "BI15", 3000, 4000)
    assert line("BI15").is_below
    given = {"depot": "N", "stock_code": "BI15"}
    assert "not below the least" in refusal(
        "least-above-most", keep_truck_line, **given, truck="truck 14", minimum=2000, maximum=1000, **stores.scan(CREW)
    )
    assert "may not" in refusal(
        "not-allowed", keep_truck_line, **given, truck="truck 14", minimum=0, maximum=1000, **stores.scan(PLANNER)
    )
    new = {**given, "truck": "truck 15", "minimum": 1000, "maximum": 1000}
    assert "is it a new one" in refusal("to-confirm", keep_truck_line, **new, **stores.scan(CREW))
    assert keep_truck_line(**new, confirmed=["new-truck/1"], **stores.scan(CREW)).kind == "truck"
    kept(stores, "BI15", 0, 0)
    assert line("BI15").level is None
    assert Event.objects.filter(name="truck list kept").count() == 4


def test_restocking_takes_only_free_pieces_and_one_press_books_them_once(stores: Stores) -> None:
    shelf, free = free_lot()
    code, before = shelf.lot.item.stock_code, shelf.quantity
    kept(stores, code, 1000, free + 1000)
    needed = restock(truck_14(), TODAY)
    assert sum(one.quantity for one in needed.takes) == free
    assert [(item.stock_code, pieces) for item, pieces in needed.lacking] == [(code, 1000)]

    loads = [Load(one.balance.pk, one.quantity) for one in needed.takes]
    number = truck_14().place.pk
    assert "may not" in refusal("not-allowed", load_truck, truck=number, loads=loads, **stores.scan(CREW))
    scan = stores.scan()
    assert load_truck(truck=number, loads=loads, **scan) == load_truck(truck=number, loads=loads, **scan)
    assert (line(code).good, line(code).lacking) == (free, 1000)
    assert Balance.objects.get(pk=shelf.pk).quantity == before - free
    assert not restock(truck_14(), TODAY).takes
    assert line(code).aboard[0].seen == TODAY, "whoever loads it sees it"


def test_promised_held_and_expired_pieces_go_on_no_truck_and_more_than_listed_is_asked(stores: Stores) -> None:
    promise = Promise.objects.filter(place__depot__depot="N", place__kind="bin", released_at=None, lot__isnull=False)[0]
    shelf = Balance.objects.get(place=promise.place_id, lot=promise.lot_id)
    number = truck_14().place.pk
    asked = {"truck": number, "loads": [Load(shelf.pk, shelf.quantity)]}
    assert "are promised to jobs" in refusal("promised", load_truck, **asked, **stores.scan())

    free, _ = free_lot()
    asked = {"truck": number, "loads": [Load(free.pk, 1000)]}
    assert "none of it" in refusal("to-confirm", load_truck, **asked, **stores.scan())
    hold = LotHold.objects.create(
        item=free.lot.item, lot_number=free.lot.number, reason="recall", placed_by="Ana", placed_at=stores.at
    )
    given = {**asked, "confirmed": ["beside-the-list/1"]}
    assert "is stopped by hold" in refusal("on-hold", load_truck, **given, **stores.scan())
    hold.delete()
    type(free.lot).objects.filter(pk=free.lot_id).update(use_by=TODAY - timedelta(1))
    assert "goes on no truck" in refusal("out-of-date", load_truck, **given, **stores.scan())
    elsewhere, _ = free_lot("H")
    asked = {"truck": number, "loads": [Load(elsewhere.pk, 1000)]}
    assert "bins of depot N" in refusal("not-on-shelf", load_truck, **asked, **stores.scan())


def test_turning_in_keeps_the_sum_and_more_than_the_truck_holds_is_to_be_counted(stores: Stores) -> None:
    aboard = next(one.balance for one in line("BI15").aboard)
    bin_, hold = stores.place("N", "N-02-1"), stores.place("N", "N turn-in shelf", "hold")
    given = {"truck": aboard.place_id, "balance": aboard.pk, "condition": "sealed", "to": bin_}

    def total() -> int:
        return sum(Balance.objects.filter(lot=aboard.lot_id).values_list("quantity", flat=True))

    before = total()
    assert "Count the truck first" in refusal(
        "more-than-there", turn_in_from_truck, **given, quantity=3000, **stores.scan(CREW)
    )
    assert "may not" in refusal("not-allowed", turn_in_from_truck, **given, quantity=1000, **stores.scan(PLANNER))
    truck = {**given, "to": aboard.place}
    assert "hold" in refusal("wrong-door", turn_in_from_truck, **truck, quantity=1000, **stores.scan(CREW))
    turn_in_from_truck(**given, quantity=1000, **stores.scan(CREW))
    turn_in_from_truck(**{**given, "to": hold, "condition": "opened"}, quantity=1000, why="hot", **stores.scan(CREW))
    assert "BI15" not in {one.item.stock_code for one in truck_14().lines}
    assert total() == before
    assert Event.objects.filter(name="turned in from truck", addressed_to="storekeeper").count() == 1


def test_what_is_used_of_a_truck_for_a_job_is_issued_to_it_and_the_rest_is_shown_but_not_free(stores: Stores) -> None:
    stand = next(one for one in stores.contents("J03", "V2").lines if one.open and one.line.item)
    item, truck = stand.line.item, truck_14().place
    lot = stores.contents("J03", "V2").lots[next(iter(stand.inside))]
    Balance.objects.create(place=truck, lot=lot, quantity=2000)
    bring_in(
        bag=stores.code("J03", "V2"), line=stand.line.line, stock_code=item.stock_code, lot=lot.number, quantity=1000,
        source=truck, **stores.scan(CREW),
    )  # fmt: skip
    entry = BagEntry.objects.filter(line=stand.line, deed="issued").latest("pk")
    assert (entry.quantity, line(item.stock_code).good) == (1000, 1000)
    shares = sums(spots([item], today=TODAY))[item.stock_code, "N"]
    assert shares[ON_TRUCKS] == 1000
    free = shares[FREE]
    Balance.objects.filter(place=truck, lot=lot).update(quantity=9000)
    assert sums(spots([item], today=TODAY))[item.stock_code, "N"][FREE] == free


def test_what_nobody_has_seen_for_a_week_is_old_and_the_finder_says_the_same() -> None:
    aboard = line("BI15").aboard[0].balance
    for days, old in ((7, False), (8, True)):
        Balance.objects.filter(pk=aboard.pk).update(counted_on=TODAY - timedelta(days))
        assert [one.balance.pk for one in truck_14().unseen(TODAY) if one.balance.pk == aboard.pk] == [aboard.pk] * old
        near = next(one for one in where_is([aboard.lot.item], depot="N", today=TODAY)[aboard.lot.item_id]
                    if one.balance.pk == aboard.pk)  # fmt: skip
        assert near.seen(TODAY) == f"seen {days} days ago{', OLD' if old else ''}"


def test_the_slip_says_what_to_take_what_is_lacking_and_what_comes_off(stores: Stores) -> None:
    shelf, free = free_lot()
    kept(stores, shelf.lot.item.stock_code, 0, free + 1000)
    LotHold.objects.create(
        item=Item.objects.get(stock_code="BI25"), lot_number="L-2409-17", reason="recall", placed_by=STORES.name,
        placed_at=stores.at,
    )  # fmt: skip
    found = truck_14()
    slip = restock_slip_of(found, restock(found, TODAY))
    assert {one.what for one in slip.lines} == {TAKE, NONE_FREE, OFF}
    assert [(one.stock_code, one.why) for one in slip.of(OFF)] == [("BI25", "HELD")]
    assert restock_slip_csv(slip).decode("utf-8-sig").count("truck 14") >= 3
