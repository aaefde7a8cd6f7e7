"""What went out is accounted for piece by piece before a bag is closed."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from types import MappingProxyType

import pytest
from bag_stores import CREW, Stores, demo_sheets
from module_books import books_of_module
from people import BUYER, DUTY, STORES
from refusals import refusal

from inventory.models import Balance, Depot, Item, Level, Lot, Movement
from jobs.models import UNDER_WAY, Job
from kitting.models import BagEntry, Event, PlanRow
from kitting.selectors.bag_contents import accounts, bare
from kitting.selectors.buying import consumed
from kitting.selectors.exceptions import open_bags
from kitting.selectors.overrides import overrides
from kitting.selectors.returns_due import due_back, returns_due
from kitting.services.issue_bags import begin_work
from kitting.services.move_pieces import move_pieces, undo_move
from kitting.services.recall_lots import recall_lot
from kitting.services.return_bags import Installed, close, install, turn_in, write_off

pytestmark = pytest.mark.django_db


def issued() -> None:
    """The demo with the bags of J03's vaults out with the crew, who have begun."""
    made = Stores(prefix="before")
    made.plan()
    for bag in made.bags("J03"):
        if bag.structure in ("V1", "V2"):
            made.ready("J03", bag.structure)
            made.issue("J03", bag.structure)
            begin_work(bag=made.code("J03", bag.structure), **made.scan(CREW))


books = books_of_module(demo_sheets, issued)


@pytest.fixture
def stores() -> Stores:
    """The stores after that."""
    return Stores()


def fitted(stores: Stores, structure: str, but: Mapping[str, int] = MappingProxyType({})) -> list[Installed]:
    """Everything in a bag but its spares, fitted where it belongs, less so many pieces of some codes."""
    left = dict(but)
    pieces = []
    for stand in stores.contents("J03", structure).lines:
        for number, inside in stand.inside.items():
            if stand.line.spare or not stand.line.item:
                continue
            lot = stores.contents("J03", structure).lots[number]
            code = stand.line.item.stock_code
            kept = min(left.get(code, 0) * 1000, inside)
            left[code] = left.get(code, 0) - kept // 1000
            if inside > kept:
                pieces.append(Installed(line=stand.line.line, stock_code=code, lot=lot.number, quantity=inside - kept))
    return pieces


def test_a_lug_that_falls_in_the_sump_is_lost_and_the_spare_takes_its_place(stores: Stores) -> None:
    """Trap T20: issued 4 = installed 3 + lost 1."""
    code = stores.code("J03", "V1")
    lot = next(lot for lot in stores.contents("J03", "V1").lots.values() if lot.item.stock_code == "LUG-750C")
    lost = {"bag": code, "stock_code": "LUG-750C", "lot": lot.number, "quantity": 1000}
    assert "scrapped or lost" in refusal(
        "unknown-ending", write_off, **lost, deed="eaten", why="x", **stores.scan(CREW)
    )
    assert "say why" in refusal("bag-not-ready", write_off, **lost, deed="lost", why=" ", **stores.scan(CREW))
    install(bag=code, pieces=fitted(stores, "V1"), **stores.scan(CREW))
    answer = write_off(**lost, deed="lost", why="fell in the sump", **stores.scan(CREW))
    assert answer.word == "NOTED"
    lugs = accounts(stores.contents("J03", "V1"))[("LUG-750C", lot.number)]
    assert lugs == {"issued": 4000, "installed": 3000, "turned in": 0, "scrapped": 0, "lost": 1000, "open": 0}


def test_what_the_supplier_owns_and_was_used_is_told_for_his_bill(stores: Stores) -> None:
    """Trap T33: 7 issued, 1 turned in, 6 consumed; 14 left."""
    theirs = Balance.objects.select_related("place__depot").get(
        lot__item__stock_code="LUG-750A", place__kind="supplier-owned"
    )
    assert theirs.quantity == 13000
    for structure in ("V1", "V2"):
        install(bag=stores.code("J03", structure), pieces=fitted(stores, structure), **stores.scan(CREW))
    turn_in(
        bag=stores.code("J03", "V1"), stock_code="LUG-750A", lot="", quantity=1000, condition="sealed", door="stock",
        place=theirs.place, **stores.scan(),
    )  # fmt: skip
    theirs.refresh_from_db()
    assert (theirs.quantity, consumed()) == (14000, [("J03", "LUG-750A", "", 6000)])


def test_a_suppliers_piece_that_is_lost_or_scrapped_after_its_inspection_is_used_and_one_sent_back_is_not(
    stores: Stores,
) -> None:
    code, shelf = stores.code("J03", "V2"), stores.place("N", "T-1", "hold")
    lug = {"bag": code, "stock_code": "LUG-750A", "lot": "", "quantity": 1000}
    back = {**lug, "condition": "opened", "why": "crimped"}
    turn_in(**back, door="supplier", **stores.scan(CREW))
    assert consumed() == []
    turn_in(**back, door="inspect", place=shelf, **stores.scan(CREW))
    there = Balance.objects.get(place=shelf, lot__item__stock_code="LUG-750A")
    scrapped = stores.scan()
    move_pieces(balance=there.pk, quantity=1000, ending="scrapped", why="crimped", **scrapped)
    write_off(**lug, deed="lost", why="fell", **stores.scan(CREW))
    assert consumed() == [("", "LUG-750A", "", 1000), ("J03", "LUG-750A", "", 1000)]
    undo_move(moved=scrapped["action"], why="the wrong one", **stores.scan())
    assert consumed() == [("J03", "LUG-750A", "", 1000)]


def test_a_bag_with_open_pieces_is_not_closed_and_one_that_balances_is(stores: Stores) -> None:
    """Trap T14: what one finished end did not take is open until somebody accounts for it."""
    code = stores.code("J03", "V2")
    install(bag=code, pieces=fitted(stores, "V2", {"CA-4": 3}), **stores.scan(CREW))
    message = refusal("bag-not-ready", close, bag=code, **stores.scan())
    assert message == "J03 V2: can't close. STILL OPEN: 3 CA-4: account for them, or name the exception."
    lot = next(lot for lot in stores.contents("J03", "V2").lots.values() if lot.item.stock_code == "CA-4")
    bin_ = stores.place("N", "N-01-1")
    back = {"bag": code, "stock_code": "CA-4", "lot": lot.number, "condition": "sealed", "door": "stock"}
    assert "holds 3 CA-4" in refusal("not-in-bag", turn_in, **back, quantity=4000, place=bin_, **stores.scan())
    assert turn_in(**back, quantity=2000, place=bin_, **stores.scan()).word == "1 CA-4 STILL OPEN"
    assert turn_in(**back, quantity=1000, place=bin_, **stores.scan()).word == "BALANCED"
    close(bag=code, **stores.scan())
    assert stores.bag("J03", "V2").state == "closed"
    assert "it is closed" in refusal("bag-not-ready", turn_in, **back, quantity=1000, place=bin_, **stores.scan())


def test_what_crews_have_of_a_job_that_is_done_is_due_back_and_lowers_a_refill_only(stores: Stores) -> None:
    """By hand: a shelf filled up to 20 above what lies there is ordered 20 less what is due back."""
    install(bag=stores.code("J03", "V2"), pieces=fitted(stores, "V2", {"CA-4": 3}), **stores.scan(CREW))
    open_there = next(s for s in stores.contents("J03", "V2").lines if s.line.item and s.line.item.stock_code == "CA-4")
    outage, after = date(2026, 3, 12), date(2026, 3, 13)
    assert open_there.open == 3000
    assert returns_due(outage) == []
    due = [one for one in returns_due(after) if str(one.bag) == "J03 V2" and one.item.stock_code == "CA-4"]
    assert [(one.quantity, one.since) for one in due] == [(3000, outage)]
    all_due = due_back(after)["CA-4", "N"]
    Job.objects.filter(job="J03").update(ended=UNDER_WAY)  # all its bags are out
    item, depot = Item.objects.get(stock_code="CA-4"), Depot.objects.get(depot="N")
    stores.plan(as_of=after)
    shelf = Balance.objects.filter(lot__item=item, place__depot=depot, place__kind="bin")
    left = sum(shelf.values_list("quantity", flat=True))
    least = left + all_due + 2000
    Level.objects.create(item=item, depot=depot, minimum=least, maximum=left + 20_000)
    stores.plan(as_of=after)
    row = PlanRow.objects.get(table="reorder", cells__stock_code="CA-4", cells__depot="N").cells
    assert (row["due_back"], row["need"]) == (bare(all_due), "0")
    assert row["net"] == bare(20_000 - all_due)
    Level.objects.update(minimum=left + all_due)
    stores.plan(as_of=after)
    assert not PlanRow.objects.filter(table="reorder", cells__stock_code="CA-4").exists()


def test_a_named_exception_closes_a_bag_and_stands_on_the_list_of_overrides(stores: Stores) -> None:
    code = stores.code("J03", "V2")
    install(bag=code, pieces=fitted(stores, "V2", {"CA-4": 1}), **stores.scan(CREW))
    close(bag=code, exception="adapter left at the vault, crew 14 looks on Monday", **stores.scan())
    event = Event.objects.get(name="bag closed with exception")
    assert event.data["open"] == ["1 CA-4"]
    assert [one.reason for one in overrides() if one.what == "closed unbalanced"] == [event.data["reason"]]


def test_what_an_exception_left_open_is_still_accounted_for_when_it_is_found_and_nothing_else_is(
    stores: Stores,
) -> None:
    code, bin_ = stores.code("J03", "V2"), stores.place("N", "N-01-1")
    left = fitted(stores, "V2")
    piece = next(one for one in left if one.stock_code == "CA-4" and one.quantity >= 3000)
    install(bag=code, pieces=fitted(stores, "V2", {"CA-4": 3}), **stores.scan(CREW))
    close(bag=code, exception="adapters left at the vault", **stores.scan())
    found = {"bag": code, "stock_code": "CA-4", "lot": piece.lot, "quantity": 1000}
    assert [(str(one.bag), one.pieces) for one in open_bags() if one.bag.state == "closed"] == [("J03 V2", ("3 CA-4",))]
    sealed = {"condition": "sealed", "door": "stock", "place": bin_}
    assert turn_in(**found, **sealed, **stores.scan()).word == "2 CA-4 STILL OPEN"
    fitted_after_all = replace(piece, quantity=1000, phase="A")
    install(bag=code, pieces=[fitted_after_all], **stores.scan(CREW))
    write_off(**found, deed="lost", why="stolen from the vault", **stores.scan(CREW))
    assert accounts(stores.contents("J03", "V2"))["CA-4", piece.lot]["open"] == 0
    assert "all its pieces are accounted for" in refusal("bag-not-ready", turn_in, **found, **sealed, **stores.scan())
    assert "it is closed" in refusal("not-in-this-state", close, bag=code, **stores.scan())
    assert (stores.bag("J03", "V2").state, [one for one in open_bags() if one.bag.state == "closed"]) == ("closed", [])


def test_opened_rubber_goes_to_inspection_and_scrap_needs_a_reason(stores: Stores) -> None:
    code, bin_, shelf = stores.code("J03", "V2"), stores.place("N", "N-01-1"), stores.place("N", "T-1", "hold")
    lot = next(lot for lot in stores.contents("J03", "V2").lots.values() if lot.item.stock_code == "CA-4")
    back = {"bag": code, "stock_code": "CA-4", "lot": lot.number, "quantity": 1000, "condition": "opened"}
    refused = refusal("wrong-door", turn_in, **back, door="stock", place=bin_, **stores.scan(CREW))
    assert refused == "An opened cable adapter goes to inspection, never straight to stock."
    assert "kind hold" in refusal("wrong-door", turn_in, **back, door="inspect", place=bin_, **stores.scan(CREW))
    assert "why CA-4 is scrapped" in refusal("needs-reason", turn_in, **back, door="scrap", **stores.scan(CREW))
    assert "may not do this" in refusal("not-allowed", turn_in, **back, door="scrap", why="cut", **stores.scan(BUYER))
    turn_in(**back, door="inspect", place=shelf, **stores.scan(CREW))
    turn_in(**back, door="scrap", why="cut", **stores.scan(CREW))
    turn_in(**back, door="supplier", why="torn from new", **stores.scan(CREW))
    ends = Movement.objects.filter(lot=lot, from_place=stores.bag("J03", "V2").place).values_list("ending", "to_place")
    assert sorted(ends, key=str) == sorted(
        [("", shelf.pk), ("scrapped", None), ("returned to supplier", None)], key=str
    )


def test_only_what_is_in_date_on_no_hold_and_of_a_lot_that_can_be_read_goes_back_to_stock(stores: Stores) -> None:
    code, bin_, shelf = stores.code("J03", "V2"), stores.place("N", "N-01-1"), stores.place("N", "T-1", "hold")
    lot = next(lot for lot in stores.contents("J03", "V2").lots.values() if lot.item.stock_code == "CA-4")
    back = {"bag": code, "stock_code": "CA-4", "lot": lot.number, "quantity": 1000, "condition": "sealed"}

    def refused(number: str = lot.number) -> str:
        return refusal("wrong-door", turn_in, **{**back, "lot": number}, door="stock", place=bin_, **stores.scan(CREW))

    day = stores.at.date()
    Lot.objects.filter(pk=lot.pk).update(use_by=day - timedelta(1))
    assert f"is out of date since {day - timedelta(1)}" in refused()
    Lot.objects.filter(pk=lot.pk).update(use_by=None)
    Item.objects.filter(pk=lot.item_id).update(shelf_months=36)
    assert "has no use-by date: not to stock, but to a place of the kind hold" in refused()
    Lot.objects.filter(pk=lot.pk).update(number="", use_by=day)
    assert "can't be told from others" in refused("")
    Lot.objects.filter(pk=lot.pk).update(number=lot.number)
    recall_lot(stock_code="CA-4", lot=lot.number, reason="cracks", **stores.scan(DUTY))
    assert "is stopped by hold" in refused()
    elsewhere = stores.place("H", "T-1", "hold")
    away = refusal("other-depot", turn_in, **back, door="inspect", place=elsewhere, **stores.scan(CREW))
    assert "make a transfer" in away
    turn_in(**back, door="inspect", place=shelf, **stores.scan(CREW))
    assert Balance.objects.get(place=shelf, lot=lot).quantity == 1000


def test_a_piece_of_another_lot_is_asked_from_where_it_came(stores: Stores) -> None:
    piece = fitted(stores, "V2")[0]
    other = Installed(line=piece.line, stock_code=piece.stock_code, lot="L-ELSE", quantity=1000)
    message = refusal("not-in-bag", install, bag=stores.code("J03", "V2"), pieces=[other], **stores.scan(CREW))
    assert message.endswith("from where?")
    elsewhere = replace(next(one for one in fitted(stores, "V2") if one.stock_code == "CA-4"), phase="Z")
    message = refusal("other-phases", install, bag=stores.code("J03", "V2"), pieces=[elsewhere], **stores.scan(CREW))
    assert message.endswith("has phases ABC, not Z.")
    unknown = Installed(line="J03/nowhere", stock_code=piece.stock_code, lot=piece.lot, quantity=1000)
    assert "has no line" in refusal(
        "unknown-line", install, bag=stores.code("J03", "V2"), pieces=[unknown], **stores.scan(CREW)
    )


def test_the_same_return_sent_three_times_is_booked_once(stores: Stores) -> None:
    code, scan = stores.code("J03", "V2"), stores.scan(CREW)
    pieces = fitted(stores, "V2")[:1]
    for _ in range(3):
        install(bag=code, pieces=pieces, **scan)
    assert BagEntry.objects.filter(deed="installed").count() == 1


def test_a_job_is_complete_when_its_last_bag_is_closed(stores: Stores) -> None:
    for bag in stores.bags("J03"):
        code = stores.code("J03", bag.structure)
        if bag.state == "listed":
            stores.ready("J03", bag.structure)
            stores.issue("J03", bag.structure)
        install(bag=code, pieces=fitted(stores, bag.structure), **stores.scan(CREW))
        close(bag=code, exception="spares stay on truck 14", **stores.scan(STORES))
    assert Job.objects.get(job="J03").ended == "complete"
    assert Event.objects.get(name="job complete", subject="J03").data == {"promises_released": 0}
