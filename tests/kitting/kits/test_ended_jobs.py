"""A job that is cancelled or done takes its bags along: none of them can go out any more, and no piece is forgotten."""

import pytest
from bag_stores import CREW, Stores, demo_sheets, staged_early
from module_books import books_of_module
from people import DUTY
from refusals import refusal

from jobs.models import Job
from kitting.selectors.bag_rows import not_ended
from kitting.selectors.rework import rework
from kitting.services.end_jobs import cancel_job, complete_job
from kitting.services.fill_bags import put_back
from kitting.services.issue_bags import hand_back, issue
from kitting.services.recall_lots import recall_lot
from kitting.services.return_bags import close

pytestmark = pytest.mark.django_db

books = books_of_module(demo_sheets, staged_early)


@pytest.fixture
def stores() -> Stores:
    """The stores with J10's bag for vault 9 staged."""
    return Stores()


def states() -> set[str]:
    """In which states the bags of J10 are."""
    return {bag.state for bag in Job.objects.get(job="J10").bags.all()}


def out(stores: Stores) -> dict[str, object]:
    """J10 V9 goes to a crew."""
    return {"bag": stores.code("J10", "V9"), "crew": "crew 3", "truck": "14", "signature": CREW.name}


def test_no_bag_of_a_cancelled_job_goes_out_and_its_pieces_are_put_back_by_scan(stores: Stores) -> None:
    cancel_job(job="J10", why="feeder sold", by="planner", at=stores.at)
    assert states() == {"cancelled"}
    assert "it is cancelled" in refusal("not-in-this-state", issue, **out(stores), **stores.scan())
    (found,) = rework(on=stores.at.date())
    assert (str(found.bag), found.whys, found.next, found.add) == (
        "J10 V9", ("job cancelled: feeder sold",), ("put back",), (),
    )  # fmt: skip
    assert Job.objects.get(job="J10").bags.count() > 1
    assert [str(bag) for bag in not_ended(["H"])] == ["J10 V9"]  # the empty ones are done
    inside = stores.counted("J10", "V9")
    taken: dict[str, int] = {}
    for one in found.take_out:
        taken[one.stock_code] = taken.get(one.stock_code, 0) + one.quantity
    assert taken == inside
    for one in found.take_out:
        shelf = stores.place("H", "shelf of what comes back")
        put_back(
            bag=found.code, stock_code=one.stock_code, lot=one.lot, place=shelf, quantity=one.quantity,
            **stores.scan(),
        )  # fmt: skip
    assert rework(on=stores.at.date()) == ()
    assert not not_ended(["H"])
    close(bag=found.code, **stores.scan())


def test_a_bag_on_hold_when_its_job_is_cancelled_stays_cancelled_once_the_hold_is_lifted(stores: Stores) -> None:
    lot = next(lot for lot in stores.contents("J10", "V9").lots.values() if lot.number)
    recall_lot(stock_code=lot.item.stock_code, lot=lot.number, reason="maker's recall", **stores.scan(DUTY))
    cancel_job(job="J10", why="feeder sold", by="planner", at=stores.at)
    bag = stores.bag("J10", "V9")
    assert (bag.state, bag.state_before_hold) == ("on hold", "cancelled")


def test_a_job_is_not_complete_while_a_bag_is_out_and_one_handed_back_after_cancelling_is_given_up(
    stores: Stores,
) -> None:
    issue(**out(stores), **stores.scan(), approver=DUTY, reason="V10 follows")
    told = refusal("job-not-ready", complete_job, job="J10", by="planner", at=stores.at)
    assert "J10 V9 out with the crew" in told
    cancel_job(job="J10", why="feeder sold", by="planner", at=stores.at)
    assert stores.bag("J10", "V9").state == "issued"
    hand_back(bag=stores.code("J10", "V9"), why="outage is off", **stores.scan())
    assert stores.bag("J10", "V9").state == "cancelled"
    assert Job.objects.get(job="J10").ended == "cancelled"


def test_bags_that_never_went_out_are_given_up_when_the_job_is_done(stores: Stores) -> None:
    complete_job(job="J10", by="planner", at=stores.at)
    assert (Job.objects.get(job="J10").ended, states()) == ("complete", {"cancelled"})
