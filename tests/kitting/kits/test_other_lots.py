"""A piece whose lot is not in its bag is noted with where it came from; the books move what really moved."""

import pytest
from bag_stores import CREW, Stores, demo_sheets, planned
from module_books import books_of_module
from people import BUYER
from refusals import refusal

from inventory.models import Balance, Item, Lot, LotHold, Place
from kitting.models import BagEntry, Event, Promise
from kitting.selectors.bag_contents import accounts
from kitting.selectors.lot_origins import lot_origins
from kitting.services.other_lots import bring_in
from kitting.services.return_bags import Installed, install, turn_in

pytestmark = pytest.mark.django_db


def issued() -> None:
    """J03's bags for V1 and V2 are out with the crew."""
    planned()
    made = Stores(prefix="before")
    made.out("J03", "V1", "V2")


books = books_of_module(demo_sheets, issued)


@pytest.fixture
def stores() -> Stores:
    return Stores()


def tee_of(stores: Stores, structure: str = "V2") -> tuple[str, Lot]:
    """A line of the bag with tees, and their lot."""
    contents = stores.contents("J03", structure)
    stand = next(one for one in contents.lines if one.line.facts.get("kind") == "tee" and one.open)
    return stand.line.line, contents.lots[next(iter(stand.inside))]


def other(place: Place, item: Item, number: str = "L-OTHER") -> Lot:
    """Pieces of another lot of an item at a place."""
    lot, _ = Lot.objects.get_or_create(item=item, number=number)
    Balance.objects.create(place=place, lot=lot, quantity=5000)
    return lot


def test_from_a_bin_the_lot_that_the_books_took_lies_there_again(stores: Stores) -> None:
    """The wrong lot was picked: one of L-OTHER went out, and one of the lot on the books lies in the bin."""
    line, booked = tee_of(stores)
    bin_ = stores.place("N", "N-77-1")
    lot = other(bin_, booked.item)
    given = {"bag": stores.code("J03", "V2"), "line": line, "stock_code": booked.item.stock_code, "quantity": 1000}
    theirs = Promise.objects.filter(released_at=None, lot__isnull=False).exclude(job__job="J03")[0]
    Promise.objects.filter(pk=theirs.pk).update(item=lot.item, lot=lot, place=bin_, quantity=5000)

    assert "holds no T25 lot L-NONE" in refusal(
        "not-enough", bring_in, **given, lot="L-NONE", source=bin_, **stores.scan(CREW)
    )
    assert "may not" in refusal("not-allowed", bring_in, **given, lot="L-OTHER", source=bin_, **stores.scan(BUYER))
    scan = stores.scan(CREW)
    assert bring_in(**given, lot="L-OTHER", source=bin_, **scan).word == "NOTED"
    assert bring_in(**given, lot="L-OTHER", source=bin_, **scan).repeated

    there = {one.lot_id: one.quantity for one in Balance.objects.filter(place=bin_)}
    assert there == {lot.pk: 4000, booked.pk: 1000}
    (left,) = Promise.objects.filter(lot=lot, released_at=None)
    assert (left.line, left.quantity) == (theirs.line, 4000)
    assert Event.objects.filter(name="promised pieces gone").latest("number").data["lost"] == [
        {"job": theirs.job.job, "line": theirs.line, "pieces": "1"}
    ]
    sums = accounts(stores.contents("J03", "V2"))
    assert sums["T25", "L-OTHER"]["open"] == 1000
    piece = Installed(line=line, stock_code="T25", lot="L-OTHER", quantity=1000, phase="A")
    install(bag=given["bag"], pieces=[piece], **stores.scan(CREW))
    assert accounts(stores.contents("J03", "V2"))["T25", "L-OTHER"]["open"] == 0


def test_from_another_bag_that_is_out_its_account_is_less_by_it(stores: Stores) -> None:
    line, booked = tee_of(stores, "V1")
    before = accounts(stores.contents("J03", "V2"))[booked.item.stock_code, booked.number]["issued"]
    other_bag = stores.bag("J03", "V2")
    given = {"bag": stores.code("J03", "V1"), "line": line, "stock_code": "T25", "lot": booked.number}

    assert "BJ1 is" in refusal(
        "wrong-source", bring_in, **given, quantity=1000, source=_listed(stores, booked), **stores.scan(CREW)
    )
    bring_in(**given, quantity=1000, source=other_bag.place, **stores.scan(CREW))

    after = accounts(stores.contents("J03", "V2"))[booked.item.stock_code, booked.number]
    assert (after["issued"], after["open"]) == (before - 1000, before - 1000)
    left = BagEntry.objects.filter(line__bag=other_bag, deed="put back").get()
    assert left.facts == {"to": "J03 V1"}


def _listed(stores: Stores, lot: Lot) -> Place:
    """A bag that never went out, with a piece that should not be there."""
    place = stores.bag("J03", "BJ1").place
    Balance.objects.create(place=place, lot=lot, quantity=1000)
    return place


def test_from_a_truck_it_leaves_the_truck_and_a_held_lot_comes_from_nowhere(stores: Stores) -> None:
    line, booked = tee_of(stores)
    truck = stores.place("N", "14x", "truck")
    lot = other(truck, booked.item)
    given = {"bag": stores.code("J03", "V2"), "line": line, "stock_code": "T25", "lot": "L-OTHER", "quantity": 1000}
    hold = LotHold.objects.create(
        item=lot.item, lot_number="L-OTHER", reason="recall", placed_by="Ana", placed_at=stores.at
    )
    assert "is stopped by hold" in refusal("on-hold", bring_in, **given, source=truck, **stores.scan(CREW))
    LotHold.objects.filter(pk=hold.pk).update(released_at=stores.at, released_by="Ana", release_reason="read")
    bring_in(**given, source=truck, **stores.scan(CREW))
    assert Balance.objects.get(place=truck, lot=lot).quantity == 4000


def test_where_nobody_knows_it_is_found_and_the_stores_hear_of_it(stores: Stores) -> None:
    line, booked = tee_of(stores)
    given = {"bag": stores.code("J03", "V2"), "line": line, "stock_code": "T25", "lot": "L-NEW", "quantity": 1000}

    assert "L-NEW" in refusal("to-confirm", bring_in, **given, source=None, **stores.scan(CREW))
    bring_in(**given, source=None, confirmed=["new-lot/1"], **stores.scan(CREW))
    bin_ = stores.place("N", "N-77-1")
    turned = {"condition": "sealed", "door": "stock", "place": bin_}
    turn_in(bag=given["bag"], stock_code="T25", lot="L-NEW", quantity=1000, **turned, **stores.scan(CREW))

    assert Balance.objects.get(place=bin_, lot__number="L-NEW").quantity == 1000
    assert Event.objects.get(name="other lot in bag").addressed_to == "storekeeper"
    assert booked.number not in {one.lot.number for one in Balance.objects.filter(place=bin_)}


def test_a_bag_in_store_and_a_stock_code_that_it_never_held_are_refused(stores: Stores) -> None:
    given = {"stock_code": "T25", "lot": "L-OTHER", "quantity": 1000, "source": None}
    assert "nothing of it is with a crew" in refusal(
        "not-out", bring_in, bag=stores.code("J03", "BJ1"), line="", **given, **stores.scan(CREW)
    )
    other_item = {**given, "stock_code": "EL15-1"}
    assert "hand it in with the bag that it belongs to" in refusal(
        "unknown-line", bring_in, bag=stores.code("J03", "V2"), line="", **other_item, confirmed=["new-lot/1"],
        **stores.scan(CREW),
    )  # fmt: skip


def test_the_places_where_the_lot_is_are_named_bags_with_crews_first(stores: Stores) -> None:
    _, booked = tee_of(stores)
    lot = other(stores.place("N", "N-77-1"), booked.item, booked.number + "-B")
    other(stores.place("N", "14x", "truck"), booked.item, lot.number)
    assert [words for _, words in lot_origins(stores.bag("J03", "V2"), booked.item, lot.number)] == [
        "truck 14x: 5 of it", "picked at N-77-1 in the place of the lot that the books took: 5 of it there",
    ]  # fmt: skip
    (first, *_) = lot_origins(stores.bag("J03", "V1"), booked.item, booked.number)
    assert first[1].startswith("bag J03 V2, with Crew 14: ")
