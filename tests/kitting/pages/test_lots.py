"""A lot's page says where every piece is, stops it, and prints what it says."""

import csv
import io
from datetime import UTC, datetime, timedelta
from hashlib import sha256

import pytest
from bag_stores import MORNING, Stores, demo_sheets
from browsing import browser_of, paper_text, people, send, words
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import AUDITOR, BUYER, CREW, DUTY, PLANNER, STORES

from inventory.models import Action, Item, Lot, LotHold, Movement
from kitting.models import BagEntry, BagLine, Event, Printing, Promise
from kitting.services.note_looking import note_looking

pytestmark = pytest.mark.django_db
PAGE = "/lots/BI25/L-2409-17"


def one_bag_filled() -> None:
    """The demo planned, with the bag of J09 at HL1 filled."""
    made = Stores(prefix="before")
    made.plan()
    made.bags("J09")
    made.fetch("J09", "HL1")


books = books_of_module(demo_sheets, one_bag_filled)


def test_the_pieces_of_a_lot_add_up_on_its_page_and_its_bag_and_job_are_named() -> None:
    people(STORES)

    page = words(browser_of(STORES).get(PAGE))

    assert "no shelf life TOTAL 25 of 25 ea received: adds up" in page
    assert "truck 14 (truck)" in page
    assert "bag J09-HL1" in page
    assert "promised at N/N-02-2" in page


def test_who_looks_at_a_trace_stands_on_the_record_once_a_day() -> None:
    people(STORES, AUDITOR)
    for actor in (STORES, STORES, AUDITOR):
        browser_of(actor).get(PAGE)
    browser_of(AUDITOR).get("/lots/BI25/l-2409-71")  # no lot of ours

    looked = Event.objects.filter(name="trace looked at").order_by("number")
    assert [*looked.values_list("by", "subject")] == [
        (STORES.name, "BI25 lot L-2409-17"), (AUDITOR.name, "BI25 lot L-2409-17"),
    ]  # fmt: skip
    note_looking(subject="BI25 lot L-2409-17", actor=AUDITOR, at=looked[1].at + timedelta(days=1))
    assert looked.count() == 3


def test_the_lot_that_nobody_knows_has_a_page_and_is_never_stopped() -> None:
    people(STORES)
    client = browser_of(STORES)

    page = words(client.get("/lots/GK-1/-"))
    stopped = send(client, "/lots/GK-1/-", reason="a doubt", do="hold", action="A-1")

    assert "GK-1 lot unknown" in page
    assert "Stop this lot" not in page
    assert "move them to a hold place" in words(stopped)
    assert not LotHold.objects.exists()


def test_a_mistyped_lot_offers_what_comes_near_and_picks_none() -> None:
    people(STORES)
    client = browser_of(STORES)

    near, far = client.get("/lots/BI25/l-2409-71"), client.get("/lots/BI52/L-2409-17")

    assert near.status_code == far.status_code == 404
    assert f'href="{PAGE}"' in near.content.decode()
    assert "BI25 has no lot l-2409-71" in words(near)
    assert "There is no stock code BI52; did you mean" in words(far)


def test_a_recall_stops_the_lot_its_bag_and_its_promises_in_one_step_however_often_sent() -> None:
    people(DUTY)
    client = browser_of(DUTY)
    recall = {"reason": "maker's recall", "do": "recall", "action": "R-1"}

    without = send(client, PAGE, **{**recall, "reason": "", "action": "R-0"})
    first, again = send(client, PAGE, **recall), send(client, PAGE, **recall)

    assert "NOT DONE" in words(without)
    assert "RECALLED" in words(first)
    assert "RECALLED" in words(again)
    assert "Bags on hold: J09 HL1" in words(first)
    assert "Jobs hit: J04" in words(first)
    assert "1 ON HOLD" in words(client.get("/jobs/J09"))  # whatever its plan says
    assert "1 bag on hold" in paper_text(client.post("/cutovers/friday-page.pdf"))
    assert LotHold.objects.count() == 1
    assert not Promise.objects.filter(lot__number="L-2409-17", released_at__isnull=True).exists()


def test_a_recall_of_some_serial_numbers_is_said_to_stop_the_whole_lot_before_it_does() -> None:
    people(DUTY)
    client = browser_of(DUTY)
    recall = {"reason": "maker's recall", "do": "recall", "serials": "0100 to 0180", "action": "R-1"}

    asked = send(client, PAGE, **recall)
    assert "SCOPE IS WIDER the maker names serial numbers 0100 to 0180, and these books keep none" in words(asked)
    assert 'name="serials" value="0100 to 0180"' in asked.content.decode()
    assert not LotHold.objects.exists()

    assert "RECALLED" in words(send(client, PAGE, **recall, confirmed="wider-scope/1"))
    assert LotHold.objects.get().reason == (
        "maker's recall (maker's serial numbers 0100 to 0180; the whole lot is stopped)"
    )


def test_a_hold_alone_leaves_the_promises_and_its_tag_can_be_printed() -> None:
    people(STORES)
    client = browser_of(STORES)
    before = Promise.objects.filter(lot__number="L-2409-17", released_at__isnull=True).count()

    held = words(send(client, PAGE, reason="cracked housings seen", do="hold", action="H-1"))
    tag = client.post(f"/holds/{LotHold.objects.get().pk}/tag.pdf", {"action": "T-1"})

    assert "HELD" in held
    assert "cracked housings seen" in held
    assert "Hold only" not in held
    assert Promise.objects.filter(lot__number="L-2409-17", released_at__isnull=True).count() == before
    assert tag.content.startswith(b"%PDF")
    assert client.post("/holds/999999/tag.pdf").status_code == 404
    recalled = words(send(client, PAGE, reason="maker's recall", do="recall", action="H-2"))
    assert "RECALLED" in recalled
    assert "Recall this lot" not in recalled
    assert LotHold.objects.count() == 1


def test_only_who_may_stop_a_lot_is_offered_to_and_does() -> None:
    people(PLANNER, AUDITOR, BUYER)

    for actor, status in ((PLANNER, 403), (AUDITOR, 403), (BUYER, 403)):
        client = browser_of(actor)
        assert "Stop this lot" not in words(client.get(PAGE))
        assert client.post(PAGE, {"reason": "a doubt", "do": "hold"}).status_code == status
    assert not LotHold.objects.exists()


def test_a_held_lot_leads_each_to_what_they_may_do_about_it() -> None:
    people(STORES, PLANNER, AUDITOR)
    send(browser_of(STORES), PAGE, reason="a doubt", do="hold", action="H-1")

    pages = {actor.name: browser_of(actor).get(PAGE).content.decode() for actor in (STORES, PLANNER, AUDITOR)}

    assert [name for name, page in pages.items() if "/ask/hold-release?hold=" in page] == [AUDITOR.name]
    assert [name for name, page in pages.items() if "/what-if?stock_code=BI25&amp;lot=L-2409-17" in page] == [
        PLANNER.name
    ]


def test_the_trace_is_written_in_three_forms_each_print_noted_and_other_endings_refused() -> None:
    people(AUDITOR)
    client = browser_of(AUDITOR)

    files = {
        ending: client.post(f"/traces/{ending}/BI25/L-2409-17", {"why": "yearly look", "action": "P-1"})
        for ending in ("pdf", "xlsx", "csv")
    }

    assert files["pdf"].content.startswith(b"%PDF")
    assert files["xlsx"].content.startswith(b"PK")
    assert "TOTAL 25 of 25 ea received: adds up" in files["csv"].content.decode("utf-8-sig")
    assert Printing.objects.filter(document__startswith="lot trace").count() == 3
    digests = {one.data["document"]: one.data["digest"] for one in Event.objects.filter(name="file written")}
    assert digests == {f"lot trace.{ending}": sha256(file.content).hexdigest() for ending, file in files.items()}
    assert client.post("/traces/exe/BI25/L-2409-17").status_code == 404


def test_a_lot_is_shown_as_the_books_stood_at_a_past_moment_by_the_depots_clock() -> None:
    people(STORES, depots={STORES.name: ["N"]})
    client = browser_of(STORES)
    local = MORNING.replace(hour=7, minute=1)  # 07:01 at the depot, before the bag was filled

    then, before, unread = (
        client.get(PAGE, {"moment": moment}) for moment in (f"{local:%Y-%m-%d %H:%M}", "2020-01-01 00:00", "yesterday")
    )

    assert "As the books stood at 2026-03-02 07:01 CST" in words(then)
    assert "bag J09-HL1" not in words(then)
    assert "Nothing was booked before 2020-01-01" in words(before)
    assert "'yesterday' is no moment" in words(unread)
    assert (unread.status_code, before.status_code) == (200, 200)
    assert "TOTAL" in words(unread)  # the lot is there all the same, and what was typed too
    assert 'name="moment" autocomplete="off" value="yesterday"' in unread.content.decode()


def test_the_page_of_a_lot_asks_as_often_however_many_places_hold_it() -> None:
    people(AUDITOR)
    client = browser_of(AUDITOR)
    counts = []
    for address in ("/lots/EL15-1/L-2501-101", PAGE):
        client.get(address)  # the first look of a day is noted
        with CaptureQueriesContext(connection) as asked:
            assert client.get(address).status_code == 200
        counts.append(len(asked))

    assert counts[0] == counts[1]


def test_stores_see_the_places_of_their_depot_and_crews_their_ends_and_the_sum_stays() -> None:
    people(STORES, CREW, AUDITOR, depots={STORES.name: ["H"]})

    at_h, everywhere = (words(browser_of(one).get(PAGE)) for one in (STORES, AUDITOR))

    assert "N/N-02-2" in everywhere
    assert "N/N-02-2" not in at_h
    assert "elsewhere (" in at_h
    assert "TOTAL 25 of 25 ea received: adds up" in at_h
    assert "TOTAL 25 of 25 ea received: adds up" in words(browser_of(CREW).get(PAGE))


def test_pieces_of_an_unknown_lot_are_named_by_end_and_day_since_the_traced_lot_first_came() -> None:
    people(AUDITOR)
    item = Item.objects.get(stock_code="BI25")
    unknown = Lot.objects.create(item=item, number="")
    line = BagLine.objects.filter(bag__job__job="J09", item=item)[0]
    came = min(Movement.objects.filter(lot__number="L-2409-17").values_list("action__at", flat=True))
    for number, (days, phase) in enumerate(((-1, "A"), (1, "B"), (2, "C"))):
        action = Action.objects.create(number=f"I-{number}", by="T. Ahola", at=came + timedelta(days=days))
        BagEntry.objects.create(action=action, line=line, lot=unknown, deed="installed", quantity=1000, phase=phase)

    could_be = words(browser_of(AUDITOR).get(PAGE)).partition("Could be of this lot")[2].partition("Holds")[0]

    assert "phase A" not in could_be
    for phase, days in (("B", 1), ("C", 2)):
        assert f"phase {phase} J09 fitted {came + timedelta(days=days):%Y-%m-%d}" in could_be
    assert "1 more, installed before" in could_be
    assert "when none of it had come" in could_be


def test_pieces_of_a_lot_that_nobody_knows_are_named_for_days_and_a_place_and_never_all_at_once() -> None:
    people(AUDITOR)
    item = Item.objects.get(stock_code="BI25")
    unknown = Lot.objects.create(item=item, number="")
    lines = BagLine.objects.filter(bag__job__job="J09", item=item).order_by("pk")[:2]
    for number, (day, line, phase) in enumerate(((2, lines[0], "A"), (4, lines[0], "B"), (6, lines[1], "C"))):
        at = datetime(2026, 3, day, 18, tzinfo=UTC)
        action = Action.objects.create(number=f"I-{number}", by="T. Ahola", at=at)
        of_it = {"action": action, "line": line, "lot": unknown, "quantity": 1000}
        BagEntry.objects.create(**of_it, deed="installed", phase=phase)
        place = {"from": "H/H-01-1" if phase == "C" else "N/N-02-2"}
        BagEntry.objects.create(**of_it, deed="picked", facts=place)
    client, page = browser_of(AUDITOR), "/lots/BI25/-"

    def named(**asked: str) -> str:
        return words(client.get(page, asked)).partition("Installed")[2].partition("Failures")[0]

    assert "3 at ends: say from which day to which, and they are named" in named()
    assert "phase" not in named()
    assert "phase B · from N/N-02-2" in named(first="2026-03-03", last="2026-03-06")
    assert "phase C · from H/H-01-1" in named(first="2026-03-03", last="2026-03-06")
    assert "1 more, installed on other days or taken from other places" in named(first="2026-03-03")
    assert "2 more" in named(first="2026-03-03", place="H/H-01-1")
    turned = client.get(page, {"first": "2026-03-06", "last": "2026-03-03"})
    assert "NOT NAMED From 2026-03-06 to 2026-03-03: the last day is before the first one." in words(turned)
    assert 'value="2026-03-06"' in turned.content.decode()
    asked = {"first": "2026-03-04", "last": "2026-03-04", "why": "a recall", "action": "P-1"}
    written = client.post("/traces/csv/BI25/-", asked).content.decode("utf-8-sig")
    assert ("phase B" in written, "phase C" in written) == (True, False)
    since_it_came = words(client.get(PAGE, {"first": "2026-03-05"})).partition("Could be of this lot")[2]
    assert "phase C" in since_it_came
    assert "phase B" not in since_it_came


def test_who_may_not_see_names_reads_numbers_on_pages_and_in_files() -> None:
    people(PLANNER, AUDITOR)

    named, numbered = (words(browser_of(one).get(PAGE)) for one in (AUDITOR, PLANNER))
    written = browser_of(PLANNER).post("/traces/csv/BI25/L-2409-17", {"why": "a doubt", "action": "P-2"})

    name = str(
        Movement.objects.filter(lot__number="L-2409-17", from_place=None).values_list("action__by", flat=True)[0]
    )
    rows = [row for row in csv.DictReader(io.StringIO(written.content.decode("utf-8-sig"))) if row["who or why"]]
    assert name in named
    assert "person 1" not in named
    assert "person 1" in numbered
    assert {row["who or why"] for row in rows} == {"person 1"}
    assert {row["why traced"] for row in rows} == {"a doubt"}
