"""One page of what was overridden, of what stands open, and of scans that wait for a person."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from bag_stores import CREW, Stores, demo_sheets, planned
from browsing import OTHER_STORES, browser_of, people, send, words
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import AUDITOR, BUYER, DUTY, PLANNER, STANDARDS, STORES
from refusals import refusal

from inventory.models import Balance, Depot, Item
from kitting.models import Borrow, Event, KeptScan, Person, Promise
from kitting.selectors.returns_due import returns_due, returns_late
from kitting.services.issue_bags import issue
from kitting.services.pin_pieces import pin_pieces
from kitting.services.replay_scans import Recorded, book_kept, replay, settle_scan

pytestmark = pytest.mark.django_db


def prepared() -> None:
    planned()
    people()


books = books_of_module(demo_sheets, prepared)


def kept(number: int = 1) -> KeptScan:
    at = Stores().at
    return KeptScan.objects.create(
        action=f"D-{number}", device="phone 2", use_case="issue", content={}, by=STORES.name, device_at=at,
        reached_at=at, why="J03 V1: the other crew had the bag",
    )  # fmt: skip


def test_a_scan_that_could_not_be_booked_is_settled_with_a_reason_by_who_keeps_bags() -> None:
    kept()
    client = browser_of(STORES)

    seen = words(client.get("/exceptions"))
    wordless = words(send(client, "/exceptions", scan="D-1", why=" "))
    refused = send(browser_of(AUDITOR), "/exceptions", scan="D-1", why="seen")
    done = words(send(client, "/exceptions", scan="D-1", why="crew 9 had it"))

    assert "the other crew had the bag" in seen
    assert "needs a reason" in wordless
    assert refused.status_code == 403
    assert "Settle it" not in words(browser_of(AUDITOR).get("/exceptions"))
    assert "is settled; nothing was booked" in done
    assert "No scan waits" in done
    assert KeptScan.objects.get().settled_why == "crew 9 had it"


def test_a_kept_scan_waits_for_the_people_of_the_depot_of_its_bag() -> None:
    stores = Stores()
    stores.bags("J03")
    Person.objects.filter(name=OTHER_STORES.name).update(depots=["H"])
    at_h = replace(OTHER_STORES, depots=frozenset({"H"}))
    gone = {"bag": stores.code("J03", "V1"), "crew": "9", "truck": "9", "signature": "A. Roy"}
    scans = [
        Recorded("issue", gone, "of-n", stores.at, STORES),
        Recorded("issue, not cut", {"sent": "{"}, "of-h", stores.at, at_h, "cut off"),
        Recorded("count", {"count_list": 9, "line": 1, "counted": 1}, "of-nobody", stores.at, STORES),
    ]
    assert replay(device="phone 2", scans=scans, device_now=stores.at, at=stores.at).kept == (
        "of-n",
        "of-h",
        "of-nobody",
    )
    told = Event.objects.filter(name="scan kept for a person")
    assert {one.subject: one.depot for one in told} == {"of-n": "N", "of-h": "H", "of-nobody": ""}

    (here, away) = (browser_of(one).get("/exceptions") for one in (STORES, OTHER_STORES))

    assert [one.action for one, _, _ in here.context["kept"]] == ["of-n", "of-h", "of-nobody"]
    assert [one.action for one, _, _ in away.context["kept"]] == ["of-h", "of-nobody"]
    for settle in (settle_scan, book_kept):
        given = {"why": "seen"} if settle is settle_scan else {}
        assert "acts for H only" in refusal("other-depot", settle, action="of-n", **given, actor=at_h, at=stores.at)
    assert settle_scan(action="of-h", why="cut off", actor=at_h, at=stores.at).settled_by == OTHER_STORES.name
    assert settle_scan(action="of-n", why="seen", actor=STORES, at=stores.at).settled_by == STORES.name


def test_what_nobody_has_accounted_for_three_working_days_after_the_outage_is_told() -> None:
    stores = Stores()
    stores.bags("J03")
    stores.ready("J03", "B1")
    given = {"crew": "crew 3", "truck": "14", "signature": CREW.name}
    issue(bag=stores.code("J03", "B1"), **given, **stores.scan())
    (friday, tuesday, wednesday) = (date(2026, 3, day) for day in (13, 17, 18))  # the outage is on Thursday the 12th

    assert {str(one.bag) for one in returns_due(friday)} == {"J03 B1"}
    assert returns_late(tuesday) == []
    assert {str(one.bag) for one in returns_late(wednesday)} == {"J03 B1"}
    Depot.objects.filter(depot="N").update(closed_days="2026-03-16")
    assert returns_late(wednesday) == []


def test_a_borrow_stands_there_with_its_age_until_it_is_paid_back() -> None:
    stores = Stores()
    stores.bags("J03")
    bag = stores.bag("J03", "V1")
    lot = Balance.objects.filter(quantity__gt=0).exclude(lot__number="")[0].lot
    lent = Borrow.objects.create(
        bag=bag, to_job=bag.job, lot=lot, quantity=2000, why="dig-in", asked_by=STORES.name, authorised_by=DUTY.name,
        borrowed_at=stores.at - timedelta(days=6), pay_back_by=stores.at.date() - timedelta(days=1),
    )  # fmt: skip
    client = browser_of(PLANNER)

    seen = words(client.get("/exceptions"))
    lent.paid = 2000
    lent.save()

    assert f"2 {lot.item} lot {lot.number} J03 V1" in seen
    assert "6 days" in seen
    assert "OVERDUE dig-in by leave of J. Brandt" in seen
    assert "Every borrow is paid back" in words(client.get("/exceptions"))


def test_a_bag_that_is_out_says_what_is_not_accounted_for() -> None:
    stores = Stores()
    stores.bags("J03")
    client = browser_of(AUDITOR)
    assert "No bag is out" in words(client.get("/exceptions"))
    stores.ready("J03", "B1")
    stores.issue("J03", "B1")

    seen = words(client.get("/exceptions"))

    assert "J03 B1 issued 0 days Crew 14" in seen
    assert ", ".join(stores.contents("J03", "B1").open()) in seen


def test_pieces_of_a_lot_that_nobody_knows_are_named_where_lots_are_tracked() -> None:
    client = browser_of(AUDITOR)
    unknown = Balance.objects.filter(lot__number="", quantity__gt=0, lot__item__stock_code="BI15").get()

    seen = words(client.get("/exceptions"))
    Item.objects.filter(stock_code="BI15").update(lot_tracked=False)
    then = words(client.get("/exceptions"))

    assert f"BI15 5 {unknown.place}" in seen
    assert f"BI15 5 {unknown.place}" not in then


def test_an_override_is_listed_with_names_and_reason_in_the_time_that_is_asked_for() -> None:
    promise = Promise.objects.filter(place__isnull=False).select_related("job", "item", "lot", "place__depot")[0]
    pin_pieces(
        job=promise.job.job, line=promise.line, stock_code=promise.item.stock_code, lot="", depot="",
        quantity=promise.quantity, reason="the crew asked for it", actor=PLANNER, at=Stores().at,
    )  # fmt: skip
    client = browser_of(AUDITOR)

    seen = words(client.get("/exceptions"))
    later = words(client.get("/exceptions", {"since": "2026-03-03"}))
    wrong = words(client.get("/exceptions", {"since": "soon"}, follow=True))

    assert f"pin {promise.line} R. Tolley the crew asked for it" in seen
    assert "the crew asked for it" not in later
    assert "Give the day as" in wrong


def test_stores_see_what_stands_open_at_their_depots_and_crews_nothing_that_others_overrode() -> None:
    Person.objects.filter(name=OTHER_STORES.name).update(depots=["H"])
    stores = Stores()
    stores.bags("J03")
    stores.ready("J03", "B1")
    stores.issue("J03", "B1")
    lot = Balance.objects.filter(quantity__gt=0).exclude(lot__number="")[0].lot
    bag = stores.bag("J03", "V1")
    Borrow.objects.create(
        bag=bag, to_job=bag.job, lot=lot, quantity=2000, why="dig-in", asked_by=STORES.name, authorised_by=DUTY.name,
        borrowed_at=stores.at, pay_back_by=stores.at.date(),
    )  # fmt: skip

    of_h, of_all, crew = (words(browser_of(one).get("/exceptions")) for one in (OTHER_STORES, STORES, CREW))

    for of_n in ("J03 B1 issued", f"2 {lot.item} lot {lot.number} J03 V1", "staged bag broken", "BI15 5"):
        assert of_n in of_all
        assert of_n not in of_h
    assert "J03 B1 issued" in crew
    assert "staged bag broken" not in crew
    assert "Overridden since" not in crew
    assert "Overridden since" in of_h


def test_installed_parts_are_looked_at_against_todays_rules_when_somebody_asks() -> None:
    client = browser_of(STANDARDS)

    before = words(client.get("/exceptions/recheck"))
    after = words(send(client, "/exceptions/recheck"))

    assert "Nobody has looked yet" in before
    assert "All 0 pieces serve by today's rules" in after
    assert "Every promised stand-in is approved through its cutover" in after
    assert browser_of(BUYER).get("/exceptions/recheck").status_code == 403
    assert browser_of(BUYER).get("/exceptions").status_code == 403
    assert browser_of(CREW).get("/exceptions").status_code == 200


def test_the_page_asks_the_books_as_often_with_more_to_tell() -> None:
    client = browser_of(AUDITOR)
    stores = Stores()
    stores.bags("J03")
    kept()
    stores.ready("J03", "B1")
    stores.issue("J03", "B1")
    client.get("/exceptions")
    with CaptureQueriesContext(connection) as few:
        client.get("/exceptions")
    for number in range(2, 12):
        kept(number)
    for structure in ("B2", "B3"):
        stores.ready("J03", structure)
        stores.issue("J03", structure)
    with CaptureQueriesContext(connection) as many:
        client.get("/exceptions")
    assert len(many) == len(few)
