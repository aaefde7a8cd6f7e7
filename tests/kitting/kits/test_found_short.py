"""A bin that holds less than the book costs the last served their promise, and everybody who must know is told."""

import pytest
from bag_stores import Stores, demo_sheets, planned
from django.db.models import Sum
from module_books import books_of_module
from people import PLANNER
from refusals import refusal

from inventory.errors import Doubt
from inventory.models import Balance, Lot, Movement
from inventory.selectors.rebuilding import unequal_balances
from kitting.documents.notice_digest import told
from kitting.models import Event, Promise
from kitting.selectors.pick_walk import pick_walk
from kitting.services.found_short import FoundShort, found_short

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)


@pytest.fixture
def stores() -> Stores:
    """The demo on the first morning, planned and applied."""
    return Stores()


def shelf(code: str, depot: str = "N") -> Balance:
    """The one bin of a stock code at a depot."""
    return Balance.objects.select_related("place__depot", "lot__item").get(
        lot__item__stock_code=code, place__depot__depot=depot, place__kind="bin"
    )


def found(stores: Stores, bin_: Balance, pieces: int, **given: object) -> FoundShort:
    """The storekeeper at a bin finds so many pieces."""
    asked = {"stock_code": bin_.lot.item.stock_code, "lot": bin_.lot.number, "place": bin_.place, **stores.scan()}
    return found_short(counted=pieces * 1000, **{**asked, **given})


def promised(code: str) -> dict[str, int]:
    """Pieces on the shelf at N promised by job."""
    rows = Promise.objects.filter(item__stock_code=code, released_at=None, place__depot__depot="N", place__kind="bin")
    return {job: pieces // 1000 for job, pieces in rows.values_list("job__job").annotate(Sum("quantity"))}


def test_the_last_served_job_loses_its_pieces_and_keeps_what_is_left(stores: Stores) -> None:
    """Twelve inserts on the books, six each for J01 and J06; eight are there."""
    bin_ = shelf("BI15")
    assert promised("BI15") == {"J01": 6, "J06": 6}
    short = found(stores, bin_, 8)
    assert short.missing == 4_000
    assert {(one.job, one.cutover[:10]) for one in short.lost} == {("J06", "2026-03-21")}
    assert sum(one.quantity for one in short.lost) == 4_000
    assert promised("BI15") == {"J01": 6, "J06": 2}
    bin_.refresh_from_db()
    assert (bin_.quantity, bin_.counted_on) == (8_000, stores.at.date())
    moved = Movement.objects.get(action__use_case="found short")
    assert (moved.ending, str(moved.to_place)) == ("", "N/to be found")
    assert unequal_balances() == []
    stores.plan()
    assert sum(promised("BI15").values()) <= 8


def test_one_person_writes_off_what_the_limit_allows_and_no_more(stores: Stores) -> None:
    """The default limit is two; beyond it the pieces stay on the books, unplanned, until another person counts."""
    few = found(stores, shelf("BI15"), 10)
    many = found(stores, shelf("EL15-1"), 3)
    assert (few.missing, few.wanted_at) == (2_000, "")
    assert Movement.objects.filter(action__use_case="found short", ending="lost").count() == 1
    assert many.wanted_at == "N/to be found"
    assert "which stand at N/to be found until another person has counted" in many.sentence
    aside = Balance.objects.get(place__code="to be found")
    assert (aside.quantity, aside.place.kind) == (many.missing, "hold")
    assert Event.objects.get(name="spot count wanted").subject == "N/to be found"
    assert "looked for at N/to be found already" in refusal("looked-for", found, stores, aside, 0)
    assert unequal_balances() == []


def test_planner_and_buyer_are_told_and_a_repeat_says_the_same(stores: Stores) -> None:
    scan = stores.scan()
    first = found(stores, shelf("BI15"), 8, why="dropped behind the rack", **scan)
    again = found(stores, shelf("BI15"), 8, why="dropped behind the rack", **scan)
    assert again == first
    events = Event.objects.filter(name="found short")
    assert [event.addressed_to for event in events.order_by("number")] == ["planner", "buyer"]
    assert {told(event.data) for event in events} == {"missing 4; dropped behind the rack"}
    assert first.sentence.startswith("BI15 lot ")
    assert "8 found, 4 missing, " in first.sentence
    assert ". Lost: 1 of J06/" in first.sentence
    assert first.sentence.endswith(").")


def test_free_pieces_elsewhere_are_named_and_those_in_bags_are_not(stores: Stores) -> None:
    stores.bags("J06")
    stores.fetch("J06", "E7")
    bin_ = shelf("EL15-1")
    short = found(stores, bin_, 0)
    assert short.lost
    of_j06 = sum(one.quantity for one in short.lost if one.job == "J06") // 1000
    assert f"{of_j06} of J06 (cutover 2026-03-21 06:00)" in short.sentence  # many lines are told by job
    for one in short.lost:
        assert {source.kind for source in one.elsewhere} <= {"truck", "other depot", "reserve"}
    inserts = found(stores, shelf("BI15"), 8)
    offered = {(source.kind, source.free) for one in inserts.lost for source in one.elsewhere}
    assert ("truck", 2_000) in offered


def test_a_spare_gives_way_before_any_line(stores: Stores) -> None:
    spares = Promise.objects.filter(line__endswith="/spare", released_at=None, place__kind="bin", source="shelf")
    spare = next(
        one for one in spares.select_related("item", "lot", "place__depot").order_by("pk")
        if Promise.objects.filter(lot=one.lot, place=one.place, released_at=None).exclude(pk=one.pk).exists()
    )  # fmt: skip
    assert spare.place
    bin_ = Balance.objects.select_related("place__depot", "lot__item").get(place=spare.place, lot=spare.lot)
    here = Promise.objects.filter(lot=spare.lot, place=spare.place, released_at=None)
    total = here.aggregate(Sum("quantity"))["quantity__sum"]
    spares_here = here.filter(line__endswith="/spare").aggregate(Sum("quantity"))["quantity__sum"]
    short = found(stores, bin_, (total - spares_here) // 1000)
    assert short.lost
    assert all(one.line.endswith("/spare") for one in short.lost)


def test_what_nobody_was_promised_costs_nobody_anything(stores: Stores) -> None:
    bin_ = shelf("CS15-6")
    Promise.objects.filter(lot=bin_.lot).delete()
    short = found(stores, bin_, 3)
    assert short.lost == ()
    assert short.sentence.endswith("3 found, 1 missing; nobody was promised them.")


def test_a_walk_after_it_asks_only_for_what_is_there(stores: Stores) -> None:
    stores.bags("J06")
    bin_ = shelf("BI15")
    before = sum(step.quantity for step in pick_walk(depot="N", jobs=["J06"]) if step.lot == bin_.lot)
    found(stores, bin_, 8)
    after = sum(step.quantity for step in pick_walk(depot="N", jobs=["J06"]) if step.lot == bin_.lot)
    assert (before, after) == (6_000, 2_000)


def test_a_count_that_is_not_short_is_no_ones_or_a_kit_taken_for_one_is_not_booked(stores: Stores) -> None:
    bin_ = shelf("BI15")
    assert "no more than you found" in refusal("not-short", found, stores, bin_, 12)
    assert "The books have no BI15 lot L-9 at" in refusal("not-there", found, stores, bin_, 1, lot="L-9")
    assert "may not do this" in refusal("not-allowed", found, stores, bin_, 1, **stores.scan(PLANNER))
    stores.bags("J01")
    stores.pick("J01", "A2", "BI15", bin_.lot.number, bin_.place, 1)
    inside = stores.bag("J01", "A2").place
    assert "is a bag" in refusal("in-a-bag", found, stores, bin_, 0, place=inside)
    splices = shelf("CS15-6")
    Balance.objects.filter(pk=splices.pk).update(quantity=6_000)
    with pytest.raises(Doubt, match="exactly one kit"):
        found(stores, splices, 2)
    assert not Event.objects.filter(name="found short").exists()


def test_pieces_of_an_unknown_lot_with_two_dates_are_told_apart(stores: Stores) -> None:
    bin_ = shelf("CS15-6")
    one, other = (Lot.objects.create(item=bin_.lot.item, number="", use_by=f"202{year}-01-31") for year in (8, 9))
    for lot in (one, other):
        Balance.objects.create(place=bin_.place, lot=lot, quantity=2_000)
    asked = {"lot": "", "stock_code": "CS15-6"}
    message = refusal("several-dates", found, stores, bin_, 1, **asked)
    assert "2028-01-31, 2029-01-31" in message
    other.refresh_from_db()
    assert found(stores, bin_, 1, **asked, use_by=other.use_by).missing == 1_000
