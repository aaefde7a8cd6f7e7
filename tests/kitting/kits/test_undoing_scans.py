"""A scan is undone by another one the other way round; what can't be undone says so."""

import pytest
from bag_stores import CREW, Stores, demo_sheets, planned
from module_books import books_of_module
from record_books import AT
from refusals import refusal

from inventory.models import Balance, LotHold
from kitting.selectors.pick_walk import Step, pick_walk
from kitting.services.undo_scans import undo, undone

pytestmark = pytest.mark.django_db


def bags_listed() -> None:
    planned()
    Stores(prefix="listed").bags("J03")


books = books_of_module(demo_sheets, bags_listed)


@pytest.fixture
def stores() -> Stores:
    return Stores()


@pytest.fixture
def step(stores: Stores) -> Step:
    return pick_walk(depot="N", bags=[stores.code("J03", "V1")])[0]


def picked(stores: Stores, step: Step, action: str) -> None:
    stores.pick("J03", "V1", step.lot.item.stock_code, step.lot.number, step.place, step.quantity / 1000, action=action)


def inside(stores: Stores, step: Step) -> int:
    return stores.counted("J03", "V1").get(step.lot.item.stock_code, 0)


def test_what_was_picked_goes_back_to_its_bin_once_and_what_was_put_back_is_picked_again(
    stores: Stores, step: Step
) -> None:
    there = Balance.objects.get(place=step.place, lot=step.lot)
    code = stores.code("J03", "V1")
    picked(stores, step, "first")

    refusal("not-allowed", undo, bag=code, undone_action="first", **stores.scan(CREW))
    back = undo(bag=code, undone_action="first", **stores.scan())
    again = undo(bag=code, undone_action="first", **stores.scan())
    assert (back.word, back.repeated, again.repeated) == ("BACK", False, True)
    assert inside(stores, step) == 0
    assert Balance.objects.get(pk=there.pk).quantity == there.quantity

    undo(bag=code, undone_action="U-first", confirmed=("promised-to-others/1",), **stores.scan())
    assert inside(stores, step) == step.quantity
    assert undone(["first", "U-first", "U-U-first"]) == {"first", "U-first"}


def test_the_walk_leads_back_to_what_was_put_back_by_undo_unless_a_hold_stops_it(stores: Stores, step: Step) -> None:
    code = stores.code("J03", "V1")
    ahead = [(one.place, one.lot, one.quantity) for one in pick_walk(depot="N", bags=[code])]
    picked(stores, step, "first")
    assert (step.place, step.lot, step.quantity) not in [
        (one.place, one.lot, one.quantity) for one in pick_walk(depot="N", bags=[code])
    ]

    undo(bag=code, undone_action="first", **stores.scan())
    assert [(one.place, one.lot, one.quantity) for one in pick_walk(depot="N", bags=[code])] == ahead

    picked(stores, step, "second")
    LotHold.objects.create(
        item=step.lot.item, lot_number=step.lot.number, reason="cracked", placed_by="I. Varga", placed_at=AT
    )
    undo(bag=code, undone_action="second", **stores.scan())
    assert step.lot not in [one.lot for one in pick_walk(depot="N", bags=[code])]


def test_an_action_of_another_bag_or_that_moved_nothing_is_not_undone_here(stores: Stores, step: Step) -> None:
    picked(stores, step, "first")
    elsewhere = stores.code("J03", "V2")

    assert "nothing takes back" in refusal("cannot-undo", undo, bag=elsewhere, undone_action="first", **stores.scan())
    sentence = refusal("cannot-undo", undo, bag=elsewhere, undone_action="no such", **stores.scan())
    assert sentence.startswith("J03 V2: it moved no piece")
    assert inside(stores, step) == step.quantity


def test_what_went_out_is_not_undone(stores: Stores) -> None:
    stores.ready("J03", "V2")
    stores.issue("J03", "V2", action="out")
    code = stores.code("J03", "V2")

    assert "it moved no piece" in refusal("cannot-undo", undo, bag=code, undone_action="out", **stores.scan())
    assert stores.bag("J03", "V2").state == "issued"
