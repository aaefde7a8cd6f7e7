"""A storm: opened by a named person, fast at the counter, and closed only when everything is accounted for."""

import io
from datetime import UTC, date, timedelta
from decimal import Decimal
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from bag_stores import CREW, NIGHT, OTHER_STORES, Stores, demo_sheets, promised_in_vain, staged_early
from django.core.management import call_command
from module_books import books_of_module
from people import BUYER, DUTY, PLANNER, STORES
from refusals import refusal
from storm_hands import give, inserts, new_lot, stock

from inventory.models import Balance, Item, Level, Lot, Movement, OrderLine, PurchaseOrder
from inventory.services.receiving import Arrival, receive
from jobs.models import Job
from kitting.documents.storm_records import movements_of_event, storm_use_of, use_of_storm
from kitting.models import Event, KeptKit, Storm
from kitting.selectors.bag_contents import label_code
from kitting.selectors.returns_due import due_back
from kitting.selectors.storm_burn import burn_of
from kitting.selectors.storms import bags_of, keeps_open, kept_kit, left_on
from kitting.services.borrow_pieces import borrow
from kitting.services.emergency import open_emergency
from kitting.services.return_bags import Installed, close, install, turn_in, write_off
from kitting.services.storm_issues import Handful, finish_lot
from kitting.services.storms import ask_storm, close_storm, keep_kit, open_storm

pytestmark = pytest.mark.django_db


books = books_of_module(demo_sheets, staged_early)


@pytest.fixture
def stores() -> Stores:
    """The night of the storm."""
    return Stores(NIGHT)


@pytest.fixture
def storm(stores: Stores) -> Storm:
    """An open one."""
    return open_storm(storm="EV1", depot="N", title="ice on the feeders", **stores.scan(DUTY))


def test_a_planner_asks_for_a_storm_and_the_duty_supervisor_opens_and_closes_it(stores: Stores) -> None:
    asked = ask_storm(storm="EV1", title="ice on the feeders", **stores.scan(PLANNER))
    assert (asked.state, asked.asked_by) == ("asked", "R. Tolley")
    assert "duty supervisor may" in refusal("not-allowed", open_storm, storm="EV1", depot="N", **stores.scan(PLANNER))
    assert "may not ask" in refusal("not-allowed", ask_storm, storm="EV2", title="wind", **stores.scan(STORES))
    opened = open_storm(storm="EV1", depot="N", **stores.scan(DUTY))
    assert (opened.state, opened.opened_by, opened.title) == ("open", "J. Brandt", "ice on the feeders")
    told = Event.objects.filter(name="storm opened").values_list("addressed_to", flat=True)
    assert sorted(told) == ["buyer", "planner", "storekeeper"]
    used = refusal("storm-number-used", open_storm, storm="EV1", depot="N", title="again", **stores.scan(DUTY))
    assert "There is a storm EV1 already (open)" in used
    assert close_storm(storm="EV1", **stores.scan(DUTY)).storm.state == "closed"
    assert "is closed since" in refusal("storm-state", close_storm, storm="EV1", **stores.scan(DUTY))


def test_a_storm_needs_a_code_of_its_own_a_title_and_a_depot(stores: Stores) -> None:
    given = {"depot": "N", "title": "wind"}
    for code in (" ", "EV/1"):
        assert "needs a code" in refusal("no-code", open_storm, storm=code, **given, **stores.scan(DUTY))
    assert "number of a job" in refusal("storm-number-used", open_storm, storm="J01", **given, **stores.scan(DUTY))
    assert "needs a reason" in refusal("no-reason", open_storm, storm="EV1", depot="N", **stores.scan(DUTY))
    assert "no depot Q" in refusal(
        "unknown-depot", open_storm, storm="EV1", depot="Q", title="wind", **stores.scan(DUTY)
    )
    scan = stores.scan(DUTY)
    assert open_storm(storm="EV1", **given, **scan) == open_storm(storm="EV1", **given, **scan)
    assert Storm.objects.count() == 1


@pytest.mark.usefixtures("storm")
def test_pieces_go_to_a_visiting_crew_by_name_and_bear_the_events_code(stores: Stores) -> None:
    there = stock("BI15")
    done = give(stores, inserts())
    assert (done.bag.state, done.bag.crew, done.bag.structure) == ("issued", "Crew 2 (Larkfield Line)", "Alder 12")
    assert done.to_finish == []
    assert Balance.objects.get(pk=there.pk).quantity == there.quantity - 3000
    assert Movement.objects.filter(action__paper="EV1").count() == 1
    again = give(stores, inserts())
    assert again.bag.structure == "Alder 12 (2)"


@pytest.mark.usefixtures("storm")
def test_a_carton_names_item_and_lot(stores: Stores) -> None:
    there = stock("BI15")
    carton = f"(241)BI15(10){there.lot.number}"
    done = give(stores, Handful(place=there.place, quantity=1000, carton=carton))
    assert done.to_finish == []
    assert [str(lot) for lot in stores.contents("EV1", "Alder 12").lots.values()] == [str(there.lot)]
    Lot.objects.filter(pk=there.lot_id).update(use_by=date(2028, 1, 31))
    other = Handful(place=there.place, quantity=1000, carton=f"(241)BI15(17)260301(10){there.lot.number}")
    assert "the carton says use by 2026-03-01, the books 2028-01-31" in refusal("two-dates", give, stores, other)


@pytest.mark.usefixtures("storm")
def test_what_must_not_go_out_is_refused_in_a_storm_as_well(stores: Stores) -> None:
    there = stock("BI15")
    assert "crew's name and its company" in refusal("no-crew", give, stores, inserts(), company=" ")
    assert "Say where" in refusal("no-place", give, stores, inserts(), where="")
    assert "Say what" in refusal("moves-nothing", give, stores)
    assert "open ones: EV1" in refusal("unknown-storm", give, stores, inserts(), storm="EV9")
    assert "may not do" in refusal("not-allowed", give, stores, inserts(), actor=BUYER)
    staged = Handful(place=stores.bag("J10", "V9").place, quantity=1000, stock_code="CS15-2", lot="L-2508A")
    assert "bags lend" in refusal("wrong-place", give, stores, staged, depot="H")
    too_many = Handful(place=there.place, quantity=9_000_000, stock_code="BI15")
    assert "9000" in refusal("not-enough", give, stores, too_many)
    old = Handful(place=there.place, quantity=1000, stock_code="BI15", lot=there.lot.number)
    Lot.objects.filter(pk=there.lot_id).update(use_by=NIGHT.date())
    assert give(stores, old, at=NIGHT.replace(day=15, hour=3))  # 22:00 of its last day at the depot
    Lot.objects.filter(pk=there.lot_id).update(use_by=date(2026, 3, 1))
    assert "good until 2026-03-01" in refusal("out-of-date", give, stores, old)
    unread = Handful(place=there.place, quantity=1000, stock_code="BI15")
    assert "0 good ones" in refusal("not-enough", give, stores, unread)
    Lot.objects.filter(pk=there.lot_id).update(use_by=None)
    Item.objects.filter(stock_code="BI15").update(shelf_months=36)
    assert "has no use-by date: set it aside" in refusal("out-of-date", give, stores, old)
    assert "0 good ones" in refusal("not-enough", give, stores, unread)


@pytest.mark.usefixtures("storm")
def test_pieces_that_are_promised_to_planned_jobs_are_taken_only_knowingly(stores: Stores) -> None:
    there = stock("BI15")
    all_there = Handful(place=there.place, quantity=there.quantity, stock_code="BI15", lot=there.lot.number)
    asked = refusal("to-confirm", give, stores, all_there, confirmed=())
    assert "are promised to J01" in asked
    assert give(stores, all_there).bag.state == "issued"
    assert promised_in_vain() == {}
    told = Event.objects.get(name="promised pieces gone")
    assert (told.addressed_to, told.data["why"]) == ("planner", "went out in storm EV1")
    assert "J01" in {one["job"] for one in told.data["lost"]}


@pytest.mark.usefixtures("storm")
def test_a_storm_closes_when_its_list_is_empty_and_its_bags_are_closed(stores: Stores) -> None:
    """Two inserts are installed, one comes back: the report says two, and they are bought again."""
    Level.objects.filter(item__stock_code="BI15", depot__depot="N").delete()
    done = give(stores, inserts(lot=""))
    code, (open_lot,) = label_code(done.bag), done.to_finish
    left = refusal("storm-not-finished", close_storm, storm="EV1", **stores.scan(DUTY))
    assert "lot to name" in left
    assert "still open: 3 BI15" in left
    lot = new_lot("BI15", "L-ICE")
    Balance.objects.create(place=open_lot.place, lot=lot, quantity=3000)
    finish_lot(number=open_lot.pk, lot="L-ICE", **stores.scan())
    line = stores.contents("EV1", "Alder 12").lines[0].line.line
    used = Installed(line=line, stock_code="BI15", lot="L-ICE", quantity=1000)
    install(bag=code, pieces=[used], **stores.scan(CREW))
    write_off(bag=code, stock_code="BI15", lot="L-ICE", quantity=1000, deed="lost", why="snow", **stores.scan(CREW))
    back = {"stock_code": "BI15", "lot": "L-ICE", "quantity": 1000, "condition": "sealed", "door": "stock"}
    turn_in(bag=code, **back, place=open_lot.place, **stores.scan())
    assert len(keeps_open(Storm.objects.get())) == 1
    close(bag=code, **stores.scan())
    ended = close_storm(storm="EV1", **stores.scan(DUTY))
    assert [one.sentence for one in ended.refill] == [f"2 {lot.item} at N (2 used)"]
    assert Event.objects.filter(name="storm closed", addressed_to="buyer").exists()
    assert Job.objects.get(job="EV1").ended == "complete"
    use = storm_use_of("EV1", "ice", movements_of_event("EV1"), UTC)
    assert [(line.place, line.crew, int(line.quantity)) for line in use.lines] == [
        ("Alder 12", "Crew 2 (Larkfield Line)", 1), ("Alder 12", "Crew 2 (Larkfield Line)", 1),
    ]  # fmt: skip
    assert use.without_price == sum(line.unit_price is None for line in use.lines)


@pytest.mark.usefixtures("storm")
def test_what_an_exception_leaves_open_is_bought_again_and_said_to_be_missing(stores: Stores) -> None:
    Level.objects.filter(item__stock_code="BI15", depot__depot="N").delete()
    there = stock("BI15")
    code = label_code(give(stores, inserts()).bag)
    lost = {"stock_code": "BI15", "lot": there.lot.number, "quantity": 1000}
    write_off(bag=code, **lost, deed="lost", why="snow", **stores.scan(CREW))
    said = close(bag=code, exception="the visiting crew has left", **stores.scan())
    assert (said.word, said.sentence) == ("CLOSED BY EXCEPTION", "EV1 Alder 12 is closed; still open: 2 BI15.")
    (refill,) = close_storm(storm="EV1", **stores.scan(DUTY)).refill
    assert refill.sentence == f"3 {there.lot.item} at N (1 used, 2 not accounted for)"


@pytest.mark.usefixtures("storm")
def test_an_emergency_of_a_storm_bears_its_code_and_keeps_it_open(stores: Stores) -> None:
    given = {"structure": "Saltmarsh", "depot": "N", "wanted": {"BI15": 1000}, "why": "dig-in"}
    assert "no storm EV9" in refusal("unknown-storm", open_emergency, job="E01", **given, storm="EV9", **stores.scan())
    opened = open_emergency(job="E01", **given, storm="EV1", **stores.scan())
    there = stock("BI15")
    stores.pick("E01", "Saltmarsh", "BI15", there.lot.number, there.place, 1)
    assert Movement.objects.get(to_place=opened.bag.place).action.paper == "EV1"
    assert "E01 Saltmarsh" in refusal("storm-not-finished", close_storm, storm="EV1", **stores.scan(DUTY))


def test_what_is_out_in_an_open_storm_is_in_use_and_not_due_back(stores: Stores, storm: Storm) -> None:
    give(stores, inserts())
    after = stores.at.date() + timedelta(1)
    assert due_back(after) == {}
    Storm.objects.filter(pk=storm.pk).update(state="closed", closed_by="J. Brandt", closed_at=stores.at)
    assert due_back(after) == {("BI15", "N"): 3000}


@pytest.fixture
def lending(stores: Stores, storm: Storm) -> dict[str, Any]:
    """What is asked of J10's bag for an emergency of the storm."""
    assert storm
    wanted = {"CS15-2": 1000}
    opened = open_emergency(job="E01", structure="Saltmarsh", depot="H", wanted=wanted, why="dig-in", **stores.scan())
    return {
        "bag": stores.code("J10", "V9"), "to_bag": label_code(opened.bag), "stock_code": "CS15-2", "lot": "L-2508A",
        "quantity": 1000, "why": "dig-in", "pay_back_by": date(2026, 4, 9), "confirmed": ("free-first/1",),
    }  # fmt: skip


def test_a_kept_kit_is_broken_never_or_only_with_the_planner(stores: Stores, lending: dict[str, Any]) -> None:
    kept = {"storm": "EV1", "job": "J10", "why": "hospital"}
    keep_kit(**kept, protection="never", **stores.scan(PLANNER))
    said = refusal("kit-kept", borrow, **lending, authoriser=PLANNER, **stores.scan())
    assert said == "KEPT: J10 V9 is broken never in storm EV1 (R. Tolley: hospital): take other pieces."
    keep_kit(**kept, protection="only with planner", **stores.scan(DUTY))
    assert "ask a planner" in refusal("kit-kept", borrow, **lending, authoriser=DUTY, **stores.scan())
    assert KeptKit.objects.count() == 1
    assert str(borrow(**lending, authoriser=PLANNER, **stores.scan())) == "CS15-2 lot L-2508A from J10 V9 to E01"


def test_a_kit_that_is_free_to_break_or_whose_storm_is_over_is_lent_as_ever(
    stores: Stores, lending: dict[str, Any]
) -> None:
    keep_kit(storm="EV1", job="J10", why="can wait", protection="free to break", **stores.scan(DUTY))
    assert borrow(**lending, authoriser=DUTY, **stores.scan()).quantity == 1000
    keep_kit(storm="EV1", job="J10", why="hospital", protection="never", **stores.scan(DUTY))
    close_storm(storm="EV1", **stores.scan(DUTY))
    assert kept_kit(Job.objects.get(job="J10").pk) is None


@pytest.mark.usefixtures("storm")
def test_a_protection_has_a_reason_a_known_word_and_the_right(stores: Stores) -> None:
    kept = {"storm": "EV1", "job": "J10", "why": "hospital", "protection": "never"}
    assert "needs a reason" in refusal("no-reason", keep_kit, **{**kept, "why": ""}, **stores.scan(DUTY))
    unknown = {**kept, "protection": "maybe"}
    assert "free to break" in refusal("unknown-protection", keep_kit, **unknown, **stores.scan(DUTY))
    assert "no job J99" in refusal("unknown-job", keep_kit, **{**kept, "job": "J99"}, **stores.scan(DUTY))
    assert "may not ask" in refusal("not-allowed", keep_kit, **kept, **stores.scan(STORES))


def test_a_storm_that_is_left_on_for_more_than_fourteen_days_is_told(storm: Storm) -> None:
    assert storm.opened_at is not None
    assert left_on(storm.opened_at + timedelta(14)) == []
    assert left_on(storm.opened_at + timedelta(14, 1)) == [storm]


def used_up(stores: Stores, *pieces: Handful) -> None:
    """Pieces that go to a crew and are lost in the snow."""
    done = give(stores, *pieces)
    for one in pieces:
        write_off(bag=label_code(done.bag), stock_code=one.stock_code, lot=one.lot, quantity=one.quantity, deed="lost",
                  why="snow", **stores.scan(CREW))  # fmt: skip


def test_the_report_tells_what_was_bought_for_the_storm_from_what_lay_in_stock(stores: Stores, storm: Storm) -> None:
    there = stock("BI15")
    old = there.lot.number
    facts = {"item": there.lot.item, "quantity": 9000, "depot": there.place.depot}
    OrderLine.objects.create(order=PurchaseOrder.objects.create(number="PO-88"), line="1", **facts)
    one_of = {
        lot: Handful(place=there.place, quantity=1000, stock_code="BI15", lot=lot) for lot in (old, "L-ICE")
    }  # fmt: skip
    used_up(stores, one_of[old])
    for lot, used in one_of.items():
        came = Arrival(stock_code="BI15", lot=lot, count=3000, place=there.place, order="PO-88", line="1")
        stamp = {"by": "M. Osei", "at": stores.scan()["at"], "action": f"DN {lot}", "paper": "DN-4"}
        receive(depot=there.place.depot, arrivals=[came], **stamp)
        used_up(stores, used)
    Item.objects.filter(stock_code="BI15").update(price=Decimal("4.50"))
    use, delivery = use_of_storm(storm), "order PO-88/1, DN-4"
    bags = [label_code(bag) for bag in bags_of(storm)]
    assert [(line.lot, line.source, line.paper, line.received) for line in use.lines] == [
        (old, "stock", bags[0], "opening balance"),
        (old, "stock or purchase", bags[1], f"opening balance; {delivery}"),
        ("L-ICE", "purchase", delivery, delivery),
    ]
    assert use.sum_words == "3 lines, value 13.5"
    Item.objects.filter(stock_code="BI15").update(purchase_unit="kit", per_purchase_unit=3000)
    assert use_of_storm(storm).sum_words == "3 lines, value 4.5"  # 4.50 a kit of three
    Item.objects.filter(stock_code="BI15").update(price=None)
    assert use_of_storm(storm).sum_words == "3 lines, value 0 WITHOUT 3 lines that no price is known of"


def test_the_rate_is_what_went_out_lately_and_did_not_come_back_and_says_for_how_long_the_rest_lasts(
    stores: Stores, storm: Storm
) -> None:
    assert storm.opened_at is not None
    there = stock("BI15")
    give(stores, inserts(), inserts())
    (burn,) = burn_of(storm, storm.opened_at + timedelta(minutes=10))
    left = there.quantity - 6000
    assert (burn.given, burn.rate, burn.window) == (6000, Decimal("6.0"), timedelta(hours=1))
    assert burn.free + burn.promised == left
    assert burn.hours == burn.free // 6000
    (later,) = burn_of(storm, storm.opened_at + timedelta(hours=4))
    assert (later.rate, later.hours) == (Decimal("1.5"), burn.free * 4 // 6000)
    code = stores.code("EV1", "Alder 12")
    back = {"stock_code": "BI15", "lot": there.lot.number, "quantity": 6000, "condition": "sealed", "door": "stock"}
    turn_in(bag=code, **back, place=there.place, **stores.scan())
    assert burn_of(storm, storm.opened_at + timedelta(hours=4)) == []
    give(stores, inserts())
    (quiet,) = burn_of(storm, storm.opened_at + timedelta(hours=40))
    assert (quiet.given, quiet.lately, quiet.hours) == (3000, 0, None)


def test_pieces_that_are_good_through_the_evening_at_the_home_depot_count_though_it_is_tomorrow_in_utc(
    stores: Stores, storm: Storm
) -> None:
    there = stock("BI15")
    give(stores, inserts())
    evening = NIGHT.replace(hour=3) + timedelta(1)  # 22:00 on the 14th at the depots
    (burn,) = burn_of(storm, evening)
    there.lot.use_by = date(2026, 3, 14)
    there.lot.save()
    assert burn_of(storm, evening) == [burn]
    (after,) = burn_of(storm, evening + timedelta(hours=3))
    assert after.promised < burn.promised


def test_the_command_opens_shows_reports_and_closes(stores: Stores, tmp_path: Path) -> None:
    said = io.StringIO()
    call_command("storm", "ask", "EV1", "--title", "ice", "--by", "R. Tolley", stdout=said)
    call_command("storm", "show", stdout=said)
    call_command("storm", "open", "EV1", "--depot", "N", "--by", "J. Brandt", stdout=said)
    call_command("storm", "keep", "EV1", "J10", "never", "--why", "hospital", "--by", "R. Tolley", stdout=said)
    done = give(stores, inserts())
    call_command("storm", "show", "EV1", stdout=said)
    call_command("storm", "show", stdout=said)
    told = said.getvalue()
    assert "EV1 (asked by R. Tolley): ice" in told
    assert "Storm EV1 is open: ice." in told
    assert told.count("J10 in EV1: never") == 2
    assert "BI15 at N an hour; " in told
    assert "EV1 Alder 12 with Crew 2 (Larkfield Line) is issued; still open: 3 BI15" in told
    lot = stock("BI15").lot.number
    write_off(bag=label_code(done.bag), stock_code="BI15", lot=lot, quantity=3000, deed="lost", why="snow",
              **stores.scan(CREW))  # fmt: skip
    close(bag=label_code(done.bag), **stores.scan(OTHER_STORES))
    call_command("storm", "paper", "EV1", "--out", str(tmp_path / "out"), stdout=said)
    names = ["storm-use.csv", "storm-use.pdf", "storm-use.xlsx"]
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == names
    assert "Alder 12" in (tmp_path / "out" / "storm-use.csv").read_text(encoding="utf-8-sig")
    proofs = {one.data["digest"] for one in Event.objects.filter(name="file written")}
    assert proofs == {sha256(path.read_bytes()).hexdigest() for path in (tmp_path / "out").iterdir()}
    call_command("storm", "close", "EV1", "--by", "J. Brandt", stdout=said)
    call_command("storm", "show", stdout=said)
    assert said.getvalue().endswith("No storm is open.\n")
