"""Scans made without a signal arrive late, twice and mixed with those of others, and are booked once."""

from dataclasses import replace
from datetime import timedelta
from random import Random

import pytest
from bag_stores import CREW, OTHER_STORES, Stores, demo_sheets
from module_books import books_of_module
from people import BUYER, DUTY, STORES

from inventory.models import Balance, Lot, Movement
from inventory.selectors.rebuilding import unequal_balances
from jobs.models import Job
from kitting.errors import Refusal
from kitting.models import BagEntry, Event, KeptScan, Promise
from kitting.roles import Actor
from kitting.selectors.pick_walk import pick_walk
from kitting.selectors.rework import rework
from kitting.services.fill_bags import check
from kitting.services.recall_lots import recall_lot
from kitting.services.replay_scans import Recorded, book_kept, replay, settle_scan
from kitting.services.return_bags import Installed, install

pytestmark = pytest.mark.django_db


def two_bags_ready() -> None:
    """The demo with two bags of J03 staged."""
    made = Stores(prefix="before")
    made.plan()
    made.bags("J03")
    made.ready("J03", "B1", rack="R-1")
    made.ready("J03", "B2", rack="R-2")


books = books_of_module(demo_sheets, two_bags_ready)


@pytest.fixture
def stores() -> Stores:
    """The stores after that."""
    return Stores()


def issue_scan(stores: Stores, bag: str, action: str, crew: str, by: Actor = STORES) -> Recorded:
    """A phone gives a bag to a crew."""
    content = {"bag": stores.code("J03", bag), "crew": f"Crew {crew}", "truck": crew, "signature": "T. Ahola"}
    return Recorded("issue", content, action, stores.at, by)


def a_days_scans(stores: Stores) -> dict[str, list[Recorded]]:
    """What two phones scanned: both gave out B1; the second also worked on B2."""
    code, first = stores.code("J03", "B2"), stores.contents("J03", "B2")
    line = next(stand for stand in first.lines if stand.line.item and stand.line.item.stock_code == "EL15-3")
    lot = first.lots[next(iter(line.inside))].number
    fitted = {"line": line.line.line, "stock_code": "EL15-3", "lot": lot, "quantity": 2000, "phase": "AB"}
    back = {
        "bag": code, "stock_code": "EL15-3", "lot": lot, "quantity": 1000, "condition": "sealed", "door": "stock",
        "place": ["N", "N-01-1", "bin"],
    }  # fmt: skip
    return {
        "phone 1": [issue_scan(stores, "B1", "p1-1", "14")],
        "phone 2": [
            issue_scan(stores, "B1", "p2-1", "22", OTHER_STORES),
            issue_scan(stores, "B2", "p2-2", "22", OTHER_STORES),
            Recorded("begin work", {"bag": code}, "p2-3", stores.at, CREW),
            Recorded("install", {"bag": code, "pieces": [fitted]}, "p2-4", stores.at, CREW),
            Recorded("turn in", back, "p2-5", stores.at, CREW),
        ],
    }


def test_two_phones_give_out_one_bag_the_first_stays_and_the_second_asks(stores: Stores) -> None:
    """Trap T35: stock once."""
    stores.place("N", "N-01-1")
    queues = a_days_scans(stores)
    first = replay(device="phone 1", scans=queues["phone 1"], device_now=stores.at, at=stores.at)
    second = replay(device="phone 2", scans=queues["phone 2"], device_now=stores.at, at=stores.at)
    assert (first.applied, first.kept) == (("p1-1",), ())
    assert (second.applied, second.kept) == (("p2-2", "p2-3", "p2-4", "p2-5"), ("p2-1",))
    kept = KeptScan.objects.get()
    assert kept.why == "ALREADY OUT: J03 B1 went with Crew 14, truck 14."
    assert BagEntry.objects.filter(action__number="p2-1").count() == 0
    with pytest.raises(Refusal, match="needs a reason"):
        settle_scan(action="p2-1", why="", actor=STORES, at=stores.at)
    with pytest.raises(Refusal, match="may not do this"):
        settle_scan(action="p2-1", why="crew 14 has it", actor=BUYER, at=stores.at)
    assert settle_scan(action="p2-1", why="crew 14 has it", actor=STORES, at=stores.at).settled_by == STORES.name
    with pytest.raises(Refusal, match="No scan p2-1 waits"):
        settle_scan(action="p2-1", why="again", actor=STORES, at=stores.at)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_day_replayed_three_times_and_shuffled_between_devices_ends_the_same(stores: Stores, seed: int) -> None:
    stores.place("N", "N-01-1")
    queues = a_days_scans(stores)
    chance = Random(seed)
    sendings = [device for device in queues for _ in range(3)]
    chance.shuffle(sendings)
    for device in sendings:
        replay(device=device, scans=queues[device], device_now=stores.at, at=stores.at)
    winner = sendings[0]
    assert KeptScan.objects.values_list("action", flat=True).get() == ("p2-1" if winner == "phone 1" else "p1-1")
    assert stores.bag("J03", "B1").crew == ("Crew 14" if winner == "phone 1" else "Crew 22")
    assert Movement.objects.filter(action__number="p2-4").count() == 1
    left = Balance.objects.filter(place=stores.bag("J03", "B2").place, lot__item__stock_code="EL15-3")
    assert [one.quantity for one in left] == [3000]  # six for two ends, two fitted and one turned in
    assert unequal_balances() == []
    assert Event.objects.filter(name="scan kept for a person").count() == 1


def test_a_scan_that_came_too_early_is_applied_when_it_is_sent_again(stores: Stores) -> None:
    stores.fetch("J03", "B3")
    queue = [Recorded("stage", {"bag": stores.code("J03", "B3"), "rack": "R-3"}, "p3-1", stores.at, STORES)]
    assert replay(device="phone 3", scans=queue, device_now=stores.at, at=stores.at).kept == ("p3-1",)
    check(bag=stores.code("J03", "B3"), counted=stores.counted("J03", "B3"), **stores.scan(OTHER_STORES))
    assert replay(device="phone 3", scans=queue, device_now=stores.at, at=stores.at).applied == ("p3-1",)
    assert KeptScan.objects.get().settled_why == "applied when it was sent again"


def test_a_kept_scan_is_booked_by_a_person_once_nothing_stands_against_it_any_more(stores: Stores) -> None:
    stores.fetch("J03", "B3")
    queue = [Recorded("stage", {"bag": stores.code("J03", "B3"), "rack": "R-3"}, "p3-1", stores.at, STORES)]
    replay(device="phone 3", scans=queue, device_now=stores.at, at=stores.at)
    booked = {"action": "p3-1", "actor": OTHER_STORES, "at": stores.at}
    with pytest.raises(Refusal, match="it is picking"):
        book_kept(**booked)
    assert KeptScan.objects.get().settled_by == ""
    check(bag=stores.code("J03", "B3"), counted=stores.counted("J03", "B3"), **stores.scan(OTHER_STORES))
    assert book_kept(**booked).word == "PLACED"
    assert (stores.bag("J03", "B3").state, KeptScan.objects.get().settled_by) == ("staged", OTHER_STORES.name)
    with pytest.raises(Refusal, match="No scan p3-1 waits"):
        book_kept(**booked)


def test_a_pick_of_pieces_promised_to_another_job_has_happened_so_its_bag_keeps_them_and_stores_hear(
    stores: Stores,
) -> None:
    (scan, *_) = picks_of_a_bag(stores, "B3", "EL15-3")
    ours = Promise.objects.filter(item__stock_code="EL15-3", released_at=None, job__job="J03", line__contains="B3")
    wanted = ours[0]
    assert ours.update(job=Job.objects.get(job="J12")) > 0
    wanted.pk, wanted.lot = None, Lot.objects.create(item=wanted.item, number="L-WANTED")
    wanted.save()
    taken = replace(scan, content={**scan.content, "confirmed": ["other-lot/1"]})  # answered on the phone
    done = replay(device="phone 5", scans=[taken], device_now=stores.at, at=stores.at)
    assert (done.applied, done.kept) == ((scan.action,), ())
    told = Event.objects.get(name="pick booked without asking")
    (why,) = told.data["why"]
    assert "promised" in why
    assert stores.counted("J03", "B3") == {"EL15-3": scan.content["quantity"]}


def test_a_clock_that_is_forty_minutes_off_is_noted_and_the_devices_order_kept(stores: Stores) -> None:
    """Trap T55."""
    queue = a_days_scans(stores)["phone 1"]
    replay(device="phone 1", scans=queue, device_now=stores.at - timedelta(minutes=40), at=stores.at)
    assert Event.objects.get(name="device clock is off").addressed_to == "administrator"
    issued = Event.objects.get(name="bag issued", by=STORES.name)
    assert (issued.device, issued.device_at, issued.clock_behind_s, issued.is_offline) == (
        "phone 1", queue[0].device_at, 2_400, True,
    )  # fmt: skip
    replay(device="phone 1", scans=queue, device_now=stores.at - timedelta(minutes=4), at=stores.at)
    assert Event.objects.filter(name="device clock is off").count() == 1


def test_an_unknown_scan_or_place_is_kept_in_words_and_stops_nothing_else(stores: Stores) -> None:
    code = stores.code("J03", "B1")
    queue = [
        Recorded("fly", {"bag": code}, "p4-1", stores.at, STORES),
        Recorded("put back", {"bag": code, "stock_code": "PB15", "lot": "", "quantity": 1000,
                              "place": ["Q", "x", "bin"]}, "p4-2", stores.at, STORES),
        issue_scan(stores, "B1", "p4-3", "14"),
    ]  # fmt: skip
    done = replay(device="phone 4", scans=queue, device_now=stores.at, at=stores.at)
    assert (done.kept, done.applied) == (("p4-1", "p4-2"), ("p4-3",))
    assert [*KeptScan.objects.order_by("action").values_list("why", flat=True)][1] == "There is no depot Q."


def picks_of_a_bag(stores: Stores, bag: str, *codes: str) -> list[Recorded]:
    """A phone takes what a bag wants of these stock codes, a minute apart from ten past on."""
    steps = [step for step in pick_walk(depot="N", bags=[stores.code("J03", bag)])
             if step.lot.item.stock_code in codes]  # fmt: skip
    assert {step.lot.item.stock_code for step in steps} == set(codes)
    return [
        Recorded(
            "pick",
            {
                "bag": step.code, "stock_code": step.lot.item.stock_code, "lot": step.lot.number,
                "place": [step.place.depot.depot, step.place.code, step.place.kind], "quantity": step.quantity,
            },
            f"p5-{number}",
            stores.at + timedelta(minutes=10 + number),
            STORES,
        )
        for number, step in enumerate(steps)
    ]  # fmt: skip


def test_a_pick_made_before_its_lot_was_put_on_hold_is_booked_and_its_bag_goes_on_hold(stores: Stores) -> None:
    queue = picks_of_a_bag(stores, "B3", "EL15-3", "PB15")
    lot, pieces = queue[0].content["lot"], queue[0].content["quantity"]
    assert queue[0].content["stock_code"] == "EL15-3"
    hold_at = stores.at + timedelta(minutes=20)
    recall_lot(
        stock_code="EL15-3", lot=lot, reason="maker's recall", actor=DUTY, at=hold_at, action="recall",
    )  # fmt: skip
    stores.plan()  # the line is promised another lot now, if there is one
    late = stores.at + timedelta(hours=1)
    done = replay(device="phone 5", scans=queue, device_now=late, at=late)
    assert (done.applied, done.kept) == (tuple(scan.action for scan in queue), ())
    bag = stores.bag("J03", "B3")
    assert (bag.state, bag.state_before_hold) == ("on hold", "picking")
    assert stores.counted("J03", "B3") == {scan.content["stock_code"]: scan.content["quantity"] for scan in queue}
    told = Event.objects.filter(name="bag on hold", subject="J03 B3")
    assert {event.addressed_to for event in told} == {"storekeeper"}
    assert not Promise.objects.filter(job__job="J03", line__contains="B3", item__stock_code="EL15-3", released_at=None)
    row = next(one for one in rework(on=late.date()) if one.bag == bag)
    assert (row.next, row.take_out[0].lot, row.take_out[0].quantity) == (("put back",), lot, pieces)
    assert unequal_balances() == []
    assert replay(device="phone 5", scans=queue, device_now=late, at=late).known == done.applied


@pytest.mark.parametrize(("minutes", "slow"), [(5, 0), (20, 40)])
def test_a_pick_made_after_the_hold_is_kept_for_a_person_whatever_the_phones_clock_says(
    stores: Stores, minutes: int, slow: int
) -> None:
    """The phone's clock is slow by so many minutes: it shows a moment before the hold."""
    queue = picks_of_a_bag(stores, "B3", "EL15-3")[:1]
    recall_lot(
        stock_code="EL15-3", lot=queue[0].content["lot"], reason="maker's recall", actor=DUTY,
        at=stores.at + timedelta(minutes=minutes), action="recall",
    )  # fmt: skip
    late = stores.at + timedelta(hours=1)
    done = replay(device="phone 5", scans=queue, device_now=late - timedelta(minutes=slow), at=late)
    assert (done.applied, done.kept) == ((), ("p5-0",))
    assert KeptScan.objects.get().why.startswith("HELD: EL15-3 lot ")
    assert stores.bag("J03", "B3").state == "listed"


def test_a_bag_that_went_out_and_was_fitted_before_a_hold_is_booked_so_and_stands_on_hold_behind_it(
    stores: Stores,
) -> None:
    code, contents = stores.code("J03", "B2"), stores.contents("J03", "B2")
    stand = next(one for one in contents.lines if str(one.line.item) == "EL15-3" and not one.line.spare)
    lot = next(contents.lots[number].number for number in stand.inside)
    fitted = {"line": stand.line.line, "stock_code": "EL15-3", "lot": lot, "quantity": 1000, "phase": "A"}
    queue = [
        issue_scan(stores, "B2", "p7-1", "22", OTHER_STORES),
        Recorded("begin work", {"bag": code}, "p7-2", stores.at, CREW),
        Recorded("install", {"bag": code, "pieces": [fitted]}, "p7-3", stores.at, CREW),
        Recorded("install", {"bag": code, "pieces": [fitted]}, "p7-4", stores.at + timedelta(minutes=20), CREW),
    ]
    held = {"stock_code": "EL15-3", "lot": lot, "reason": "maker's recall"}
    recall_lot(**held, actor=DUTY, at=stores.at + timedelta(minutes=10), action="recall")
    late = stores.at + timedelta(hours=1)
    done = replay(device="phone 7", scans=queue, device_now=late, at=late)
    assert (done.applied, done.kept) == (("p7-1", "p7-2", "p7-3"), ("p7-4",))
    bag = stores.bag("J03", "B2")
    assert (bag.state, bag.state_before_hold, bag.crew) == ("on hold", "in work", "Crew 22")
    assert Movement.objects.get(action__number="p7-3").ending == "installed"
    told = Event.objects.filter(name="booked from before a hold", subject="J03 B2")
    assert [event.data["what"] for event in told] == ["bag issued", "work begun", "installed"]
    assert {event.addressed_to for event in told} == {"auditor"}


def test_what_was_fitted_before_a_hold_is_typed_from_the_night_card_and_not_what_was_fitted_after(
    stores: Stores,
) -> None:
    stores.issue("J03", "B2")
    code, contents = stores.code("J03", "B2"), stores.contents("J03", "B2")
    stand = next(one for one in contents.lines if str(one.line.item) == "EL15-3" and not one.line.spare)
    lot = next(contents.lots[number].number for number in stand.inside)
    hold_at = stores.at + timedelta(hours=2)
    recall_lot(stock_code="EL15-3", lot=lot, reason="recall", actor=DUTY, at=hold_at, action="recall")
    piece = Installed(line=stand.line.line, stock_code="EL15-3", lot=lot, quantity=1000, phase="A", on_paper="TA")
    typed = {"bag": code, "pieces": [piece], "actor": CREW, "at": hold_at + timedelta(hours=9)}
    with pytest.raises(Refusal, match="on hold"):
        install(**typed, action="t-1", device_at=hold_at + timedelta(hours=1))
    install(**typed, action="t-2", device_at=hold_at - timedelta(hours=1))
    assert Movement.objects.get(action__number="t-2").ending == "installed"
    assert stores.bag("J03", "B2").state == "on hold"


def test_a_bag_on_hold_for_an_older_hold_takes_no_late_pick(stores: Stores) -> None:
    queue = picks_of_a_bag(stores, "B3", "EL15-3", "PB15")
    first, second = queue[:1], queue[1:]
    late = stores.at + timedelta(hours=1)
    replay(device="phone 5", scans=first, device_now=late, at=late)
    recall_lot(
        stock_code="EL15-3", lot=first[0].content["lot"], reason="maker's recall", actor=DUTY,
        at=stores.at + timedelta(minutes=5), action="recall",
    )  # fmt: skip
    assert stores.bag("J03", "B3").state == "on hold"
    done = replay(device="phone 6", scans=second, device_now=late, at=late)
    assert done.applied == ()
    assert {kept.why for kept in KeptScan.objects.all()} == {"J03 B3: can't pick, it is on hold."}
