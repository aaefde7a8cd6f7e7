"""Bags that can't go out as they are stand on one list, with what to do, the first cutover first."""

from datetime import UTC, date, datetime, timedelta

import pytest
from bag_stores import OTHER_STORES, Stores, demo_sheets
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import DUTY, OTHER_STANDARDS, PLANNER, STANDARDS
from refusals import refusal

from inventory.models import Balance, LotHold
from inventory.services.holding import release_hold
from jobs.models import Job, Reel, Run, ScheduleRevision
from kitting.calculation.sheets.raw import raw_book, raw_sheet
from kitting.models import Bag, Borrow, Event, Promise
from kitting.selectors.bag_contents import label_code
from kitting.selectors.cutovers import cutovers
from kitting.selectors.rework import Pieces, Rework, rework
from kitting.services.borrow_pieces import borrow
from kitting.services.change_facts import change_facts
from kitting.services.draft_rules import draft_rules
from kitting.services.emergency import open_emergency
from kitting.services.fill_bags import check, finish_short, lift, put_back, reopen
from kitting.services.issue_bags import stage
from kitting.services.publish_rules import look_at_draft, publish_draft, review_draft
from kitting.services.recall_lots import recall_lot
from kitting.services.record_events import Happening, record_events
from kitting.services.send_bags import send_bag, take_in_bag

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 2)


def bags_staged() -> None:
    """The demo with three bags of J03 and one of J10 staged."""
    made = Stores(prefix="before")
    made.plan()
    made.bags("J03")
    made.bags("J10")
    for structure in ("V2", "BJ1", "B1"):
        made.ready("J03", structure, rack=f"R-{structure}")
    made.ready("J10", "V9", rack="H rack 4")


books = books_of_module(demo_sheets, bags_staged)


@pytest.fixture
def stores() -> Stores:
    """The stores after that."""
    return Stores()


def row(job: str, structure: str) -> Rework:
    """The row of a bag."""
    return next(one for one in rework(on=TODAY) if (one.bag.job.job, one.bag.structure) == (job, structure))


def listed(depot: str = "") -> list[str]:
    """The bags on the list."""
    return [str(one.bag) for one in rework(on=TODAY, depot=depot)]


def test_a_bag_with_a_recalled_lot_says_what_comes_out_and_goes_in_until_it_is_good_again(stores: Stores) -> None:
    lot = next(lot for lot in stores.contents("J03", "V2").lots.values() if lot.item.stock_code == "CA-4")
    pieces = stores.counted("J03", "V2")["CA-4"]
    assert "J03 V2" not in listed()
    recall_lot(stock_code="CA-4", lot=lot.number, reason="maker's recall", **stores.scan(DUTY))
    found = row("J03", "V2")
    hold = LotHold.objects.get()
    assert found.code == stores.code("J03", "V2")
    assert (found.cutover[:10], found.staged_by) == ("2026-03-12", date(2026, 3, 10))
    assert found.whys == (f"HOLD {hold.pk}: maker's recall",)
    assert found.take_out == (Pieces("CA-4", pieces, lot=lot.number, why=found.whys[0]),)
    assert found.add == (Pieces("CA-4", pieces),)
    assert found.next == ("put back",)
    assert "HOLD" in refusal("bag-not-ready", lift, bag=found.code, **stores.scan())
    aside = stores.place("N", "hold shelf", "hold")
    put_back(bag=found.code, stock_code="CA-4", lot=lot.number, place=aside, quantity=pieces, **stores.scan())
    found = row("J03", "V2")
    assert (found.next, found.take_out) == (("lift hold",), ())
    lift(bag=found.code, **stores.scan())
    bag = stores.bag("J03", "V2")
    assert (bag.state, bag.state_before_hold) == ("reopened", "")
    assert row("J03", "V2").next == ("pick",)


def test_a_lot_that_was_let_go_again_leaves_only_the_hold_of_the_bag_to_lift(stores: Stores) -> None:
    lot = next(lot for lot in stores.contents("J03", "V2").lots.values() if lot.item.stock_code == "CA-4")
    recall_lot(stock_code="CA-4", lot=lot.number, reason="maker's recall", **stores.scan(DUTY))
    release_hold(hold=LotHold.objects.get().pk, reason="other batch", by="I. Varga", at=stores.at, action="release")
    found = row("J03", "V2")
    assert (found.whys, found.next, found.take_out, found.add) == (
        ("nothing in it is held any more",), ("lift hold",), (), (),
    )  # fmt: skip
    lift(bag=found.code, **stores.scan())
    assert "J03 V2" not in listed()


def test_a_bag_out_of_date_for_a_moved_outage_says_which_lot_comes_out(stores: Stores) -> None:
    lot = next(lot for lot in stores.contents("J03", "BJ1").lots.values() if lot.item.stock_code == "CS15-6")
    moved = f"{lot.use_by + timedelta(1)} 08:00"
    Job.objects.filter(job="J03").update(cutover=moved, cutover_end="")
    found = row("J03", "BJ1")
    assert found.bag.state == "staged"
    assert found.next == ("reopen",)
    assert found.whys[0].startswith(f"EXPIRES BEFORE CUTOVER: {lot.use_by}, needed through ")
    job = Job.objects.get(job="J03")
    changes = {"cutover": f"{lot.use_by + timedelta(2)} 08:00"}
    change_facts(sheet="jobs", key=["J03"], version=job.version, changes=changes, by="R. Tolley", at=stores.at)
    found = row("J03", "BJ1")
    assert (found.bag.state, found.next) == ("reopened", ("put back", "pick"))
    assert {pieces.stock_code for pieces in found.take_out} >= {"CS15-6"}


def test_a_broken_bag_says_what_is_to_be_brought_back_and_by_when(stores: Stores) -> None:
    stores.at += timedelta(12)
    emergency = open_emergency(
        job="E01", structure="Saltmarsh", depot="H", wanted={"CS15-2": 3000}, why="dig-in", **stores.scan(DUTY)
    )
    borrow(
        bag=stores.code("J10", "V9"), to_bag=label_code(emergency.bag), stock_code="CS15-2", lot="L-2508A",
        quantity=3000, why="dig-in at Saltmarsh", authoriser=DUTY, pay_back_by=date(2026, 4, 9),
        confirmed=("free-first/1",), **stores.scan(),
    )  # fmt: skip
    found = row("J10", "V9")
    assert found.bag.state == "broken"
    assert found.lent == ("3 CS15-2 by 2026-04-09, lent to E01",)
    assert Pieces("CS15-2", 3000) in found.add
    assert found.next == ("pick", "check")
    assert found.undecided == ("J10/V9-J3/joint/ABC/joint accessories",)
    Borrow.objects.update(paid=3000)
    assert row("J10", "V9").lent == ()


def test_a_short_bag_is_added_to_and_one_staged_short_is_opened_first(stores: Stores) -> None:
    stores.fetch("J03", "V1", but={"JS-3": 2})  # one of the seven is the spare
    assert "J03 V1" not in listed()  # somebody is filling it
    code = stores.code("J03", "V1")
    finish_short(bag=code, cause="not in the bin", **stores.scan())
    found = row("J03", "V1")
    assert (found.whys, found.next) == (("SHORT: 1 JS-3",), ("pick", "check"))
    assert found.add == (Pieces("JS-3", 1000), Pieces("JS-3", 1000, spare=True))
    check(bag=code, counted=stores.counted("J03", "V1"), **stores.scan(OTHER_STORES))
    stage(bag=code, rack="R-9", **stores.scan())
    assert row("J03", "V1").next == ("reopen",)
    assert "say why" in refusal("bag-not-ready", reopen, bag=code, why=" ", **stores.scan())
    assert "may not do" in refusal("not-allowed", reopen, bag=code, why="the seal is here", **stores.scan(PLANNER))
    reopen(bag=code, why="the seal is here", **stores.scan())
    found = row("J03", "V1")
    assert (found.bag.state, found.whys, found.next) == ("reopened", ("the seal is here", "SHORT: 1 JS-3"), ("pick",))
    stores.fetch("J03", "V1")
    check(bag=code, counted=stores.counted("J03", "V1"), **stores.scan(OTHER_STORES))
    assert "J03 V1" not in listed()


def test_a_reel_that_is_measured_after_its_bag_was_filled_keeps_the_bag_in_store_until_it_is_planned_again(
    stores: Stores,
) -> None:
    Run.objects.filter(revision__job__job="J03", revision__live=True).update(reels="R-77")
    cable = Run.objects.filter(revision__job__job="J03", revision__live=True)[0].cable_type
    reel = Reel.objects.create(reel="R-77", cable_type=cable)
    stores.bags("J03")
    stores.ready("J03", "V1", rack="R-1")
    assert "J03 V1" not in {str(one.bag) for one in rework(on=TODAY)}

    ways = {"origin": "gauge", "DOI low": "25 mm", "DOI high": "25 mm"}
    change_facts(sheet="reels", key=("R-77",), version=reel.version, changes=ways, by="R. Tolley", at=stores.at)

    told = refusal("bag-not-ready", lambda: stores.issue("J03", "V1"))
    assert "DOES NOT FIT: CA-4 on reel R-77, too large by" in told
    (row,) = (one for one in rework(on=TODAY) if str(one.bag) == "J03 V1")
    assert row.next[0] == "plan, apply and list again"
    heard = Event.objects.filter(name="part does not fit its reel", subject="J03 V1")
    assert {one.addressed_to for one in heard} == {"planner", "storekeeper"}
    Reel.objects.filter(pk=reel.pk).update(doi_low_nm=35_300_000, doi_high_nm=36_800_000)  # CA-4: from 35.81 mm on
    partly = refusal("bag-not-ready", lambda: stores.issue("J03", "V1"))
    assert "MEASURE: CA-4 on reel R-77, may be too large by 0.51 mm" in partly
    Reel.objects.filter(pk=reel.pk).update(doi_low_nm=37_000_000, doi_high_nm=37_100_000)
    stores.issue("J03", "V1")
    assert stores.bag("J03", "V1").state == "issued"


def test_a_reel_that_is_measured_otherwise_stops_the_bag_of_a_joint_where_its_run_ends(stores: Stores) -> None:
    runs = Run.objects.filter(revision__job__job="J03", revision__live=True)
    meets = runs.filter(to_position__structure__structure="BJ1") | runs.filter(
        from_position__structure__structure="BJ1"
    )
    reel = Reel.objects.create(reel="R-77", cable_type=meets[0].cable_type)
    Run.objects.filter(pk=meets[0].pk).update(reels="R-77")
    assert "J03 BJ1" not in listed()

    ways = {"origin": "gauge", "DOI low": "60 mm", "DOI high": "60 mm"}
    change_facts(sheet="reels", key=("R-77",), version=reel.version, changes=ways, by="R. Tolley", at=stores.at)

    told = refusal("bag-not-ready", lambda: stores.issue("J03", "BJ1"))
    assert "DOES NOT FIT: CS15-6 on reel R-77, too small by" in told
    heard = Event.objects.filter(name="part does not fit its reel", subject="J03 BJ1")
    assert {one.addressed_to for one in heard} == {"planner", "storekeeper"}
    Reel.objects.filter(pk=reel.pk).update(doi_low_nm=30_000_000, doi_high_nm=30_100_000)
    assert "J03 BJ1" not in listed()
    stores.issue("J03", "BJ1")


def test_a_bag_that_published_rules_change_stays_in_store_from_their_day_on_until_a_plan_is_applied(
    stores: Stores,
) -> None:
    told = {"tables": {"spares": {}}, "bag_codes": [stores.bag("J03", "V2").code], "bags": [], "lines": []}
    later, now = ({**told, "live_from": day} for day in ("2090-01-01", "2026-03-02"))
    record_events([Happening("rules published", "draft 1", later)], by="I. Varga", at=stores.at + timedelta(hours=9))
    assert "J03 V2" not in listed()

    record_events([Happening("rules published", "draft 2", now)], by="I. Varga", at=stores.at + timedelta(hours=9))

    words = "RULES CHANGED: spares; plan, apply, look again"
    assert words in refusal("bag-not-ready", lambda: stores.issue("J03", "V2"))
    assert (row("J03", "V2").whys, row("J03", "V2").next[0]) == ((words,), "plan, apply and list again")
    assert "J03 BJ1" not in listed()
    Stores(stores.at + timedelta(hours=10), prefix="planned").plan()
    assert "J03 V2" not in listed()
    stores.issue("J03", "V2")


def test_the_bag_in_which_a_changed_spare_travels_is_stopped_whatever_is_in_it(stores: Stores) -> None:
    heads = ["rule", "when kind", "give kind", "give quantity", "give per", "note", "source"]
    rule = ["S-1", "elbow", "elbow", "1", "outage", "", "our practice"]
    rules = raw_book([raw_sheet("rules spares", heads, [rule])])
    draft = draft_rules(raw=rules, note="fewer spares", actor=STANDARDS, at=stores.at)
    stopped = "RULES CHANGED: spares; plan, apply, look again"
    at = stores.at + timedelta(hours=9)
    look_at_draft(number=draft.pk, actor=OTHER_STANDARDS, at=at)
    review_draft(number=draft.pk, words="seen", actor=OTHER_STANDARDS, at=at)
    publish_draft(number=draft.pk, live_from=at.date(), actor=OTHER_STANDARDS, at=at)

    spares = {bag for bag in listed() if stopped in row(*bag.split()).whys}
    assert "J03 V1" in spares, "a spare of the lug, which belongs to no location; nothing is in the bag yet"
    assert "J03 B1" not in spares
    told = Event.objects.filter(name="rules published").latest("number")
    assert stores.bag("J03", "V1").code in told.data["bag_codes"]
    assert not any("J03 V1" in place for place in told.data["bags"]), "no pieces lie ready there"
    assert told.addressed_to == "storekeeper"


def test_published_rules_hold_from_midnight_at_the_depots_on(stores: Stores, monkeypatch: pytest.MonkeyPatch) -> None:
    told = {"tables": {"spares": {}}, "bag_codes": [stores.bag("J03", "V2").code], "bags": [], "lines": []}
    day = {**told, "live_from": "2026-03-11"}
    record_events([Happening("rules published", "draft 1", day)], by="I. Varga", at=stores.at + timedelta(hours=9))
    for hour, is_stopped in ((4, False), (5, True)):  # in UTC; Chicago's day begins at five
        now = datetime(2026, 3, 11, hour, 30, tzinfo=UTC)
        monkeypatch.setattr("kitting.selectors.changed_rules.books_now", lambda now=now: now)
        assert ("J03 V2" in listed()) == is_stopped


def test_a_job_of_another_depot_is_planned_again_and_its_bags_go_there(stores: Stores) -> None:
    j03, j10 = Job.objects.get(job="J03"), Promise.objects.filter(job__job="J10", released_at=None).count()
    assert Promise.objects.filter(job=j03, released_at=None).exists()
    assert not any("ANOTHER DEPOT" in why for one in rework(on=TODAY) for why in one.whys)
    there = {"sheet": "jobs", "key": ["J03"], "version": j03.version, "changes": {"depot": "H"}}
    change_facts(**there, by=PLANNER.name, at=stores.scan()["at"])

    (planned,) = cutovers(["J03"])
    assert planned.changed == "another depot"
    assert not Promise.objects.filter(job=j03, released_at=None).exists()
    assert Promise.objects.filter(job__job="J10", released_at=None).count() == j10
    told = Event.objects.filter(name="job moved", addressed_to="storekeeper")
    assert {one.depot for one in told} == {"N", "H"}
    words = "ANOTHER DEPOT: to be staged at H, not at N"
    filled, unbegun = row("J03", "B1"), row("J03", "V1")
    assert (filled.whys, filled.next) == ((words,), ("send whole",))
    assert (unbegun.whys[0], unbegun.next[0]) == (words, "plan, apply and list again")
    assert words in refusal("bag-not-ready", lambda: stores.issue("J03", "B1"))

    stores.plan()
    assert cutovers(["J03"])[0].changed == ""
    assert stores.bag("J03", "V1").depot.depot == "H"
    send_bag(bag=filled.code, to_depot="H", **stores.scan())
    assert take_in_bag(bag=filled.code, rack="H-1", **stores.scan()).word == "PLACED"
    assert not {"J03 B1", "J03 V1"} & {*listed()}
    stores.issue("J03", "B1")


def test_a_bag_begun_at_the_old_depot_is_emptied_there_and_then_filled_at_the_new_one(stores: Stores) -> None:
    stores.fetch("J03", "B2")
    j03 = Job.objects.get(job="J03")
    moved = {"sheet": "jobs", "key": ["J03"], "version": j03.version, "changes": {"depot": "H"}}
    change_facts(**moved, by=PLANNER.name, at=stores.scan()["at"])
    stores.plan()
    begun = row("J03", "B2")
    assert (begun.bag.state, str(begun.bag.depot)) == ("picking", "N")
    words = "ANOTHER DEPOT: to be staged at H, not at N; put its pieces back, then plan, apply and list again;"
    assert begun.whys[0].startswith(words)
    assert begun.next[0] == "put back"

    bag, shelf = stores.bag("J03", "B2"), stores.place("N", "back")
    for one in Balance.objects.filter(place=bag.place, quantity__gt=0).select_related("lot__item"):
        told = {"stock_code": one.lot.item.stock_code, "lot": one.lot.number, "quantity": one.quantity}
        put_back(bag=begun.code, place=shelf, **told, **stores.scan())
    emptied = row("J03", "B2")
    assert emptied.whys[0] == "ANOTHER DEPOT: to be staged at H, not at N"
    assert emptied.next[0] == "plan, apply and list again"
    stores.plan()
    assert str(stores.bag("J03", "B2").depot) == "H"
    assert not any("ANOTHER DEPOT" in why for one in rework(on=TODAY) if one.bag == bag for why in one.whys)
    stores.fetch("J03", "B2")
    assert stores.contents("J03", "B2").open()


def test_a_superseded_bag_waits_for_a_plan_and_a_list(stores: Stores) -> None:
    ScheduleRevision.objects.filter(job__job="J03", live=True).update(letter="B")
    found = row("J03", "B1")
    assert found.bag.state == "staged"
    assert found.whys == ("SUPERSEDED BY REV B: the bag was listed for rev A; plan, apply, look again",)
    assert found.next == ("plan, apply and list again",)
    stores.plan()
    assert "J03 B1" not in listed()


def test_the_first_cutover_comes_first_and_a_depot_sees_its_own(stores: Stores) -> None:
    Bag.objects.filter(structure__in=("V9", "B1", "V2")).update(state="reopened", why="looked at")
    assert listed() == ["J03 B1", "J03 V2", "J10 V9"]
    Job.objects.filter(job="J03").update(cutover="")
    assert listed() == ["J10 V9", "J03 B1", "J03 V2"]
    assert listed("H") == ["J10 V9"]
    assert stores.bag("J10", "V9").depot.depot == "H"


def test_a_longer_list_costs_no_more_queries() -> None:
    Bag.objects.filter(job__job="J03", structure="B1").update(state="reopened")
    with CaptureQueriesContext(connection) as one_bag:
        short = rework(on=TODAY, depot="N")
    Bag.objects.filter(job__job="J03", state="staged").update(state="reopened")
    with CaptureQueriesContext(connection) as all_bags:
        long = rework(on=TODAY, depot="N")
    assert (len(short), len(long)) == (1, 3)
    assert len(all_bags) == len(one_bag)
