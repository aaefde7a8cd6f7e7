"""Bags are counted places: the shelf is not missed for them, and a bag that stands elsewhere is found, never lost."""

from datetime import timedelta

import pytest
from bag_stores import MORNING, OTHER_STORES, Stores, demo_sheets, planned
from module_books import books_of_module
from people import STORES
from refusals import refusal

from inventory.models import Balance, Depot, Movement, Place
from inventory.selectors.rebuilding import unequal_balances
from inventory.services.moving import Carry, move
from kitting.models import POSTED, TO_FIND, CountList, Event, KeptScan
from kitting.selectors.count_lists import at_places, propose
from kitting.selectors.counting import bags_to_find, before_adjusting, blind_lines, count_list
from kitting.services.count_places import FIND, NEXT, CountAnswer, add_to_count, enter_count, list_count, recount
from kitting.services.settle_counts import found_bag, post_count

pytestmark = pytest.mark.django_db
TODAY = MORNING.date()


def a_staged_bag() -> None:
    """The demo with J01's A2 staged on rack R-1."""
    made = Stores(prefix="before")
    planned()
    made.bags("J01")
    made.ready("J01", "A2", rack="R-1")


books = books_of_module(demo_sheets, a_staged_bag)


@pytest.fixture
def stores() -> Stores:
    return Stores(at=MORNING + timedelta(hours=2))


def listed(stores: Stores, *codes: str) -> CountList:
    north = Depot.objects.get(depot="N")
    return list_count(depot=north, to_count=at_places(depot=north, codes=codes), **stores.scan())


def counted(stores: Stores, line: int, figure: int) -> CountAnswer:
    return enter_count(count_list=1, line=line, counted=figure, **stores.scan())


def in_the_bag(stores: Stores) -> dict[str, int]:
    return stores.counted("J01", "A2")


def test_pieces_in_a_staged_bag_are_not_missed_on_the_shelf(stores: Stores) -> None:
    """Trap T34: the books of the item have the shelf and the bag; the count of the shelf is no difference."""
    code, inside = next((code, pieces) for code, pieces in in_the_bag(stores).items() if code.startswith("BI15"))
    shelf = Balance.objects.get(lot__item__stock_code=code, place__kind="bin", place__depot__depot="N")
    assert (shelf.quantity, inside) == (12_000 - inside, inside)
    made = listed(stores, shelf.place.code, "R-1")
    assert [(one.place, one.stock_code, bool(one.bag)) for one in blind_lines(made)] == [
        (shelf.place.code, code, False), ("R-1", "", True),
    ]  # fmt: skip
    assert counted(stores, 1, shelf.quantity).word == NEXT
    assert counted(stores, 2, 1000).word == NEXT
    post_count(count_list=1, **stores.scan())
    assert not Movement.objects.filter(action__use_case="post count").exists()
    assert unequal_balances() == []


def test_a_bag_that_is_not_in_its_rack_place_is_to_be_found_and_nothing_is_lost(stores: Stores) -> None:
    """Row K3."""
    before = in_the_bag(stores)
    listed(stores, "R-1")
    assert "stands in its rack place (1) or not (0)" in refusal("there-or-not", counted, stores, 1, 2000)
    told = counted(stores, 1, 0)
    assert (told.word, told.line.state, told.line.difference) == (FIND, TO_FIND, 0)
    event = Event.objects.get(name="bag to find")
    assert (event.addressed_to, event.depot) == ("storekeeper", "N")
    again = {"count_list": 1, "line": 1, "counted": 0}
    assert "only pieces are counted again" in refusal("no-difference", recount, **again, **stores.scan(OTHER_STORES))
    post_count(count_list=1, **stores.scan())
    assert in_the_bag(stores) == before
    assert not Movement.objects.filter(action__use_case="post count").exists()
    assert [one.state for one in bags_to_find()] == [TO_FIND]
    assert "on a list already" in refusal("on-a-list", listed, stores, "R-1")
    assert "needs a reason" in refusal("no-reason", found_bag, count_list=1, line=1, where=" ", **stores.scan())
    assert found_bag(count_list=1, line=1, where="R-7", **stores.scan()).state == POSTED
    assert (bags_to_find(), stores.bag("J01", "A2").whereabouts) == ([], "R-7")
    assert "is posted" in refusal("not-to-find", found_bag, count_list=1, line=1, where="R-8", **stores.scan())
    assert listed(stores, "R-7").number == 2


def test_a_bag_that_went_out_meanwhile_is_not_looked_for(stores: Stores) -> None:
    listed(stores, "R-1")
    stores.issue("J01", "A2")
    assert counted(stores, 1, 0).word == NEXT
    post_count(count_list=1, **stores.scan())
    assert bags_to_find() == []
    assert refusal("unknown-place", at_places, depot=Depot.objects.get(depot="N"), codes=["R-1"]).startswith("N has no")


def test_a_bag_that_was_to_be_found_and_has_gone_out_is_looked_for_no_more(stores: Stores) -> None:
    listed(stores, "R-1")
    counted(stores, 1, 0)
    assert len(bags_to_find()) == 1
    stores.issue("J01", "A2")
    assert bags_to_find() == []
    found_bag(count_list=1, line=1, where="R-9", **stores.scan())
    assert stores.bag("J01", "A2").whereabouts != "R-9"


def test_a_bag_that_is_only_a_place_of_the_stock_sheet_is_one_line_too(stores: Stores) -> None:
    shelf = Balance.objects.get(lot__item__stock_code="BI15", place__kind="bin", place__depot__depot="N")
    loose = stores.place("N", "old bag", "bag")
    move(
        carries=[Carry(lot=shelf.lot, quantity=1000, source=shelf.place, target=loose)],
        by="M. Osei", at=stores.at, action="carry-1",
    )  # fmt: skip
    made = listed(stores, "old bag")
    assert [(one.place, one.bag) for one in blind_lines(made)] == [("old bag", "old bag")]
    assert counted(stores, 1, 0).word == FIND


def test_a_bag_that_the_crew_has_on_the_books_and_that_stands_here_is_told(stores: Stores) -> None:
    listed(stores, "R-1")
    stores.issue("J01", "A2")
    assert "the books have it empty or with a crew" in counted(stores, 1, 1000).sentence


def test_the_bag_of_tomorrow_and_the_bins_its_brothers_hang_on_are_proposed(stores: Stores) -> None:
    """J01's cutover is on Thursday 5 March; it is staged by Tuesday."""
    north = Depot.objects.get(depot="N")
    found = propose(depot=north, today=TODAY)
    bags = [one for one in found if one.lot is None]
    assert [(one.shown, one.reasons) for one in bags] == [("R-1", ("hanging: J01, staged by 2026-03-03",))]
    hanging = [one for one in found if one.lot and one.reasons[0] == "hanging: J01, staged by 2026-03-03"]
    assert hanging
    picked = {*Movement.objects.filter(action__use_case__startswith="bag").values_list("from_place", "lot")}
    fast = {(one.place.pk, one.lot.pk) for one in found if one.lot and "speed" in str(one.reasons)}
    assert fast <= picked  # the opening balances of the first morning are no movements
    assert fast
    assert [one.shown for one in found] == sorted((one.shown for one in found), key=_walk)
    made = list_count(depot=north, to_count=bags, **stores.scan())
    counted(stores, 1, 1000)
    post_count(count_list=made.number, **stores.scan())
    assert not [one for one in propose(depot=north, today=TODAY) if one.lot is None]


def _walk(code: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdigit() else (-1, part) for part in code.replace(" ", "-").split("-")]


def test_the_pieces_of_a_bag_are_checked_and_not_counted_one_by_one(stores: Stores) -> None:
    listed(stores, "R-1")
    beside = {"count_list": 1, "beside": 1, "stock_code": "BI15"}
    assert "is a bag" in refusal("not-here", add_to_count, **beside, **stores.scan())
    counted(stores, 1, 1000)
    told = refusal("nothing-counted", before_adjusting, count_list(1).lines.get(), at=stores.at)
    assert told.endswith("has no figure of pieces.")


def test_a_scan_of_a_whole_bag_that_waits_for_a_person_is_shown_for_every_piece_it_holds(stores: Stores) -> None:
    code = stores.code("J01", "A2")
    for action, bag in (("p-1", code), ("p-2", "X-1")):
        KeptScan.objects.create(
            action=action, device="phone 1", use_case="issue", content={"bag": bag, "crew": "14"}, by=STORES.name,
            device_at=stores.at, reached_at=stores.at, why="another crew has it",
        )  # fmt: skip
    shelf = Place.objects.get(balances__lot__item__stock_code="BI15", kind="bin", depot__depot="N")
    made = listed(stores, shelf.code)
    counted(stores, 1, 1000)
    seen = before_adjusting(made.lines.get(), at=stores.at + timedelta(hours=1))
    assert [scan.action for scan in seen.kept] == ["p-1"]
    assert {(one.place_kind, one.job) for one in seen.elsewhere if one.depot == "N"} >= {("bag", "J01")}
