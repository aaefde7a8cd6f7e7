"""What a crew noted by mistake is taken back while the bag is out: installed, turned in; and why that is over later."""

import pytest
from bag_stores import CREW, Stores, demo_sheets, planned
from module_books import books_of_module
from people import BUYER, DUTY, STORES
from refusals import refusal

from inventory.models import Balance, Movement
from inventory.selectors.finding import items_by_code
from kitting.documents.from_records import lot_trace_of
from kitting.documents.lot_trace import INSTALLED
from kitting.models import BagEntry, JobStep
from kitting.roles import Actor
from kitting.selectors.bag_contents import accounts
from kitting.selectors.buying import consumed
from kitting.selectors.installed_ends import history
from kitting.selectors.job_states import standing_of
from kitting.selectors.recheck_installed import recheck_installed
from kitting.services.end_jobs import cancel_job
from kitting.services.issue_bags import begin_work, hand_back
from kitting.services.move_pieces import move_pieces
from kitting.services.recall_lots import recall_lot
from kitting.services.retire_parts import retire
from kitting.services.return_bags import Installed, close, install, turn_in
from kitting.services.undo_scans import undo

pytestmark = pytest.mark.django_db


def issued() -> None:
    planned()
    Stores(prefix="before").out("J01", "A1")


books = books_of_module(demo_sheets, issued)


@pytest.fixture
def stores() -> Stores:
    return Stores()


def elbow(stores: Stores) -> tuple[str, str, str]:
    """A line of the bag's elbows with its position, and the lot inside."""
    contents = stores.contents("J01", "A1")
    return next(
        (stand.line.line, str(stand.line.facts["position"]), contents.lots[lot].number)
        for stand in contents.lines
        for lot in stand.inside
        if stand.line.facts.get("position") and str(stand.line.item) == "EL15-2" and contents.lots[lot].number
    )


def fit(stores: Stores, phase: str, action: str) -> None:
    line, _, lot = elbow(stores)
    piece = Installed(line=line, stock_code="EL15-2", lot=lot, quantity=1000, phase=phase)
    install(bag=stores.code("J01", "A1"), pieces=[piece], **stores.scan(CREW, action=action))


def bring(stores: Stores, action: str) -> Balance:
    """One elbow is turned in to its bin."""
    lot, place = elbow(stores)[2], stores.place("N", "N-01-2")
    turn_in(
        bag=stores.code("J01", "A1"), stock_code="EL15-2", lot=lot, quantity=1000, condition="sealed", door="stock",
        place=place, **stores.scan(action=action),
    )  # fmt: skip
    return Balance.objects.get(place=place, lot__number=lot, lot__item__stock_code="EL15-2")


def take(stores: Stores, action: str, by: Actor = CREW) -> str:
    return undo(bag=stores.code("J01", "A1"), undone_action=action, **stores.scan(by)).word


def test_what_was_noted_as_installed_is_in_the_bag_again_and_on_no_list_of_what_is_fitted(stores: Stores) -> None:
    before = accounts(stores.contents("J01", "A1"))
    _, position, lot = elbow(stores)
    fit(stores, "A", "first")
    fit(stores, "B", "slip")
    told = refusal("not-allowed", undo, bag=stores.code("J01", "A1"), undone_action="slip", **stores.scan(STORES))
    assert "may not do this (as-installed)" in told

    assert take(stores, "slip") == "TAKEN BACK"
    assert undo(bag=stores.code("J01", "A1"), undone_action="slip", **stores.scan(CREW)).repeated
    assert [one.entry.phase for one in history("A1", position)] == ["A"]
    assert stores.bag("J01", "A1").state == "in work"
    item = items_by_code(["EL15-2"])["EL15-2"]
    trace = lot_trace_of(item=item, lot=lot)
    assert [line.quantity for line in trace.lines if line.part == INSTALLED] == [1]
    assert "adds up" in trace.total_text
    then = lot_trace_of(item=item, lot=lot, as_of=BagEntry.objects.get(action__number="slip").action.at)
    assert [line.quantity for line in then.lines if line.part == INSTALLED] == [1, 1]
    assert recheck_installed().checked == 1000

    assert take(stores, "first") == "TAKEN BACK"
    assert accounts(stores.contents("J01", "A1")) == before
    assert (consumed(), history("A1", position)) == ([], [])


def test_the_first_work_that_was_a_mistake_leaves_the_bag_issued_and_the_job_before_its_outage(stores: Stores) -> None:
    fit(stores, "A", "slip")
    assert "Can't cancel" in refusal("not-in-this-state", cancel_job, job="J01", why="x", by="planner", at=stores.at)
    take(stores, "slip")
    bag = stores.bag("J01", "A1")
    assert (bag.state, standing_of(bag.job).state) == ("issued", "planned")
    assert JobStep.objects.get(kind="outage").over
    hand_back(bag=stores.code("J01", "A1"), why="the outage is off", **stores.scan())


def test_a_piece_turned_in_by_mistake_is_out_again_while_it_lies_where_it_was_put(stores: Stores) -> None:
    there = Balance.objects.filter(place=stores.place("N", "N-01-2")).values_list("lot", "quantity")
    before = dict(there)
    lies = bring(stores, "slip")
    assert stores.bag("J01", "A1").state == "returning"
    refusal("not-allowed", undo, bag=stores.code("J01", "A1"), undone_action="slip", **stores.scan(BUYER))
    assert take(stores, "slip", STORES) == "TAKEN BACK"
    assert {lot: pieces for lot, pieces in there.all() if pieces} == before
    assert stores.bag("J01", "A1").state == "issued"
    assert Movement.objects.filter(reverses__action__number="slip").count() == 1

    lies = bring(stores, "late")
    move_pieces(balance=lies.pk, quantity=lies.quantity, to=stores.place("N", "N-09-9"), **stores.scan())
    told = refusal("not-enough", undo, bag=stores.code("J01", "A1"), undone_action="late", **stores.scan())
    assert "0 ea there" in told
    assert stores.bag("J01", "A1").state == "returning"


def test_why_it_can_t_be_taken_back_any_more_is_said_in_words(stores: Stores) -> None:
    code, (_, position, lot) = stores.code("J01", "A1"), elbow(stores)
    fit(stores, "A", "retired")
    entry = BagEntry.objects.get(action__number="retired")
    retire(
        structure="A1", position=position, stock_code="EL15-2", lot=lot, quantity=1000, phase="A", why="cracked",
        fate="scrap metal", **stores.scan(CREW),
    )  # fmt: skip
    told = refusal("cannot-undo", undo, bag=code, undone_action="retired", **stores.scan(CREW))
    assert told == f"J01 A1: {entry.lot} was taken off the line since: that can't be undone any more."

    bring(stores, "held")
    recall_lot(stock_code="EL15-2", lot=lot, reason="swollen", **stores.scan(DUTY))
    told = refusal("cannot-undo", undo, bag=code, undone_action="held", **stores.scan())
    assert "is on hold since: it stays where it was turned in to" in told
    assert stores.bag("J01", "A1").state == "on hold"


def test_work_that_was_begun_by_mistake_has_not_begun(stores: Stores) -> None:
    begin_work(bag=stores.code("J01", "A1"), **stores.scan(CREW, action="begun"))
    fit(stores, "A", "first")
    take(stores, "begun")
    assert stores.bag("J01", "A1").state == "in work"  # a piece is fitted since
    take(stores, "first")
    assert stores.bag("J01", "A1").state == "issued"


def test_a_closed_bag_changes_no_more(stores: Stores) -> None:
    fit(stores, "A", "first")
    close(bag=stores.code("J01", "A1"), exception="the crew keeps the rest", **stores.scan())
    told = refusal("not-in-this-state", undo, bag=stores.code("J01", "A1"), undone_action="first", **stores.scan(CREW))
    assert told == "J01 A1: can't undo, it is closed."
