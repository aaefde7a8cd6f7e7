"""A bag whose list, date or lots have changed does not go out before somebody has looked at it again."""

from datetime import timedelta

import pytest
from bag_stores import OTHER_STORES, Stores, demo_sheets, planned
from module_books import books_of_module

from inventory.errors import Refusal as StoresRefusal
from inventory.models import LotHold
from jobs.models import Job
from kitting.errors import Refusal
from kitting.models import Bag
from kitting.services.change_facts import change_facts
from kitting.services.issue_bags import stage
from kitting.services.list_bags import review

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)


@pytest.fixture
def stores() -> Stores:
    """The demo, planned and applied."""
    return Stores()


def test_a_revision_reopens_the_bag_whose_line_it_changes_and_the_other_is_still_good(stores: Stores) -> None:
    """Trap T49: printed on revision A; revision B changes V2."""
    for bag in stores.bags("J03"):
        if bag.structure in ("B1", "V2"):
            stores.ready("J03", bag.structure, rack=f"R-{bag.number}")
    stores.revise("J03", "B", "V2", "AB")
    with pytest.raises((Refusal, StoresRefusal)) as refused:
        stores.issue("J03", "B1")
    assert "SUPERSEDED BY REV B" in refused.value.message
    assert "rev B: run 1 changed" in refused.value.message
    stores.plan()
    assert [(stores.bag("J03", name).revision, stores.bag("J03", name).state) for name in ("B1", "V2")] == [
        ("B", "staged"),
        ("B", "reopened"),
    ]
    assert "is wanted no more" in stores.bag("J03", "V2").why


def test_a_date_moved_beyond_a_lot_reopens_its_bag(stores: Stores) -> None:
    stores.bags("J03")
    stores.ready("J03", "BJ1")
    lot = next(lot for lot in stores.contents("J03", "BJ1").lots.values() if lot.item.stock_code == "CS15-6")
    Job.objects.filter(job="J03").update(cutover=f"{lot.use_by + timedelta(1)} 08:00")
    code = stores.code("J03", "BJ1")
    with pytest.raises(Refusal, match="EXPIRES BEFORE CUTOVER: CS15-6"):
        stage(bag=code, rack="R-9", **stores.scan())
    changed = review(Bag.objects.filter(job__job="J03"), by="R. Tolley", at=stores.at)
    assert [(str(bag), bag.state) for bag in changed] == [("J03 BJ1", "reopened")]
    assert review(Bag.objects.filter(job__job="J03"), by="R. Tolley", at=stores.at) == []


def test_moving_an_outage_by_hand_looks_at_its_bags_at_once(stores: Stores) -> None:
    stores.bags("J03")
    stores.ready("J03", "BJ1")
    job = Job.objects.get(job="J03")
    change_facts(
        sheet="jobs", key=["J03"], version=job.version, changes={"cutover": "2029-03-12 08:00"}, by="R. Tolley",
        at=stores.at,
    )  # fmt: skip
    assert stores.bag("J03", "BJ1").state == "reopened"
    assert stores.bag("J03", "BJ1").why.startswith("expires before cutover: CS15-6 lot ")


def test_a_hold_stops_the_bags_that_hold_the_lot_and_no_others(stores: Stores) -> None:
    stores.bags("J03")
    stores.ready("J03", "V2")
    stores.ready("J03", "B1", rack="R-2")
    lot = next(lot for lot in stores.contents("J03", "V2").lots.values() if lot.item.stock_code == "CA-4")
    LotHold.objects.create(item=lot.item, lot_number=lot.number, reason="recall", placed_by="Ana", placed_at=stores.at)
    changed = review(Bag.objects.all(), by="Ana", at=stores.at)
    assert [(str(bag), bag.state, bag.state_before_hold) for bag in changed] == [("J03 V2", "on hold", "staged")]
    with pytest.raises(Refusal, match="it is on hold"):
        stores.issue("J03", "V2")
    assert stores.issue("J03", "B1").word == "OUT"
    assert OTHER_STORES.name != stores.bag("J03", "V2").checked_by
