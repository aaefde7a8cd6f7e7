"""One walk past the bins fills several bags, and each gets what it wants."""

from collections import Counter

import pytest
from bag_stores import Stores, demo_sheets, planned
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from refusals import refusal

from inventory.models import LotHold
from jobs.models import ScheduleRevision
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.documents.pick_list import pick_lists
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.wording import Words
from kitting.models import Bag, Promise
from kitting.selectors.bag_contents import bare, label_code
from kitting.selectors.pick_walk import Step, pick_walk
from kitting.selectors.sheets import sheets_from_records

pytestmark = pytest.mark.django_db


def bags_listed() -> None:
    """The demo on the first morning with the bags of two jobs of one depot listed."""
    planned()
    made = Stores(prefix="listed")
    for job in ("J01", "J03"):
        made.bags(job)


books = books_of_module(demo_sheets, bags_listed)


@pytest.fixture
def stores() -> Stores:
    """The stores after that."""
    return Stores()


def take(stores: Stores, step: Step) -> None:
    """Do what a step of the walk says."""
    stores.pick(
        step.bag.job.job, step.bag.structure, step.lot.item.stock_code, step.lot.number, step.place,
        step.quantity / 1000, confirmed=(),
    )  # fmt: skip


def test_a_walk_over_two_bags_picks_exactly_what_they_want(stores: Stores) -> None:
    codes = [stores.code("J03", "V1"), stores.code("J03", "V2")]
    steps = pick_walk(depot="N", bags=codes)
    assert {step.code for step in steps} == set(codes)
    for step in steps:
        take(stores, step)
    for structure in ("V1", "V2"):
        contents = stores.contents("J03", structure)
        left = [stand.line.line for stand in contents.lines if stand.missing or stand.too_many]
        assert left == (["J03/job/jacket seal/JS-3/spare"] if structure == "V1" else [])  # the depot has nine in all
        wanted = Counter[str]()
        for stand in contents.lines:
            wanted[str(stand.line.item)] += stand.line.quantity - stand.missing
        assert stores.counted("J03", structure) == wanted
    assert pick_walk(depot="N", bags=codes) == ()
    last = steps[-1]
    sentence = refusal("over-pick", take, stores, last)
    assert (
        sentence == f"TOO MANY: {last.bag} wants 0 more {last.lot.item}, not {bare(last.quantity)}: put the rest back."
    )


def test_each_place_is_passed_once_in_natural_order_whatever_the_bag() -> None:
    steps = pick_walk(depot="N")
    assert {step.bag.job.job for step in steps} == {"J01", "J03"}
    places = list(dict.fromkeys(step.place for step in steps))
    assert len(places) == steps[-1].walk == len({(step.walk, step.place.pk) for step in steps})
    rows = [(step.place.pk, step.lot.pk, step.bag.pk) for step in steps]
    assert len(rows) == len(set(rows))
    shared = [place for place in places if len({step.bag.pk for step in steps if step.place == place}) > 1]
    assert shared, "no bin serves two bags"


def test_the_walk_of_one_job_goes_as_its_pick_list_does(stores: Stores) -> None:
    made = plan(read_book(sheets_from_records()), as_of=stores.at.date())
    papers = PlanPapers(made, ["J03"])
    paper = papers.paper("J03")
    listed = pick_lists(papers, paper, Words(made.book.policies.wording))[0]
    assert listed.depot == "N"
    steps = pick_walk(depot="N", jobs=["J03"])
    assert [
        (step.place.code, step.lot.item.stock_code, step.lot.number, step.bag.number, bare(step.quantity - step.spares))
        for step in steps
        if not step.is_spare
    ] == [
        (row.place, row.stock_code, row.lot, row.bag, f"{row.quantity.normalize():f}")
        for row in listed.rows
        if not row.spare
    ]
    assert sum(step.spares for step in steps) == sum(int(row.quantity * 1000) for row in listed.rows if row.spare)


def test_what_is_picked_promised_elsewhere_or_not_to_be_picked_now_is_not_on_the_walk(stores: Stores) -> None:
    before = pick_walk(depot="N", jobs=["J03"])
    step = next(one for one in before if one.quantity >= 2_000 and one.bag.structure == "V1")
    stores.pick(
        "J03", "V1", step.lot.item.stock_code, step.lot.number, step.place, 1, confirmed=("promised-to-others/1",)
    )
    after = {(one.place.pk, one.lot.pk, one.bag.pk): one.quantity for one in pick_walk(depot="N", jobs=["J03"])}
    assert after[step.place.pk, step.lot.pk, step.bag.pk] == step.quantity - 1_000
    at_other_depots = Promise.objects.filter(job__job="J01", released_at=None, source="transfer")
    assert at_other_depots.exists()
    assert {one.place.depot.depot for one in pick_walk(depot="N", jobs=["J01"])} == {"N"}
    Bag.objects.filter(job__job="J03", structure="V1").update(state="on hold")
    ScheduleRevision.objects.filter(job__job="J01", live=True).update(letter="B")
    assert {one.bag.structure for one in pick_walk(depot="N")} >= {"V2"}
    assert "V1" not in {one.bag.structure for one in pick_walk(depot="N")}
    assert pick_walk(depot="N", jobs=["J01"]) == ()


def test_a_held_lot_is_marked_and_unknown_jobs_and_bags_are_refused(stores: Stores) -> None:
    step = pick_walk(depot="N")[0]
    LotHold.objects.create(
        item=step.lot.item, lot_number=step.lot.number, reason="torn", placed_by="Ana", placed_at=stores.at
    )
    assert {one.is_held for one in pick_walk(depot="N") if one.lot == step.lot} == {True}
    assert refusal("unknown-job", pick_walk, depot="N", jobs=["J03", "J99"]) == "There is no job J99."
    assert "read it again" in refusal("wrong-check-characters", pick_walk, depot="N", bags=["J03-V1-1-00"])


def test_a_longer_walk_costs_no_more_queries() -> None:
    bags = [*Bag.objects.select_related("job").order_by("pk")]
    codes = [label_code(bag) for bag in bags]
    on_a_reel = [label_code(bag) for bag in bags if str(bag) == "J01 A2"]
    with CaptureQueriesContext(connection) as one_bag:
        short = pick_walk(depot="N", jobs=["J01"], bags=on_a_reel)
    with CaptureQueriesContext(connection) as all_bags:
        long = pick_walk(depot="N", jobs=["J01", "J03"], bags=codes)
    assert len(long) > 3 * len(short) > 0
    assert len(all_bags) == len(one_bag)
