"""Bags are filled by scan, checked by a second person, and go out only when they can be trusted."""

from typing import Any

import pytest
from bag_stores import OTHER_STORES, Stores, demo_sheets, planned
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import BUYER, DUTY, OTHER_STANDARDS, PLANNER, STANDARDS, STORES
from refusals import refusal

from inventory.errors import Doubt
from inventory.models import Balance, LotHold
from inventory.services.adjusting import Count, adjust
from jobs.models import Job
from kitting.models import BagEntry, BagLine, Event, ExpiredUse, PlanRow, Promise
from kitting.roles import Actor
from kitting.selectors.bag_contents import accounts, facts_of, label_state
from kitting.selectors.bag_history import bag_history
from kitting.selectors.exceptions import finished_short
from kitting.selectors.overrides import overrides
from kitting.services.expired_lots import ask_use_expired, sign_use_expired
from kitting.services.fill_bags import check, finish_short, pick, put_back, reopen
from kitting.services.issue_bags import begin_work, hand_back, issue, stage
from kitting.services.list_bags import list_bags

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)


@pytest.fixture
def stores() -> Stores:
    """The demo on the first morning, planned and applied."""
    return Stores()


def test_a_job_has_one_bag_a_location_and_its_bags_hold_every_line(stores: Stores) -> None:
    bags = stores.bags("J03")
    assert [(str(bag), bag.state) for bag in bags] == [
        (f"J03 {name}", "listed") for name in ("B1", "B2", "B3", "B4", "BJ1", "V1", "V2")
    ]
    rows = PlanRow.objects.filter(table="requirements", job="J03").values_list("cells", flat=True)
    wanted = sorted((row["line"], row["stock_code"], row["quantity"]) for row in rows)
    lines = BagLine.objects.filter(bag__job__job="J03")
    assert sorted((one.line, one.item.stock_code, str(one.quantity // 1000)) for one in lines if one.item) == wanted


def test_a_bag_with_an_undecided_line_is_filled_as_far_as_it_goes_and_never_full(stores: Stores) -> None:
    stores.bags("J10")  # a paper cable that no rule speaks of
    assert stores.bag("J10", "V9").state == "listed"
    assert "J10/V9-J3/joint/ABC/joint accessories (undecided)" in stores.contents("J10", "V9").missing()
    BagLine.objects.filter(bag__job__job="J10", bag__structure="V9").exclude(item=None).update(dropped=True)
    stores.bags("J10")
    assert stores.bag("J10", "V9").state == "listed"
    code = stores.code("J10", "V9")
    stores.fetch("J10", "V9")
    finish_short(bag=code, cause="other", why="no rule for the paper cable", **stores.scan())
    assert label_state(stores.contents("J10", "V9")).endswith("joint accessories (undecided)")


def test_listing_needs_a_plan_and_the_right(stores: Stores) -> None:
    assert refusal("unknown-job", list_bags, job="J99", **stores.scan()) == "There is no job J99."
    assert "storekeeper" in refusal("not-allowed", list_bags, job="J03", **stores.scan(BUYER))
    PlanRow.objects.all().delete()
    assert "plan and apply" in refusal("not-planned", list_bags, job="J03", **stores.scan())


def test_five_of_six_seals_make_a_short_bag_that_says_so(stores: Stores) -> None:
    """Trap T07: a bag that wants six seals and holds five is short, and never full."""
    stores.bags("J03")
    stores.fetch("J03", "V1", but={"JS-3": 2})  # one of the seven is the spare
    code = stores.code("J03", "V1")
    counted = stores.counted("J03", "V1")
    assert counted["JS-3"] == 5000
    sentence = refusal("bag-not-ready", check, bag=code, counted=counted, **stores.scan(OTHER_STORES))
    assert sentence == "J03 V1: can't check. SHORT: 1 JS-3."
    assert "not in the bin, damaged" in refusal("no-cause", finish_short, bag=code, **stores.scan())
    assert "needs a reason" in refusal("no-reason", finish_short, bag=code, cause="other", why=" ", **stores.scan())
    answer = finish_short(bag=code, cause="damaged", **stores.scan())
    assert (answer.word, answer.sentence) == ("SHORT", "J03 V1 misses 1 JS-3; another person checks it.")
    (told,) = finished_short(stores.at)
    assert (told.bag, told.missing, told.cause) == ("J03 V1", ("1 JS-3",), "damaged")
    assert "short: missing 1 JS-3; damaged" in [one.words for one in bag_history(stores.bag("J03", "V1"))]
    check(bag=code, counted=counted, **stores.scan(OTHER_STORES))
    stage(bag=code, rack="R-1", **stores.scan())
    assert label_state(stores.contents("J03", "V1")) == "SHORT: 1 JS-3"
    alone = {"crew": "Crew 14", "truck": "14", "signature": "T. Ahola"}
    assert "SHORT – NEEDS SUPERVISOR: 1 JS-3" in refusal("bag-not-ready", issue, bag=code, **alone, **stores.scan())
    assert "planner or duty supervisor" in refusal(
        "not-allowed", issue, bag=code, **alone, approver=OTHER_STORES, reason="they wait", **stores.scan()
    )
    out = issue(bag=code, **alone, approver=DUTY, reason="seal follows by van", **stores.scan())
    assert (out.word, stores.bag("J03", "V1").state) == ("OUT", "issued")
    event = Event.objects.get(name="bag issued short")
    assert (event.data["approved_by"], event.data["reason"]) == ("J. Brandt", "seal follows by van")


def test_the_wrong_item_another_lot_and_one_too_many_are_refused_in_words(stores: Stores) -> None:
    stores.bags("J06")
    bin_ = Balance.objects.filter(lot__item__stock_code="EL15-2", place__depot__depot="N", quantity__gt=0)[0].place
    wrong = refusal("wrong-item", stores.pick, "J06", "E7", "EL15-2", "L-1", bin_, 1)
    assert wrong.startswith("WRONG ITEM: this is EL15-2")
    at_h = Balance.objects.select_related("lot", "place__depot").filter(lot__item__stock_code="CS15-2")
    old = at_h.get(lot__number="L-2303B")
    message = refusal("other-depot", stores.pick, "J06", "EJ1", "CS15-2", "L-2303B", old.place, 1)
    assert "make a transfer" in message
    elbow = Balance.objects.filter(lot__item__stock_code="EL15-1", place__depot__depot="N", quantity__gt=0)[0]
    wanted = stores.contents("J06", "E7").lines
    need = next(stand.missing for stand in wanted if stand.line.item and stand.line.item.stock_code == "EL15-1")
    too_many = need / 1000 + 1
    assert "more EL15-1" in refusal(
        "over-pick", stores.pick, "J06", "E7", "EL15-1", elbow.lot.number, elbow.place, too_many
    )
    assert not BagEntry.objects.exists()


def test_the_lot_that_expires_before_the_cutover_is_refused_and_serves_the_earlier_job(stores: Stores) -> None:
    """Trap T44: two lots in one bin; the scan decides, not the assumption."""
    old = Balance.objects.select_related("place__depot").get(lot__number="L-2303B", place__code="H-04-2")
    stores.bags("J10")
    message = refusal("expires-before-cutover", stores.pick, "J10", "V9", "CS15-2", "L-2303B", old.place, 1)
    assert message == (
        "EXPIRES BEFORE CUTOVER: CS15-2 lot L-2303B use by 2026-03-31; J10 needs it good through 2026-04-11."
    )
    Job.objects.filter(job="J10").update(cutover="2026-03-21 06:00")
    assert stores.pick("J10", "V9", "CS15-2", "L-2303B", old.place, 1).word == "RIGHT"


def test_a_lot_past_its_date_goes_in_once_standards_and_duty_have_signed_for_so_many_pieces(stores: Stores) -> None:
    old = Balance.objects.select_related("place__depot").get(lot__number="L-2303B", place__code="H-04-2")
    stores.bags("J10")
    use = {"stock_code": "CS15-2", "lot": "L-2303B", "job": "J10", "quantity": 2000, "reason": "stored cool"}

    def ask(**changed: Any) -> ExpiredUse:
        return ask_use_expired(**{**use, "actor": STANDARDS, "at": stores.at, **changed})

    def sign(actor: Actor, reason: str = "no other in reach") -> ExpiredUse:
        return sign_use_expired(number=asked.pk, reason=reason, actor=actor, at=stores.at)

    assert "may not approve" in refusal("not-allowed", ask, actor=STORES)
    assert "no signature is needed" in refusal("still-good", ask, job="J06")
    asked = ask()
    assert "waits for its second signature" in refusal("asked-already", ask, actor=DUTY)
    refusal("own-request", sign, STANDARDS)
    assert "a duty supervisor signs" in refusal("needs-both", sign, OTHER_STANDARDS)
    refusal("no-reason", sign, DUTY, " ")
    refusal("expires-before-cutover", stores.pick, "J10", "V9", "CS15-2", "L-2303B", old.place, 1)
    sign(DUTY)

    assert stores.pick("J10", "V9", "CS15-2", "L-2303B", old.place, 2).word == "RIGHT"
    told = refusal("expires-before-cutover", stores.pick, "J10", "V9", "CS15-2", "L-2303B", old.place, 1)
    assert told.endswith("2 may be used past it, and no more.")
    assert not facts_of(stores.contents("J10", "V9")).out_of_date
    (over,) = (one for one in overrides() if one.what == "used past its date")
    assert (over.by, over.asked_by, over.reason) == (DUTY.name, STANDARDS.name, "stored cool; no other in reach")
    dates = Job.objects.filter(job="J10").values("cutover", "cutover_end")[0]
    Job.objects.filter(job="J10").update(cutover="2026-04-18 06:00", cutover_end="")
    assert "L-2303B" in " ".join(facts_of(stores.contents("J10", "V9")).out_of_date)
    Job.objects.filter(job="J10").update(**dates)
    assert not facts_of(stores.contents("J10", "V9")).out_of_date
    one = BagEntry.objects.filter(lot=old.lot, deed="picked")[0]
    one.pk, one.line = None, BagLine.objects.filter(bag__job__job="J10").exclude(bag__structure="V9")[0]
    one.save(force_insert=True)
    told = " ".join(facts_of(stores.contents("J10", "V9")).out_of_date)
    assert "L-2303B" in told, "another bag of the job holds more than was signed for"
    LotHold.objects.create(item=old.lot.item, lot_number="L-2303B", reason="torn", placed_by="Ana", placed_at=stores.at)
    refusal("lot-held", stores.pick, "J10", "V9", "CS15-2", "L-2303B", old.place, 1)


def test_the_bag_of_an_open_point_holds_the_parking_bushing_and_the_arrester_and_takes_no_cap(stores: Stores) -> None:
    stores.bags("J06")
    wanted = {
        str(stand.line.item): stand.line.quantity
        for stand in stores.contents("J06", "P4").lines
        if stand.line.facts["kind"] in ("standoff bushing", "elbow arrester", "parking arrester", "insulated cap")
    }
    assert wanted == {"SB15": 1000, "EA15-8.4": 1000}
    told = refusal("wrong-item", stores.pick, "J06", "P4", "PC15", "", stores.place("N", "N-02-8"), 1)
    assert told.startswith("WRONG ITEM: this is PC15")
    stores.ready("J06", "P4")
    assert label_state(stores.contents("J06", "P4")) == "FULL"
    stores.issue("J06", "P4")
    assert {code for code, _ in accounts(stores.contents("J06", "P4"))} >= {"SB15", "EA15-8.4"}


def test_the_plan_gives_pieces_past_their_date_to_the_job_they_were_signed_for_and_to_no_other(stores: Stores) -> None:
    old = Balance.objects.select_related("place__depot").get(lot__number="L-2303B", place__code="H-04-2")
    Balance.objects.filter(lot__item__stock_code="CS15-2").exclude(pk=old.pk).update(quantity=0)
    Balance.objects.filter(pk=old.pk).update(quantity=5000)

    def planned_again() -> tuple[int, int, str]:
        """Short of it, pieces of the old lot that are promised to J10, and the sentence of its first line."""
        stores.plan()
        mine = Promise.objects.filter(job__job="J10", lot=old.lot, released_at=None)
        short = PlanRow.objects.filter(table="shortages", job="J10", cells__stock_code="CS15-2")
        lines = PlanRow.objects.filter(table="requirements", job="J10", cells__stock_code="CS15-2")
        told = [row.cells["reason"] for row in lines if "past its date" in row.cells["reason"]]
        return (
            sum(int(row.cells["short"]) for row in short), sum(mine.values_list("quantity", flat=True)) // 1000,
            told[0].rpartition("; ")[2] if told else "",
        )  # fmt: skip

    short, pieces, told = planned_again()
    assert (pieces, told) == (0, "")
    use = {"stock_code": "CS15-2", "lot": "L-2303B", "job": "J10", "quantity": 2000, "reason": "stored cool"}
    asked = ask_use_expired(**use, actor=STANDARDS, at=stores.at)
    assert planned_again() == (short, 0, ""), "one signature lets nothing go"
    sign_use_expired(number=asked.pk, reason="no other in reach", actor=DUTY, at=stores.at)

    words = f"1 short, 2 of lot L-2303B past its date, let go by {STANDARDS.name} and {DUTY.name}"
    assert planned_again() == (short - 2, 2, words)
    others = Promise.objects.filter(lot=old.lot, released_at=None).exclude(job__job="J10").select_related("job")
    assert {one.job.job for one in others} <= {"J06", "E01"}, "who cuts over before its date still has it"
    stores.bags("J10")
    stores.pick("J10", "V9", "CS15-2", "L-2303B", old.place, 2)
    assert planned_again() == (short - 2, 2, words), "what is in the bag is no second time let go"
    Job.objects.filter(job="J10").update(cutover="2026-04-18 06:00", cutover_end="")
    assert planned_again()[1:] == (0, "")


def test_a_held_lot_is_not_picked_and_another_good_lot_is_asked_about(stores: Stores) -> None:
    stores.bags("J03")
    place = stores.place("N", "N-01-1")
    promise = Promise.objects.select_related("lot", "place__depot").filter(
        job__job="J03", item__stock_code="CA-4", line__contains="V2"
    )[0]
    assert promise.lot
    assert promise.place
    hold = LotHold.objects.create(
        item=promise.item, lot_number=promise.lot.number, reason="torn", placed_by="Ana", placed_at=stores.at
    )
    message = refusal("lot-held", stores.pick, "J03", "V2", "CA-4", promise.lot.number, promise.place, 1)
    assert message == f"HELD: CA-4 lot {promise.lot.number} is stopped by hold {hold.pk}: torn."
    hold.delete()
    lot = type(promise.lot).objects.create(item=promise.item, number="L-NEW", use_by=promise.lot.use_by)
    Balance.objects.create(place=place, lot=lot, quantity=3000)
    with pytest.raises(Doubt) as asked:
        stores.pick("J03", "V2", "CA-4", "L-NEW", place, 1, confirmed=())
    assert "WRONG LOT – STILL GOOD" in asked.value.message
    assert stores.pick("J03", "V2", "CA-4", "L-NEW", place, 1, confirmed=("other-lot/1",)).word == "RIGHT"


def test_a_picked_piece_is_promised_no_more_and_the_plan_gives_it_to_its_bag(stores: Stores) -> None:
    stores.bags("J03")
    adapters = Promise.objects.filter(job__job="J03", item__stock_code="CA-4", released_at=None)
    before = sum(adapters.values_list("quantity", flat=True))
    promise = adapters.filter(line__contains="V2-a").select_related("lot", "place__depot")[0]
    assert promise.lot
    assert promise.place
    stores.pick("J03", "V2", "CA-4", promise.lot.number, promise.place, 2)
    assert sum(adapters.values_list("quantity", flat=True)) == before - 2000
    stores.plan()
    again = Promise.objects.filter(job__job="J03", line=promise.line, released_at=None).select_related("place")
    assert sorted((one.place.kind, one.quantity) for one in again if one.place) == [("bag", 2000), ("bin", 1000)]
    bag = stores.bag("J03", "V2")
    assert (bag.state, stores.contents("J03", "V2").lines[1].picked) == ("picking", 2000)


def test_who_filled_a_bag_does_not_check_it_and_a_wrong_count_is_told(stores: Stores) -> None:
    stores.bags("J03")
    stores.fetch("J03", "B1")
    code, counted = stores.code("J03", "B1"), stores.counted("J03", "B1")
    assert "another person checks" in refusal("bag-not-ready", check, bag=code, counted=counted, **stores.scan(STORES))
    assert Event.objects.get(name="own check refused").by == STORES.name
    wrong = {**counted, "PB15": counted["PB15"] - 1000, "BI15": 1000}
    message = refusal("count-differs", check, bag=code, counted=wrong, **stores.scan(OTHER_STORES))
    assert message == "J03 B1: MISSING 1 probe (PB15); EXTRA 1 BI15."
    assert stores.bag("J03", "B1").state == "picking"
    answer = check(bag=code, counted=counted, **stores.scan(OTHER_STORES))
    assert (answer.word, stores.bag("J03", "B1").checked_by) == ("FULL", OTHER_STORES.name)


def test_two_storekeepers_are_enough_to_open_a_checked_bag_change_a_piece_and_check_it_again(stores: Stores) -> None:
    stores.bags("J03")
    stores.fetch("J03", "B1")
    code, shelf = stores.code("J03", "B1"), stores.place("N", "N-01-1")
    check(bag=code, counted=stores.counted("J03", "B1"), **stores.scan(OTHER_STORES))
    reopen(bag=code, why="a seal looks old", **stores.scan())
    number = next(one.number for one in stores.contents("J03", "B1").lots.values() if one.item.stock_code == "PB15")
    piece = {"bag": code, "stock_code": "PB15", "lot": number, "place": shelf, "quantity": 1000}
    put_back(**piece, **stores.scan())
    pick(**piece, confirmed=("other-lot/1", "promised-to-others/1"), **stores.scan(OTHER_STORES))
    counted = stores.counted("J03", "B1")
    assert "another person checks" in refusal(
        "bag-not-ready", check, bag=code, counted=counted, **stores.scan(OTHER_STORES)
    )
    assert check(bag=code, counted=counted, **stores.scan()).word == "FULL"


def test_a_piece_put_back_lies_where_it_is_said_and_the_bag_is_checked_again(stores: Stores) -> None:
    stores.bags("J03")
    stores.fetch("J03", "B1")
    code = stores.code("J03", "B1")
    check(bag=code, counted=stores.counted("J03", "B1"), **stores.scan(OTHER_STORES))
    lot = next(lot for lot in stores.contents("J03", "B1").lots.values() if lot.item.stock_code == "PB15")
    shelf = stores.place("N", "N-01-1")
    back = {"bag": code, "stock_code": "PB15", "lot": lot.number, "place": shelf}
    assert "it is checked" in refusal("not-in-this-state", put_back, **back, quantity=1000, **stores.scan())
    type(stores.bag("J03", "B1")).objects.filter(structure="B1").update(state="picking")
    assert "holds 3 PB15" in refusal("not-in-bag", put_back, **back, quantity=9000, **stores.scan())
    put_back(**back, quantity=1000, **stores.scan())
    assert stores.contents("J03", "B1").missing() == ("1 PB15",)
    assert Balance.objects.get(place=shelf, lot=lot).quantity >= 1000


def test_two_bags_in_one_rack_place_are_asked_about(stores: Stores) -> None:
    stores.bags("J03")
    stores.ready("J03", "B1", rack="R-7")
    stores.fetch("J03", "B2")
    code = stores.code("J03", "B2")
    check(bag=code, counted=stores.counted("J03", "B2"), **stores.scan(OTHER_STORES))
    with pytest.raises(Doubt, match="PLACE TAKEN: J03 B1 at R-7"):
        stage(bag=code, rack="R-7", **stores.scan())
    stage(bag=code, rack="R-7", confirmed=("place-taken/1",), **stores.scan())
    assert stores.bag("J03", "B2").whereabouts == "R-7"


def test_one_bag_goes_out_once_however_often_the_scan_is_sent(stores: Stores) -> None:
    stores.bags("J03")
    stores.ready("J03", "B1")
    first = stores.scan()
    asked = {"bag": stores.code("J03", "B1"), "crew": "Crew 14", "truck": "14", "signature": "T. Ahola"}
    assert not issue(**asked, **first).repeated
    assert issue(**asked, **first).repeated
    second = {**asked, "crew": "Crew 22", "truck": "22"}
    assert refusal("already-out", issue, **second, **stores.scan()) == (
        "ALREADY OUT: J03 B1 went with Crew 14, truck 14."
    )
    assert BagEntry.objects.filter(deed="issued").count() == len(stores.contents("J03", "B1").lines)


def test_an_unsigned_bag_stays_and_a_bag_handed_back_is_checked_again(stores: Stores) -> None:
    stores.bags("J03")
    stores.ready("J03", "B1")
    asked = {"bag": stores.code("J03", "B1"), "crew": "Crew 14", "truck": "14"}
    assert "has not signed" in refusal("bag-not-ready", issue, **asked, signature=" ", **stores.scan())
    issue(**asked, signature="T. Ahola", **stores.scan())
    assert "say why" in refusal("bag-not-ready", hand_back, bag=asked["bag"], why="", **stores.scan())
    hand_back(bag=asked["bag"], why="outage called off", **stores.scan())
    assert stores.bag("J03", "B1").state == "reopened"
    assert "it is reopened" in refusal("not-in-this-state", issue, **asked, signature="T. Ahola", **stores.scan())
    assert "it is reopened" in refusal("not-in-this-state", begin_work, bag=asked["bag"], **stores.scan(DUTY))


def test_a_job_whose_last_bag_is_out_is_planned_no_more(stores: Stores) -> None:
    for bag in stores.bags("J03"):
        stores.ready("J03", bag.structure)
        assert Job.objects.get(job="J03").ended == ""
        stores.issue("J03", bag.structure)
    assert Job.objects.get(job="J03").ended == "under way"
    stores.plan()
    assert not PlanRow.objects.filter(table="requirements", job="J03").exists()
    hand_back(bag=stores.code("J03", "V1"), why="outage called off", **stores.scan())
    assert Job.objects.get(job="J03").ended == ""


def test_the_queries_of_a_scan_do_not_grow_with_the_lines_of_the_bag(stores: Stores) -> None:
    stores.bags("J03")
    asked = {}
    for name in ("B4", "V1"):
        stores.ready("J03", name)
        with CaptureQueriesContext(
            connection,
        ) as found:
            stores.issue("J03", name)
        asked[name] = len(found)
    assert len(stores.contents("J03", "V1").lines) > 2 * len(stores.contents("J03", "B4").lines)
    assert asked["B4"] == asked["V1"]


def test_a_storekeeper_of_another_depot_and_a_planner_do_not_pick(stores: Stores) -> None:
    stores.bags("J03")
    other = type(STORES)("K. Ames", frozenset({"storekeeper"}), frozenset({"H"}))
    place = stores.place("N", "N-01-1")
    assert "acts for H only" in refusal("other-depot", stores.pick, "J03", "B1", "PB15", "", place, 1, by=other)
    assert "may not do this" in refusal("not-allowed", stores.pick, "J03", "B1", "PB15", "", place, 1, by=PLANNER)


def test_a_shelf_is_counted_apart_from_the_bag_that_was_filled_from_it(stores: Stores) -> None:
    """Trap T34: twelve on the books, six on the shelf and six in a bag; six counted on the shelf is no difference."""
    shelf = Balance.objects.select_related("place__depot", "lot").get(
        lot__item__stock_code="BI15", place__depot__depot="N", place__kind="bin"
    )
    assert shelf.quantity == 12_000
    stores.bags("J01")
    stores.pick("J01", "A2", "BI15", shelf.lot.number, shelf.place, 6)
    count = Count(stock_code="BI15", place=shelf.place, counted=6_000, lot=shelf.lot.number, use_by=shelf.lot.use_by)
    done = adjust(counts=[count], why="count of the morning", by="M. Osei", at=stores.at, action="count-1")
    assert not done.movements.exists()
    shelf.refresh_from_db()
    assert (shelf.quantity, stores.counted("J01", "A2")["BI15"]) == (6_000, 6_000)
