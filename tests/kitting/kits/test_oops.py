"""What a crew says of a piece by one tap, and what the use of spares says of the policy."""

import pytest
from bag_stores import CREW, STORES, Stores, demo_sheets, planned
from module_books import books_of_module
from people import BUYER
from refusals import refusal

from inventory.models import Lot, Movement
from kitting.models import BagEntry, Event
from kitting.selectors.bag_contents import accounts
from kitting.selectors.spare_use import SpareUse, spare_use
from kitting.services.issue_bags import hand_back
from kitting.services.oops import OOPS, oops
from kitting.services.return_bags import close
from kitting.services.undo_scans import undo

pytestmark = pytest.mark.django_db


def issued() -> None:
    """J03's bag for V1 is out with the crew."""
    planned()
    made = Stores(prefix="before")
    made.out("J03", "V1")


books = books_of_module(demo_sheets, issued)


@pytest.fixture
def stores() -> Stores:
    return Stores()


def lug(stores: Stores) -> Lot:
    return next(lot for lot in stores.contents("J03", "V1").lots.values() if lot.item.stock_code == "LUG-750C")


def test_dropped_and_missing_are_lost_damaged_is_scrapped_and_the_rest_comes_back(stores: Stores) -> None:
    """Trap T20: the lug in the sump is dropped; a spare takes its place."""
    code, lot = stores.code("J03", "V1"), lug(stores)
    piece = {"bag": code, "stock_code": "LUG-750C", "lot": lot.number, "quantity": 1000}
    assert "not eaten" in refusal("unknown-oops", oops, **piece, what="eaten", **stores.scan(CREW))
    assert "may not" in refusal("not-allowed", oops, **piece, what="wrong", **stores.scan(BUYER))
    assert "holds 4 LUG-750C" in refusal(
        "not-in-bag", oops, **{**piece, "quantity": 9000}, what="wrong", **stores.scan(CREW)
    )
    answers = [oops(**piece, what=what, note="by lamp", **stores.scan(CREW)).sentence for what in OOPS]

    sums = accounts(stores.contents("J03", "V1"))["LUG-750C", lot.number]
    assert (sums["lost"], sums["scrapped"], sums["open"]) == (2000, 1000, 1000)
    assert answers[2] == "1 LUG-750C of J03 V1 is wrong: it comes back with the bag."
    told = [*Event.objects.filter(name__startswith="piece").order_by("number").values_list("addressed_to", flat=True)]
    assert told == ["storekeeper", "storekeeper", "standards engineer", "storekeeper", "storekeeper"]


def test_what_is_taken_back_is_in_the_bag_again_and_the_lot_still_adds_up(stores: Stores) -> None:
    code, lot = stores.code("J03", "V1"), lug(stores)
    piece = {"bag": code, "stock_code": "LUG-750C", "lot": lot.number, "quantity": 1000}
    before = accounts(stores.contents("J03", "V1"))
    oops(**piece, what="dropped", **stores.scan(CREW, action="slip"))
    assert "it moved no piece" in refusal("cannot-undo", undo, bag=code, undone_action="no-such", **stores.scan(CREW))

    other = {"bag": stores.code("J03", "BJ1"), "undone_action": "slip"}
    assert "J03 BJ1" in refusal("cannot-undo", undo, **other, **stores.scan(CREW))
    assert not Movement.objects.filter(reverses__action__number="slip").exists()

    assert undo(bag=code, undone_action="slip", **stores.scan(CREW)).word == "TAKEN BACK"
    assert undo(bag=code, undone_action="slip", **stores.scan(CREW)).repeated

    assert accounts(stores.contents("J03", "V1")) == before
    (back,) = Movement.objects.filter(reverses__action__number="slip")
    assert (back.origin, back.quantity) == ("lost", 1000)
    assert [*BagEntry.objects.order_by("-pk")[:2].values_list("deed", flat=True)] == ["not lost", "lost"]
    oops(**piece, what="dropped", **stores.scan(CREW, action="late"))
    close(bag=code, exception="the crew keeps the rest", **stores.scan(STORES))
    told = refusal("not-in-this-state", undo, bag=code, undone_action="late", **stores.scan(CREW))
    assert told == "J03 V1: can't undo, it is closed."


def test_spares_that_are_used_change_the_advice_after_ten_outages_and_a_slip_does_not_count(stores: Stores) -> None:
    """U7: under ten outages there is no advice."""
    code, lot = stores.code("J03", "V1"), lug(stores)
    piece = {"bag": code, "stock_code": "LUG-750C", "lot": lot.number, "quantity": 1000}
    kind = lot.item.kind

    def of_lugs() -> SpareUse:
        return next(one for one in spare_use() if one.kind == kind)

    assert of_lugs().used == 0
    oops(**piece, what="dropped", **stores.scan(CREW, action="slip"))
    assert (of_lugs().used, of_lugs().outages, of_lugs().advice) == (1000, 1, "under 10 outages: no advice yet")
    undo(bag=code, undone_action="slip", **stores.scan(CREW))
    assert of_lugs().used == 0
    assert SpareUse(kind, 10, 10_000, 5_000).advice == "take one more of it to an outage"
    assert SpareUse(kind, 10, 10_000, 4_000).advice == "keep as it is"
    assert SpareUse(kind, 40, 40_000, 1_000).advice == "fewer would do"
    assert SpareUse(kind, 9, 9_000, 9_000).advice == "under 10 outages: no advice yet"


def test_a_bag_that_is_handed_back_unopened_was_no_outage_for_its_spares(stores: Stores) -> None:
    assert spare_use()
    hand_back(bag=stores.code("J03", "V1"), why="rain", **stores.scan())
    assert spare_use() == []
