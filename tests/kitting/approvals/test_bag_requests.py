"""A storekeeper asks that a bag goes out short, or lends; planner or duty supervisor let it, once and within limits."""

from datetime import date, timedelta
from typing import Any

import pytest
from bag_stores import NIGHT, OTHER_STORES, Stores, demo_sheets, staged_early
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import BUYER, CREW, DUTY, PLANNER, STORES
from refusals import refusal

from kitting.documents.bag_records import bag_papers
from kitting.models import APPROVED, LAPSED, USED, BagRequest, Borrow, Event, KeptKit, Storm
from kitting.models.storms import NEVER, ONLY_WITH_PLANNER
from kitting.selectors.bag_contents import label_code
from kitting.selectors.bag_requests import of_bag, short_issues_asked, to_be_used
from kitting.selectors.overrides import overrides
from kitting.services.bag_requests import Within, ask_borrow, ask_short_issue, keep_bag, let_bag
from kitting.services.borrow_pieces import borrow
from kitting.services.emergency import open_emergency
from kitting.services.fill_bags import check, finish_short, put_back, reopen
from kitting.services.issue_bags import hand_back, issue, stage

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 14)


def prepared() -> None:
    """J10's bag may lend; J03's bag for vault 1 is staged, one seal short."""
    staged_early()
    made = Stores(prefix="short")
    made.bags("J03")
    made.fetch("J03", "V1", but={"JS-3": 2})  # one of the seven is the spare
    made_short(made)


def made_short(stores: Stores) -> None:
    code = stores.code("J03", "V1")
    finish_short(bag=code, cause="not in the bin", **stores.scan())
    check(bag=code, counted=stores.counted("J03", "V1"), **stores.scan(OTHER_STORES))
    stage(bag=code, rack="R-1", **stores.scan())


books = books_of_module(demo_sheets, prepared)


@pytest.fixture
def stores() -> Stores:
    return Stores(NIGHT - timedelta(days=3))


def ask(stores: Stores, **given: Any) -> BagRequest:
    who = {"actor": STORES, "at": stores.at}
    asked = {"crew": "Crew 14", "needed_at": "2026-03-12 06:00", "why": "the seal comes by van"}
    return ask_short_issue(**{"bag": stores.code("J03", "V1"), **asked, **who, **given})


def let(request: BagRequest, stores: Stores, **given: Any) -> BagRequest:
    asked = {"within": Within(date(2026, 3, 13)), "reason": "the van is on its way", "actor": PLANNER, "at": stores.at}
    return let_bag(number=request.pk, **{**asked, **given})


def out(stores: Stores, **given: Any) -> dict[str, Any]:
    signed = {"crew": "Crew 14", "truck": "14", "signature": "T. Ahola"}
    return {"bag": stores.code("J03", "V1"), **signed, **stores.scan(), **given}


def test_a_short_bag_that_was_asked_and_approved_goes_out_once_and_the_slip_names_who_approved(stores: Stores) -> None:
    request = ask(stores)
    assert "SHORT – NEEDS SUPERVISOR: 1 JS-3" in refusal("bag-not-ready", issue, **out(stores))  # asked is not approved

    let(request, stores)
    gone = issue(**out(stores))
    hand_back(bag=stores.code("J03", "V1"), why="called off", **stores.scan())
    made_short(stores)

    assert gone.word == "OUT"
    (allowed,) = bag_papers("J03").issue.allowed
    assert (allowed.approved_by, allowed.why) == (PLANNER.name, "the seal comes by van; the van is on its way")
    request.refresh_from_db()
    assert (request.state, request.ended, request.decided_as) == (APPROVED, USED, "planner")
    assert "SHORT – NEEDS SUPERVISOR: 1 JS-3" in refusal("bag-not-ready", issue, **out(stores))  # once
    names = ["short issue asked", "short issue asked", "short issue approved", "bag issued short"]
    assert [one.name for one in Event.objects.filter(name__in=names).order_by("number")] == names
    told = [(one.what, one.by, one.asked_by) for one in overrides(since=stores.at)]
    assert told == [
        ("short issue approved", PLANNER.name, STORES.name), ("short issue", PLANNER.name, STORES.name)
    ]  # fmt: skip


def test_an_approval_lapses_when_other_pieces_are_short_or_its_last_day_is_past(stores: Stores) -> None:
    request = let(ask(stores), stores)
    code = stores.code("J03", "V1")
    late = refusal("leave-lapsed", issue, **out(stores, at=stores.at + timedelta(days=9)))
    reopen(bag=code, why="look again", **stores.scan())
    lot = next(lot for lot in stores.contents("J03", "V1").lots.values() if lot.item.stock_code == "JS-3")
    shelf = stores.place("N", "N-01-1")
    one = {"bag": code, "stock_code": "JS-3", "lot": lot.number, "place": shelf, "quantity": 1000}
    put_back(**one, **stores.scan())
    made_short(stores)

    lapsed = refusal("leave-lapsed", issue, **out(stores))
    leave = {"approver": DUTY, "reason": "they wait"}

    assert late.endswith("but it held through 2026-03-13: ask again.")
    assert "J03 V1 lacks 2 JS-3 now, and 1 JS-3 when it was asked: ask again" in lapsed
    assert not to_be_used([], stores.at.date())
    again = ask(stores)
    request.refresh_from_db()
    assert request.ended == LAPSED
    assert issue(**out(stores, **leave)).word == "OUT"  # who signs in on the spot needs no approval
    again.refresh_from_db()
    assert again.ended == LAPSED
    assert not short_issues_asked()


def test_with_fewer_pieces_missing_an_approval_still_holds(stores: Stores) -> None:
    reopen(bag=stores.code("J03", "V1"), why="look again", **stores.scan())
    lot = next(lot for lot in stores.contents("J03", "V1").lots.values() if lot.item.stock_code == "JS-3")
    one = {"bag": stores.code("J03", "V1"), "stock_code": "JS-3", "lot": lot.number, "quantity": 1000}
    put_back(**one, place=stores.place("N", "N-01-1"), **stores.scan())
    made_short(stores)
    let(ask(stores), stores)
    reopen(bag=stores.code("J03", "V1"), why="one is found", **stores.scan())
    stores.pick("J03", "V1", "JS-3", lot.number, stores.place("N", "N-01-1"), 1)
    made_short(stores)

    assert issue(**out(stores)).sentence.startswith("J03 V1: SHORT: 1 JS-3")


def test_nobody_approves_what_they_asked_or_carry_out_and_both_give_a_reason(stores: Stores) -> None:
    assert "may not ask" in refusal("not-allowed", ask, stores, actor=BUYER)
    assert "needs a reason" in refusal("no-reason", ask, stores, why=" ")
    assert "which crew" in refusal("no-crew", ask, stores, crew=" ").lower()
    own = ask(stores, actor=DUTY)
    assert "another person decides" in refusal("own-request", let, own, stores, actor=DUTY)
    assert Event.objects.filter(name="own request not decided").count() == 1
    assert "is asked by J. Brandt already" in refusal("asked-already", ask, stores)
    assert "may not approve" in refusal("not-allowed", let, own, stores, actor=STORES)
    assert "needs a reason" in refusal("no-reason", let, own, stores, reason=" ")
    assert "not past" in refusal("no-limit", let, own, stores, within=Within(date(2026, 3, 1)))

    keep_bag(number=own.pk, reason="the seal is at the next depot", actor=PLANNER, at=stores.at)
    assert "is refused by R. Tolley already" in refusal("decided-already", let, own, stores)
    let(ask(stores), stores, actor=DUTY)
    assert "another person authorises" in refusal("own-approval", issue, **out(stores, actor=DUTY))
    assert issue(**out(stores)).word == "OUT"


def test_only_a_filled_bag_that_is_short_is_asked_for(stores: Stores) -> None:
    stores.ready("J03", "B2")
    assert "nothing is missing" in refusal("not-short", ask, stores, bag=stores.code("J03", "B2"))
    assert "say first that this is all there is" in refusal("not-short", ask, stores, bag=stores.code("J03", "B1"))
    request = ask(stores)
    reopen(bag=stores.code("J03", "V1"), why="look again", **stores.scan())
    lot = next(lot for lot in stores.contents("J03", "V1").lots.values() if lot.item.stock_code == "JS-3")
    one = {"bag": stores.code("J03", "V1"), "stock_code": "JS-3", "lot": lot.number, "quantity": 1000}
    put_back(**one, place=stores.place("N", "N-01-1"), **stores.scan())

    assert "lacks 2 JS-3 now" in refusal("bag-changed", let, request, stores)
    assert "THE BAG HAS CHANGED" in short_issues_asked()[0].note


@pytest.fixture
def night() -> Stores:
    return Stores(NIGHT)


@pytest.fixture
def taker(night: Stores) -> str:
    """The code of the bag for Saltmarsh, which wants three splices."""
    found = open_emergency(
        job="E01", structure="Saltmarsh", depot="H", wanted={"CS15-2": 3000}, why="dig-in", **night.scan(DUTY)
    )
    return label_code(found.bag)


def pieces(night: Stores, taker: str, **given: Any) -> dict[str, Any]:
    return {
        "bag": night.code("J10", "V9"), "to_bag": taker, "stock_code": "CS15-2", "lot": "L-2508A", "quantity": 3000,
        "why": "dig-in", "pay_back_by": date(2026, 4, 9), "confirmed": ("free-first/1",), **given,
    }  # fmt: skip


def test_exactly_the_pieces_that_were_approved_are_borrowed_once_and_the_note_names_who_approved(
    night: Stores, taker: str
) -> None:
    who = {"actor": STORES, "at": night.at}
    question = refusal("to-confirm", ask_borrow, **pieces(night, taker, confirmed=()), **who)
    request = ask_borrow(**pieces(night, taker), **who)
    none = refusal("no-leave", borrow, **pieces(night, taker), **night.scan())
    within = Within(DAY, date(2026, 4, 8))
    let(request, night, actor=DUTY, within=within)

    fewer = refusal("no-leave", borrow, **pieces(night, taker, quantity=2000), **night.scan())
    late = refusal("too-late", borrow, **pieces(night, taker), **night.scan())
    scan = night.scan(OTHER_STORES)
    taken = pieces(night, taker, pay_back_by=date(2026, 4, 8))
    lent = borrow(**taken, **scan)

    assert "Take these first: 3 of CS15-2 lot L-2303B" in question
    assert request.free_first == ["3 of CS15-2 lot L-2303B at H/H-04-2 (near its date, use by 2026-03-31)"]
    assert "are asked first" in none
    assert "are asked first" in fewer
    assert "paid back by 2026-04-08" in late
    assert borrow(**taken, **scan) == lent  # sent twice
    (note,) = bag_papers("J10").borrowed
    assert (note.authorised_by, note.asked_by, note.pay_back_by) == (DUTY.name, STORES.name, "2026-04-08")
    assert [one.what for one in overrides(since=night.at)] == ["borrow approved", "staged bag broken"]
    request.refresh_from_db()
    assert request.ended == USED
    assert Borrow.objects.count() == 1


def test_a_borrow_is_asked_of_a_bag_that_holds_the_pieces_for_another_job_that_misses_them(
    night: Stores, taker: str
) -> None:
    who = {"actor": STORES, "at": night.at}
    asked = [
        ("not-in-bag", {"lot": "L-1"}), ("not-wanted", {"quantity": 4000}), ("no-reason", {"why": ""}),
        ("same-job", {"bag": taker}), ("not-allowed", {"actor": CREW}),
    ]  # fmt: skip
    for code, wrong in asked:
        assert refusal(code, ask_borrow, **{**pieces(night, taker), **who, **wrong})
    assert ask_borrow(**pieces(night, taker), **who).state == "asked"


def test_a_kit_that_a_storm_keeps_is_lent_by_no_approval_or_only_by_the_planners(night: Stores, taker: str) -> None:
    request = ask_borrow(**pieces(night, taker), actor=STORES, at=night.at)
    storm = Storm.objects.create(
        code="STORM-1", title="wind", state="open", opened_by=DUTY.name, opened_at=night.at, asked_by=PLANNER.name
    )
    kept = KeptKit.objects.create(storm=storm, job=request.bag.job, protection=NEVER, why="hospital", by=PLANNER.name)
    within = Within(DAY)
    assert "is broken never" in refusal("kit-kept", let, request, night, within=within)
    KeptKit.objects.filter(pk=kept.pk).update(protection=ONLY_WITH_PLANNER)
    assert "ask a planner" in refusal("kit-kept", let, request, night, actor=DUTY, within=within)
    let(request, night, within=within)
    assert borrow(**pieces(night, taker), **night.scan()).authorised_by == PLANNER.name


def test_what_is_asked_of_bags_is_read_with_the_same_few_queries(stores: Stores) -> None:
    bag = stores.bag("J03", "V1")
    for state in ("asked", "refused", "refused"):
        decided = {"decided_by": PLANNER.name, "decided_at": stores.at, "decision": "no"} if state == "refused" else {}
        BagRequest.objects.create(
            what="short issue", bag=bag, lacks={"JS-3": 1000}, crew="Crew 14", state=state, asked_by=STORES.name,
            asked_at=stores.at, why="van", **decided,
        )  # fmt: skip
        with CaptureQueriesContext(connection) as queries:
            of_bag(bag, DAY)
        assert len(queries) <= 4
