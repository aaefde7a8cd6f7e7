"""A kit whose bags are staged at two depots: planned, filled and told apart, and brought together by van."""

from collections.abc import Mapping
from datetime import date

import pytest
from bag_stores import Stores, demo_sheets, planned, promised_in_vain
from module_books import books_of_module
from people import BUYER, PLANNER
from record_books import load
from refusals import refusal

from inventory.models import Balance, Depot, LotHold, Movement, Transfer
from inventory.selectors.rebuilding import unequal_balances
from inventory.services.transferring import receive_transfer
from jobs.models import Job
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import raw_book, raw_sheet
from kitting.models import BAG_LABEL, AppliedPlan, BagDepot, Event, PlanRow, Promise
from kitting.roles import Actor
from kitting.selectors.bag_contents import facts_of
from kitting.selectors.bag_rows import bag_rows, not_ended
from kitting.selectors.overrides import overrides
from kitting.selectors.pick_walk import pick_walk
from kitting.selectors.rework import rework
from kitting.selectors.sheets import sheets_from_records
from kitting.selectors.vans import transfers_open, vans_wanted
from kitting.services.bag_depots import change_bag_depot
from kitting.services.change_facts import change_facts
from kitting.services.freeze_outages import freeze_outages
from kitting.services.issue_bags import issue
from kitting.services.job_steps import confirm_job
from kitting.services.list_bags import review
from kitting.services.note_printing import note_printing
from kitting.services.send_bags import send_bag, take_in_bag
from kitting.services.settle_transfers import settle_transfers

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)
AT_HARBOR = Actor("K. Ames", frozenset({"storekeeper"}), frozenset({"H"}))
AT_NORTH = Actor("F. Iqbal", frozenset({"storekeeper"}), frozenset({"N"}))


@pytest.fixture
def stores() -> Stores:
    """The demo on the first morning, planned and applied."""
    return Stores()


def staged_at(stores: Stores, structure: str, depot: str) -> None:
    at = stores.scan()["at"]
    change_bag_depot(job="J03", structure=structure, depot=depot, seen="N", actor=PLANNER, at=at)


def told(job: str) -> Mapping[str, object]:
    """What the plan applied last says of a job."""
    plan_ = AppliedPlan.objects.order_by("-pk")[0]
    return next(one for one in plan_.summary["jobs"] if one["job"] == job)


def promised_at_bag(stores: Stores) -> int:
    """Thousandths that are promised where the pieces of the bag for B1 lie now."""
    found = Promise.objects.filter(place=stores.bag("J03", "B1").place, released_at=None)
    return sum(found.values_list("quantity", flat=True))


def where_owned() -> dict[int, int]:
    """Thousandths of each lot at all places and endings together."""
    found: dict[int, int] = {}
    for lot, quantity in Balance.objects.values_list("lot", "quantity"):
        found[lot] = found.get(lot, 0) + quantity
    return found


def old_label(stores: Stores, structure: str) -> str:
    return facts_of(stores.contents("J03", structure)).old_label


def test_a_bag_of_a_job_is_staged_at_another_depot_and_the_answer_names_the_depot_that_is_late(stores: Stores) -> None:
    assert "waits_for" not in told("J03")
    staged_at(stores, "B2", "H")  # three elbows must come from North
    stores.plan()
    assert (told("J03")["answer"], told("J03")["days"]) == ("ready if", {"H": "2026-03-10", "N": "2026-03-10"})
    assert told("J03")["waits_for"] == "ready if H stages B2 (3 come there by 2026-03-03)"
    rows = [*PlanRow.objects.filter(table="requirements", job="J03").values_list("cells", flat=True)]
    assert {row["depot"] for row in rows if row["structure"] == "B2"} == {"H"}
    assert {row["depot"] for row in rows if row["structure"] not in ("", "B2")} == {"N"}
    late = next(row for row in rows if row["structure"] == "B2" and row["answer"] == "ready if")
    assert late["reason"].endswith("3 come from N to H by 2026-03-03")
    bags = {bag.structure: bag.depot.depot for bag in stores.bags("J03")}
    assert bags.pop("B2") == "H"
    assert set(bags.values()) == {"N"}
    wanted = Promise.objects.filter(job__job="J03", released_at=None, depot="H")
    assert set(wanted.values_list("line", flat=True)) <= {row["line"] for row in rows if row["depot"] == "H"}
    assert any("J03" in van.jobs for van in vans_wanted(["H"]) if (van.source.depot, van.target.depot) == ("N", "H"))


def test_only_a_planner_says_where_a_bag_is_staged_and_only_as_it_was_when_looked_at(stores: Stores) -> None:
    at = stores.scan()["at"]
    asked = {"job": "J03", "structure": "B1", "depot": "H", "seen": "N", "actor": PLANNER, "at": at}
    assert "planner" in refusal("not-allowed", change_bag_depot, **{**asked, "actor": BUYER})
    assert "no open job J99" in refusal("unknown-job", change_bag_depot, **{**asked, "job": "J99"})
    assert "no location Z9" in refusal("no-such-location", change_bag_depot, **{**asked, "structure": "Z9"})
    refusal("unknown-depot", change_bag_depot, **{**asked, "depot": "X"})
    assert "at N meanwhile, not at M" in refusal("stale-edit", change_bag_depot, **{**asked, "seen": "M"})
    assert not BagDepot.objects.exists()
    change_bag_depot(**asked)
    assert str(BagDepot.objects.get()) == "J03 B1 at H"
    assert "at H meanwhile" in refusal("stale-edit", change_bag_depot, **asked)
    change_bag_depot(**{**asked, "depot": "N", "seen": "H"})
    assert not BagDepot.objects.exists()  # the job's own depot needs no record
    assert [one.data["after"] for one in Event.objects.filter(name="bag depot changed")] == ["H", "N"]


def test_a_listed_bag_follows_with_its_promises_free_and_one_that_is_begun_stays(stores: Stores) -> None:
    stores.bags("J03")
    before = Promise.objects.filter(job__job="J03", line__startswith="J03/B1-", released_at=None).count()
    assert before
    staged_at(stores, "B1", "H")
    bag = stores.bag("J03", "B1")
    assert (bag.depot.depot, bag.place.depot.depot, bag.place.kind) == ("H", "H", "bag")
    assert not Promise.objects.filter(job__job="J03", line__startswith="J03/B1-", released_at=None).exists()
    assert Promise.objects.filter(job__job="J03", line__startswith="J03/B2-", released_at=None).exists()
    stores.plan()
    assert stores.bag("J03", "B1").depot.depot == "H"
    stores.ready("J03", "B2")
    asked = {"job": "J03", "structure": "B2", "depot": "H", "seen": "N", "actor": PLANNER, "at": stores.scan()["at"]}
    assert "it is staged: put its pieces back, or send it" in refusal("bag-begun", change_bag_depot, **asked)
    assert stores.bag("J03", "B2").depot.depot == "N"
    assert BagDepot.objects.count() == 1


def test_after_the_freeze_the_depot_of_a_bag_changes_for_a_reason_only(stores: Stores) -> None:
    day = Job.objects.get(job="J03").cutover[:10]
    confirm_job(job="J03", actor=PLANNER, at=stores.scan()["at"], why="traffic agreed")
    freeze_outages(day=stores.at.date().fromisoformat(day), actor=PLANNER, at=stores.scan()["at"])
    asked = {"job": "J03", "structure": "B1", "depot": "H", "seen": "N", "actor": PLANNER, "at": stores.scan()["at"]}
    refusal("frozen", change_bag_depot, **asked)
    assert not BagDepot.objects.exists()
    change_bag_depot(**asked, reason="the crew starts from the harbour")
    assert [one.reason for one in overrides() if "freeze" in one.what] == ["the crew starts from the harbour"]


def test_the_sheet_and_the_cell_of_a_record_move_an_unbegun_bag_as_the_page_does(stores: Stores) -> None:
    stores.bags("J03")
    sheet = raw_sheet("bag depots", ("job", "structure", "depot"), [("J03", "B1", "H")])
    load(raw_book([*demo_sheets().sheets.values(), sheet]))
    assert stores.bag("J03", "B1").depot.depot == "H"
    change_facts(
        sheet="bag depots", key=("J03", "B1"), version=1, changes={"depot": "M"}, by="R. Tolley", at=stores.scan()["at"]
    )
    assert stores.bag("J03", "B1").depot.depot == "M"
    load(raw_book([*demo_sheets().sheets.values(), raw_sheet("bag depots", ("job", "structure", "depot"), [])]))
    assert stores.bag("J03", "B1").depot.depot == "N"
    assert not BagDepot.objects.exists()


def test_each_depot_picks_its_own_bags_of_one_job(stores: Stores) -> None:
    staged_at(stores, "B1", "H")
    stores.plan()
    stores.bags("J03")
    assert {row.bag.structure for row in bag_rows(not_ended(["H"])) if row.bag.job.job == "J03"} == {"B1"}
    walked = {depot: {step.bag.structure for step in pick_walk(depot=depot, jobs=["J03"])} for depot in ("H", "N")}
    assert walked["H"] == {"B1"}
    assert "B1" not in walked["N"]
    assert {"B2", "V1", "V2"} <= walked["N"]
    step = next(one for one in pick_walk(depot="H", jobs=["J03"]))
    given = ("J03", "B1", step.lot.item.stock_code, step.lot.number, step.place, 1)
    assert "acts for N only, not for H" in refusal("other-depot", stores.pick, *given, by=AT_NORTH)
    stores.pick(*given, by=AT_HARBOR)
    assert stores.counted("J03", "B1") == {step.lot.item.stock_code: 1000}


def test_a_staged_bag_goes_whole_by_van_and_is_counted_all_the_way(stores: Stores) -> None:
    stores.bags("J03")
    stores.ready("J03", "B1")
    stores.plan()
    inside, owned = stores.counted("J03", "B1"), where_owned()
    assert inside
    code = stores.code("J03", "B1")
    sent = send_bag(bag=code, to_depot="H", **stores.scan(AT_NORTH))
    assert sent.word == "ON THE ROAD"
    bag = stores.bag("J03", "B1")
    assert (bag.depot.depot, bag.place.kind, bag.whereabouts, bag.state) == ("H", "van", "on the road to H", "staged")
    assert stores.counted("J03", "B1") == inside  # they lie in the van, kept for the job
    assert (bag.place.job, bag.place.structure) == ("J03", "B1")
    assert str(BagDepot.objects.get()) == "J03 B1 at H"
    assert Event.objects.get(name="bag sent", addressed_to="storekeeper").depot == "H"
    assert [str(van) for van in transfers_open(["H"])] == [str(bag.transfer)]
    refused = {"crew": "Crew 14", "truck": "14", "signature": "T. Ahola"}
    assert "ON THE ROAD TO H" in refusal("bag-not-ready", issue, bag=code, **refused, **stores.scan())
    assert "acts for N only" in refusal("other-depot", take_in_bag, bag=code, rack="H-1", **stores.scan(AT_NORTH))
    arrived = take_in_bag(bag=code, rack="H-1", **stores.scan(AT_HARBOR))
    assert arrived.sentence.startswith("J03 B1 at H-1: FULL")
    bag = stores.bag("J03", "B1")
    assert (bag.place.depot.depot, bag.place.kind, bag.whereabouts, bag.transfer) == ("H", "bag", "H-1", None)
    assert stores.counted("J03", "B1") == inside
    assert where_owned() == owned
    assert not [*unequal_balances()]
    assert not transfers_open(["H"])
    assert not promised_in_vain()
    lots = Balance.objects.filter(place=bag.place, quantity__gt=0).values_list("lot", flat=True)
    assert Movement.objects.filter(lot__in=lots, from_place__kind="van", to_place=bag.place).count() == len(lots)
    issue(bag=code, **refused, **stores.scan(AT_HARBOR))
    assert stores.bag("J03", "B1").state == "issued"


def test_a_label_of_before_a_bag_went_to_another_depot_is_old_until_it_is_printed_again(stores: Stores) -> None:
    """The paper names the depot at which the bag is staged; no letter of the schedule tells that it is another."""
    stores.bags("J03")
    for structure in ("B1", "B2"):
        note_printing(document=BAG_LABEL, subject=f"J03 {structure}", revision="F00001", **stores.scan())
    stores.ready("J03", "B1")
    staged_at(stores, "B2", "H")
    assert old_label(stores, "B2") == "OLD LABEL: printed before staged at H, not at N; print it again"
    code = stores.code("J03", "B1")
    assert "OLD LABEL: printed before staged at H" in send_bag(bag=code, to_depot="H", **stores.scan()).sentence
    placed = take_in_bag(bag=f"BAG {code} REV A | B1 | J03", rack="H-1", **stores.scan(AT_HARBOR))
    assert placed.sentence.endswith("printed before staged at H, not at N; print it again.")
    assert {str(row.bag): row.next for row in rework(on=stores.at.date())}["J03 B1"] == ("print its label again",)
    given = {"crew": "Crew 14", "truck": "14", "signature": "T. Ahola"}
    assert "OLD LABEL" in refusal("bag-not-ready", issue, bag=code, **given, **stores.scan(AT_HARBOR))
    note_printing(document=BAG_LABEL, subject="J03 B1", revision="F00002", **stores.scan())
    assert old_label(stores, "B1") == ""
    assert issue(bag=code, **given, **stores.scan(AT_HARBOR)).bag.state == "issued"


def test_the_plan_keeps_a_bag_on_the_road_for_its_job_and_its_promises_follow(stores: Stores) -> None:
    stores.bags("J03")
    stores.ready("J03", "B1")
    stores.plan()
    before = promised_at_bag(stores)
    assert before
    send_bag(bag=stores.code("J03", "B1"), to_depot="H", **stores.scan())
    van = stores.bag("J03", "B1").place
    assert promised_at_bag(stores) == before
    on_road = Promise.objects.filter(place=van, released_at=None)
    assert set(on_road.values_list("source", "depot", "ready_on")) == {("transfer", "H", date(2026, 3, 3))}
    assert settle_transfers(by="M. Osei", at=stores.scan()["at"]) == 0
    made = plan(read_book(sheets_from_records()), as_of=stores.at.date())
    taken = made.promises[made.promises["place"] == van.code]
    assert set(taken["job"]) == {"J03"}
    assert sum(taken["quantity"]) * 1000 == before
    assert set(taken["source"]) == {"transfer"}
    stores.plan()
    take_in_bag(bag=stores.code("J03", "B1"), rack="H-1", **stores.scan())
    assert promised_at_bag(stores) == before
    here = Promise.objects.filter(place=stores.bag("J03", "B1").place, released_at=None)
    assert set(here.values_list("source", flat=True)) == {"shelf"}
    assert not promised_in_vain()
    stores.plan()
    assert "waits_for" not in told("J03")


def test_what_can_not_go_to_another_depot_whole_stays(stores: Stores) -> None:
    stores.bags("J03")
    code = stores.code("J03", "B1")
    assert "it is listed" in refusal("not-in-this-state", send_bag, bag=code, to_depot="H", **stores.scan())
    stores.ready("J03", "B1")
    assert "staged at N" in refusal("same-depot", send_bag, bag=code, to_depot="N", **stores.scan())
    refusal("unknown-depot", send_bag, bag=code, to_depot="X", **stores.scan())
    Depot.objects.create(depot="Q")
    assert refusal("no-way", send_bag, bag=code, to_depot="Q", **stores.scan()) == "No van goes from N to Q."
    assert "may not do this" in refusal("not-allowed", send_bag, bag=code, to_depot="H", **stores.scan(PLANNER))
    assert "not on the road" in refusal("bag-not-ready", take_in_bag, bag=code, rack="N-1", **stores.scan())
    lot = Balance.objects.filter(place=stores.bag("J03", "B1").place, quantity__gt=0).exclude(lot__number="")[0].lot
    LotHold.objects.create(
        item=lot.item, lot_number=lot.number, reason="cracked", placed_by="I. Varga", placed_at=stores.at
    )
    assert "HOLD" in refusal("bag-not-ready", send_bag, bag=code, to_depot="H", **stores.scan())
    assert not Transfer.objects.exists()
    assert not BagDepot.objects.exists()


def test_a_bag_held_on_the_road_is_taken_in_as_it_is_and_goes_no_further(stores: Stores) -> None:
    stores.bags("J03")
    stores.ready("J03", "B1")
    code = stores.code("J03", "B1")
    send_bag(bag=code, to_depot="H", **stores.scan())
    bag = stores.bag("J03", "B1")
    lot = Balance.objects.filter(place=bag.place, quantity__gt=0).exclude(lot__number="")[0].lot
    LotHold.objects.create(
        item=lot.item, lot_number=lot.number, reason="cracked", placed_by="I. Varga", placed_at=stores.at
    )
    review(type(bag).objects.filter(pk=bag.pk), by="I. Varga", at=stores.scan()["at"])
    assert stores.bag("J03", "B1").state == "on hold"
    van = bag.transfer
    assert van
    unloads = {"transfer": van.number, "unloads": [], "by": "K. Ames", "at": stores.at, "action": "by-hand"}
    assert "take it in whole by scan" in refusal("goes-whole", receive_transfer, **unloads)
    take_in_bag(bag=code, rack="H-1", **stores.scan(AT_HARBOR))
    after = stores.bag("J03", "B1")
    assert (after.state, after.place.depot.depot) == ("on hold", "H")
    facts = facts_of(stores.contents("J03", "B1"))
    assert facts.held
    assert not facts.road
