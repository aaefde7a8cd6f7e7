"""What becomes of a bag that is out with a crew, on its pages."""

from datetime import timedelta
from io import BytesIO
from typing import Any

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import VISITOR, browser_of, paper_text, people, send, words
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from module_books import books_of_module
from people import AUDITOR, CREW, PLANNER
from photographs import photograph, symbol
from PIL import Image

from inventory.models import HOLD, Balance, Lot, Place
from kitting.documents.bag_records import bag_papers
from kitting.models import BagEntry, Event, Picture
from kitting.selectors.bag_contents import bare

pytestmark = pytest.mark.django_db


def bag_issued() -> None:
    """The demo on the first morning with one bag out with a crew, and people who may sign in."""
    planned()
    made = Stores(prefix="issued")
    made.out("J03", "V2")
    people()


books = books_of_module(demo_sheets, bag_issued)


@pytest.fixture
def stores() -> Stores:
    return Stores(at=Stores().at + timedelta(hours=6))


@pytest.fixture
def bag(stores: Stores) -> str:
    """The address of the bag that is out."""
    return f"/bags/{stores.code('J03', 'V2')}"


def inside(stores: Stores, kind: str) -> tuple[Lot, int]:
    """A lot of a kind of item in the bag, and its thousandths."""
    for stand in stores.contents("J03", "V2").lines:
        for number, left in stand.inside.items():
            lot = Lot.objects.select_related("item").get(pk=number)
            if lot.item.kind == kind and left > 0:
                return lot, left
    raise AssertionError(kind)


def turn_in(client: Client, bag: str, lot: Lot, **given: str) -> Any:
    """Tick one row of the turn-in."""
    asked = {"quantity": "1", "condition": "sealed", "door": "stock", "place": "", "why": "", **given}
    return send(client, f"{bag}/turn-in", back=lot.pk, **{f"{name}-{lot.pk}": text for name, text in asked.items()})


def test_the_place_of_a_row_is_photographed_and_what_was_ticked_and_typed_in_the_list_stays(
    stores: Stores, window: Client, bag: str
) -> None:
    lot, _ = inside(stores, "tee")
    bin_ = Place.objects.filter(kind="bin", depot__depot="N").latest("pk")
    sent = {f"quantity-{lot.pk}": "2", f"door-{lot.pk}": "stock", f"place-{lot.pk}": "typed before", "back": lot.pk}
    taken = SimpleUploadedFile("IMG_1.JPG", photograph(symbol(bin_.code)), "image/jpeg")
    here = f"{bag}/turn-in"
    shown = send(window, here, **sent, photographed="fill:", photo=taken, **{"photo-of": f"place-{lot.pk}"})
    page = shown.content.decode()

    assert f"READ {bin_.code}" in words(shown)
    assert f'name="place-{lot.pk}" value="{bin_.code}"' in page
    assert f'name="quantity-{lot.pk}" value="2"' in page
    assert f'name="back" value="{lot.pk}" checked' in page
    assert page.count('name="back"') > page.count('" checked')
    assert ">Today</a>" in page


def test_what_came_back_is_ticked_and_goes_through_its_door(stores: Stores, window: Client, bag: str) -> None:
    lot, there = inside(stores, "tee")
    taken = BagEntry.objects.filter(lot=lot, deed="picked").latest("pk").facts["from"]

    nothing = send(window, f"{bag}/turn-in")
    too_many = turn_in(window, bag, lot, quantity=bare(there + 1_000), place=taken)
    opened = turn_in(window, bag, lot, condition="opened", place=taken)
    back = turn_in(window, bag, lot, place=taken)
    scrap = turn_in(window, bag, lot, door="scrap")

    assert "NOTHING TICKED" in words(nothing)
    assert f"holds {bare(there)} {lot.item.stock_code}" in words(too_many)
    kept = too_many.content.decode()
    assert f'name="quantity-{lot.pk}" value="{bare(there + 1_000)}"' in kept
    assert f'name="back" value="{lot.pk}" checked' in kept
    assert "An opened tee goes to inspection, never straight to stock." in words(opened)
    assert "STILL OPEN" in words(back)
    assert f"1 {lot.item.stock_code} turned in from J03 V2: stock." in words(back)
    assert f"Say why {lot.item.stock_code} is scrapped." in words(scrap)
    assert stores.bag("J03", "V2").state == "returning"


def test_what_is_to_be_inspected_lies_at_the_hold_place_of_the_depot(stores: Stores, window: Client, bag: str) -> None:
    lot, _ = inside(stores, "tee")
    only = Place.objects.get(depot__depot="N", kind=HOLD)
    turn_in(window, bag, lot, condition="opened", door="inspect", place="")
    other = stores.place("N", "N-HOLD-2", HOLD)

    unsaid = turn_in(window, bag, lot, condition="opened", door="inspect", place="")
    turn_in(window, bag, lot, condition="opened", door="inspect", place="N/N-HOLD-2")

    assert f"WHICH HOLD PLACE scan one of {only.code}, N-HOLD-2." in words(unsaid)
    assert [Balance.objects.get(place=one, lot=lot).quantity for one in (only, other)] == [1_000, 1_000]


def test_the_crew_lead_ticks_what_is_installed_by_end_and_phase(stores: Stores, bag: str) -> None:
    crew = browser_of(CREW)
    stand = next(
        one for one in stores.contents("J03", "V2").lines
        if one.line.facts["phases"] == "ABC" and one.open == 3_000 and not one.line.spare
    )  # fmt: skip
    key = stand.line.pk

    begun = send(crew, f"{bag}/begin")
    nothing = send(crew, f"{bag}/install")
    unread = crew.post(f"{bag}/install", {f"phase-{key}": ["A", "B"], f"gauge-{key}": "30.1"}, follow=True)
    assert "GAUGE READING" in words(unread)
    assert 'value="B" checked' in unread.content.decode()
    assert 'value="30.1"' in unread.content.decode()
    miscounted = crew.post(f"{bag}/install", {f"phase-{key}": ["A"], f"quantity-{key}": "one"}, follow=True)
    assert 'value="A" checked' in miscounted.content.decode()
    two = crew.post(f"{bag}/install", {f"phase-{key}": ["A", "B"], f"gauge-{key}": "30.1 mm"}, follow=True)
    rest = send(crew, f"{bag}/install", **{f"phase-{key}": "C"})

    assert "IN WORK" in words(begun)
    assert "NOTHING TICKED" in words(nothing)
    assert "2 of 3 DONE" in words(two)
    assert "3 of 3 DONE" in words(rest)
    noted = BagEntry.objects.filter(line=stand.line, deed="installed").order_by("phase")
    assert [(one.phase, one.quantity, one.facts["gauge"]) for one in noted] == [
        ("A", 1_000, "30.1 mm"), ("B", 1_000, "30.1 mm"), ("C", 1_000, ""),
    ]  # fmt: skip
    assert "Undo installed 1 " in words(crew.get(bag))


def test_what_stands_on_a_night_card_is_typed_in_later_with_its_own_moment_and_initials(
    stores: Stores, bag: str
) -> None:
    crew = browser_of(CREW)
    stand = next(
        one for one in stores.contents("J03", "V2").lines
        if one.line.facts["phases"] == "ABC" and one.open == 3_000 and not one.line.spare
    )  # fmt: skip
    send(crew, f"{bag}/begin")
    tick = {f"phase-{stand.line.pk}": "A"}
    half = send(crew, f"{bag}/install", **tick, paper_by="TA")
    assert "FROM PAPER type the moment on the card and whose initials" in words(half)
    assert 'name="paper_by" value="TA"' in half.content.decode()
    assert 'value="A" checked' in half.content.decode()
    ahead = send(crew, f"{bag}/install", **tick, paper_by="TA", paper_at="2090-03-12 02:10")
    assert "FROM PAPER the moment is still to come" in words(ahead)
    assert not BagEntry.objects.filter(line=stand.line, deed="installed").exists()

    send(crew, f"{bag}/install", **tick, paper_by="TA", paper_at="2026-03-01 02:10")

    entry = BagEntry.objects.select_related("action").get(line=stand.line, deed="installed")
    assert entry.facts["on paper"] == "TA"
    (end,) = bag_papers("J03").installed.ends
    assert (end.at_device, end.on_paper) == ("2026-03-01 02:10 CST", "TA")
    assert end.at_books != end.at_device
    assert "on paper, by TA" in paper_text(browser_of(AUDITOR).post("/jobs/J03/as-installed.pdf"))


def test_what_fell_is_written_off_by_one_tap_and_the_bag_closes_by_a_named_exception(
    stores: Stores, window: Client, bag: str
) -> None:
    lot, _ = inside(stores, "tee")
    piece = f"{lot.item.stock_code}|{lot.number}"

    silent = send(window, f"{bag}/write-off", piece=piece, quantity="1", what="")
    noted = send(window, f"{bag}/write-off", piece=piece, what="dropped", note="in the vault")
    stuck = send(window, f"{bag}/close", exception="")
    closed = send(window, f"{bag}/close", exception="the crew keeps the rest until Monday")

    assert "Say which: dropped, damaged, wrong, missing, no longer needed" in words(silent)
    assert f"NOTED {lot.item} dropped." in words(noted)
    assert "STILL OPEN" in words(stuck)
    assert "CLOSED BY EXCEPTION J03 V2 is closed; still open: " in words(closed)
    assert stores.bag("J03", "V2").state == "closed"
    assert f'href="{bag}/turn-in"' in window.get(bag).content.decode()
    kept, _ = inside(stores, "cable adapter")
    late = turn_in(window, bag, kept, door="inspect", place="N/N turn-in shelf")
    assert f"STILL OPEN 1 {kept.item} turned in from J03 V2: inspect." in words(late)


def test_an_oops_may_come_with_a_photograph_and_never_waits_for_one(stores: Stores, window: Client, bag: str) -> None:
    lot, _ = inside(stores, "tee")
    given, file = {"piece": f"{lot.item.stock_code}|{lot.number}", "what": "damaged"}, BytesIO()
    Image.new("RGB", (120, 80), (40, 40, 40)).save(file, "JPEG")

    kept = words(send(window, f"{bag}/write-off", **given, picture=SimpleUploadedFile("tee.jpg", file.getvalue())))
    spoilt = words(send(window, f"{bag}/write-off", **given, picture=SimpleUploadedFile("tee.jpg", b"no picture")))

    one = Picture.objects.get()
    assert (str(one.bag), one.note) == ("J03 V2", f"{lot.item} damaged")
    assert f"Picture {one.pk} is kept with the bag." in kept
    assert f"NOTED {lot.item} damaged." in spoilt
    assert "The photograph is not kept:" in spoilt
    assert Event.objects.filter(name="piece scrapped", subject="J03 V2").count() == 2


def test_a_job_is_done_only_once_nothing_of_it_is_out() -> None:
    planner = browser_of(PLANNER)
    asked = words(planner.get("/jobs/J03/end"))

    assert "NOT YET J03 V2 is out with the crew" in asked
    assert "The job is done" not in asked
    assert "The job is done" in words(planner.get("/jobs/J04/end"))


def test_an_issued_bag_comes_back_unopened_with_a_reason_and_is_checked_again(
    stores: Stores, window: Client, bag: str
) -> None:
    silent = send(window, f"{bag}/hand-back", why="")
    back = send(window, f"{bag}/hand-back", why="the outage is off")

    assert "say why" in words(silent)
    assert "check it again" in words(back)
    assert stores.bag("J03", "V2").state == "reopened"
    assert "J03 V2" in words(window.get("/bags?depot=N&do=rework"))


def test_a_visiting_crew_may_turn_in_and_see_nothing_else(stores: Stores, bag: str) -> None:
    lot, _ = inside(stores, "tee")
    visitor = browser_of(VISITOR)
    taken = BagEntry.objects.filter(lot=lot, deed="picked").latest("pk").facts["from"]

    assert visitor.get(bag).status_code == 403
    assert visitor.get(f"{bag}/install").status_code == 403
    assert "turned in from J03 V2" in words(turn_in(visitor, bag, lot, place=taken))
    first = visitor.get("/").content.decode()
    assert "Turn in: scan the bag's label" in first.replace("&#x27;", "'")
    assert 'href="/fit"' in first
    scanned = visitor.get("/what", {"code": stores.code("J03", "V2")}, follow=True)
    assert (scanned.request["PATH_INFO"], scanned.status_code) == (f"{bag}/turn-in", 200)
    assert f'href="{bag}"' not in scanned.content.decode()


def test_a_scanned_piece_ticks_its_line_and_as_many_as_were_scanned(stores: Stores, window: Client, bag: str) -> None:
    """Two taps a line: the scan, and turning in."""
    lot, _ = inside(stores, "tee")
    carton = f"(241){lot.item.stock_code}(10){lot.number}"

    once = window.get(f"{bag}/turn-in", {"read": carton}, follow=True)
    tick = once.request["QUERY_STRING"]
    twice = window.get(f"{bag}/turn-in?{tick}", {"read": carton, "tick": lot.pk}, follow=True)
    wrong = window.get(f"{bag}/turn-in", {"read": "EL15-1"}, follow=True)

    assert tick == f"tick={lot.pk}"
    assert f'value="{lot.pk}" checked' in once.content.decode()
    assert "2 scanned." in words(twice)
    assert f'name="quantity-{lot.pk}" value="2"' in twice.content.decode()
    assert "NOT IN BAG nothing of EL15-1 is left in J03 V2" in words(wrong)


def test_a_lot_that_is_not_in_the_bag_is_asked_about_and_comes_back_from_where_it_was(
    stores: Stores, window: Client, bag: str
) -> None:
    """G5: other lot -> from where?"""
    lot, _ = inside(stores, "tee")
    bin_ = stores.place("N", "N-77-1")
    Balance.objects.create(place=bin_, lot=Lot.objects.create(item=lot.item, number="L-OTHER"), quantity=5000)
    read = {"read": f"(241){lot.item.stock_code}(10)L-OTHER"}
    form = {**read, "do": "other", "quantity-other": "1", "condition-other": "sealed", "door-other": "stock",
            "place-other": "N-77-1"}  # fmt: skip

    asked = words(window.get(f"{bag}/turn-in", read))
    unsaid = send(window, f"{bag}/turn-in", **form)
    no_bin = send(window, f"{bag}/turn-in", **{**form, "place-other": "N-99-9"}, source=bin_.pk)
    no_reason = send(window, f"{bag}/turn-in", **{**form, "door-other": "scrap", "place-other": ""}, source=bin_.pk)
    photographed = send(
        window, f"{bag}/turn-in", **{**form, "door-other": "inspect", "place-other": ""}, source=bin_.pk,
        photographed="fill:place-other", photo=SimpleUploadedFile("bin.jpg", photograph(symbol("N-77-1"))),
    ).content.decode()  # fmt: skip
    before = Balance.objects.get(place=bin_, lot__number="L-OTHER").quantity
    back = send(window, f"{bag}/turn-in", **form, source=bin_.pk)

    assert f"OTHER LOT {lot.item} lot L-OTHER is not in this bag: from where?" in asked
    assert "picked at N-77-1 in the place of the lot that the books took: 5 of it there" in asked
    assert "FROM WHERE" in words(unsaid)
    assert "N-99-9" in words(no_bin)
    assert f"Say why {lot.item} is scrapped." in words(no_reason)
    for page in (no_reason.content.decode(), photographed):  # nothing is typed again
        assert f'name="source" value="{bin_.pk}" required checked' in page
    assert "<option selected>inspect" in photographed
    assert 'name="place-other" value="N-77-1"' in photographed
    assert before == 5000  # a refusal has booked nothing
    assert f"1 {lot.item} turned in from J03 V2: stock." in words(back)
    assert Balance.objects.get(place=bin_, lot__number="L-OTHER").quantity == 5000
    assert Balance.objects.get(place=bin_, lot=lot).quantity == 1000  # which the books had taken, and nobody had


def test_a_scan_of_the_end_and_of_the_piece_fills_the_record_and_another_lot_is_asked_about(
    stores: Stores, bag: str
) -> None:
    """G10: the record in two scans; lot not in this bag -> from where?"""
    crew = browser_of(CREW)
    lot, _ = inside(stores, "tee")
    stand = next(
        one for one in stores.contents("J03", "V2").lines
        if one.line.item_id == lot.item_id and one.line.facts["phases"] == "ABC" and not one.line.spare
    )  # fmt: skip
    end = f"V2-{stand.line.facts['position']}"

    at_end = crew.get(f"{bag}/install", {"read": end.lower()}, follow=True)
    assert at_end.request["QUERY_STRING"] == f"end={end}"
    assert f"Scan the piece at {end}" in words(at_end)
    filled = words(crew.get(f"{bag}/install", {"end": end, "read": f"(241){lot.item}(10){lot.number}"}))
    assert f"Filled: {lot.item} lot {lot.number} ." in filled
    assert filled.count(f"end: {lot.item} ") == 1

    nowhere = {"end": end, "read": f"(241){lot.item}(10)L-OTHER"}
    assert "OTHER LOT" in words(crew.get(f"{bag}/install", nowhere))
    form = {**nowhere, "do": "other", "line": stand.line.line, "quantity-other": "1", "source": "nobody"}
    question = send(crew, f"{bag}/install", **form)
    assert "L-OTHER" in words(question)
    noted = send(crew, f"{bag}/install", **form, confirmed="new-lot/1")
    assert "nobody knows from where. Now tick where it is." in words(noted)
    key = stand.line.pk
    done = send(crew, f"{bag}/install", **{f"phase-{key}": "A", f"lot-{key}": "L-OTHER", "end": end})
    assert "1 OF 3 DONE" in words(done)
    assert BagEntry.objects.get(line=stand.line, deed="installed").lot.number == "L-OTHER"


def test_a_tap_by_mistake_is_taken_back_within_the_bag_and_both_stay_in_the_record(stores: Stores, bag: str) -> None:
    """G9: what is scanned is chosen; five taps; undo."""
    lot, there = inside(stores, "tee")
    crew, piece = browser_of(CREW), f"{lot.item}|{lot.number}"

    scanned = crew.get(f"{bag}/write-off", {"read": f"(241){lot.item}(10){lot.number}"})
    assert f'value="{piece}" selected' in scanned.content.decode()
    assert "NOT IN BAG" in words(crew.get(f"{bag}/write-off", {"read": "EL15-1"}, follow=True))
    for what in ("damaged", "wrong"):
        assert "NOTED" in words(send(crew, f"{bag}/write-off", piece=piece, what=what, action=f"P-{what}"))
    assert inside(stores, "tee")[1] == there - 1_000  # a wrong one is there still
    back = send(crew, f"{bag}/write-off", undone="P-damaged")
    again = send(crew, f"{bag}/write-off", undone="P-damaged")

    assert "TAKEN BACK" in words(back)
    assert "taken back; both stay in the record" in words(again)
    assert inside(stores, "tee")[1] == there
    deeds = [*BagEntry.objects.filter(lot=lot).order_by("pk").values_list("deed", flat=True)]
    assert deeds[-2:] == ["scrapped", "not scrapped"]
