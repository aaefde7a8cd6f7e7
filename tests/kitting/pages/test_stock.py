"""Items are found by exact facts, and an item's page says where every piece is and what it is kept for."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from bag_stores import MORNING, Stores, demo_sheets, planned
from browsing import OTHER_STORES, browser_of, people, words
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import AUDITOR, BUYER, PLANNER, STORES
from record_books import AT

from inventory.models import Balance, Item, Lot, OldCode
from inventory.selectors.stock_then import stock_then
from kitting.models import Event
from kitting.selectors.item_sheet import item_sheet
from kitting.selectors.stock_sums import FREE, PROMISED, spots, sums

pytestmark = pytest.mark.django_db

books = books_of_module(demo_sheets, planned)
DAY = date(2026, 3, 2)


def test_a_diameter_finds_the_ranges_that_hold_it_ends_included_and_no_near_miss() -> None:
    people(STORES)
    client = browser_of(STORES)

    on_the_end = words(client.get("/stock", {"kind": "elbow", "class": "15", "diameter": "0.800", "unit": "in"}))
    beyond = words(client.get("/stock", {"kind": "elbow", "class": "15", "diameter": "20.33", "unit": "mm"}))

    assert "0.800 in (20.32 mm)" in on_the_end
    assert "EL15-1 " in on_the_end
    assert "margin 0.200 in (5.08 mm) below, 0.000 in (0.00 mm) above" in on_the_end
    assert "EL15-2 " in beyond
    assert "EL15-1 " not in beyond


def test_the_unit_typed_with_the_number_wins_over_the_switch_and_a_comma_is_asked() -> None:
    people(STORES)
    client = browser_of(STORES)

    typed = words(client.get("/stock", {"diameter": "20.32 mm", "unit": "in"}))
    comma = words(client.get("/stock", {"diameter": "20,32", "unit": "mm"}))

    assert "0.800 in (20.32 mm)" in typed
    assert "comma as decimal point" in comma
    assert "Holds over insulation" not in comma


def test_a_conductor_is_searched_by_size_and_metal_and_the_families_never_match() -> None:
    people(STORES)
    client = browser_of(STORES)

    found = words(client.get("/stock", {"kind": "elbow connector", "size": "#1/0", "metal": "Al"}))
    metric = words(client.get("/stock", {"kind": "elbow connector", "size": "50 mm2", "metal": "Al"}))

    assert "1/0" in found
    assert "No item has all of these facts" in metric


def test_an_old_code_finds_its_item_on_both_pages_and_an_unknown_one_says_what_comes_near() -> None:
    people(STORES)
    client = browser_of(STORES)
    OldCode.objects.create(code="OLD-77", item=Item.objects.get(stock_code="EL15-2"))

    searched, page = words(client.get("/stock", {"words": "old-77"})), words(client.get("/items/OLD-77"))
    unknown = client.get("/items/EL15-9")

    assert "EL15-2 Elbow" in searched
    assert "old code OLD-77" in searched
    assert "Old code OLD-77" in page
    assert unknown.status_code == 404
    assert "did you mean" in words(unknown)


def test_the_shares_of_an_item_add_up_to_what_lies_at_each_depot() -> None:
    items = [*Item.objects.all()]

    found = spots(items, today=DAY)
    shares = sums(found)

    lying = sum(spot.balance.quantity for spot in found)
    assert sum(one.total() for one in shares.values()) == lying
    assert any(one[PROMISED] for one in shares.values())
    assert min(one[FREE] for one in shares.values()) >= 0


def test_what_is_past_its_date_is_not_free() -> None:
    item = Item.objects.get(stock_code="CS15-2")

    before, after = (sums(spots([item], today=day))["CS15-2", "H"] for day in (date(2026, 3, 31), date(2026, 4, 1)))

    assert before.total() == after.total()
    assert before[FREE] > after[FREE]


def test_the_days_of_an_item_begin_with_what_lies_and_take_what_is_promised() -> None:
    sheet = item_sheet("EL15-2", today=DAY)

    changes = sheet.changes()

    lies = sum(spot.balance.quantity for spot in sheet.spots if spot.balance.place.kind == "bin")
    promised = sum(one.quantity for one in sheet.promises)
    assert promised > 0
    assert changes[-1].left == lies - promised + sum(one.quantity for one in changes if one.quantity > 0)
    assert [one.day for one in changes] == sorted(one.day for one in changes if one.day)


def test_money_is_shown_only_to_who_may_see_prices() -> None:
    people(BUYER, STORES, AUDITOR)
    Item.objects.filter(stock_code="EL15-2").update(price=12)

    pages = {actor.name: words(browser_of(actor).get("/items/EL15-2")) for actor in (BUYER, STORES, AUDITOR)}

    assert "Price" in pages[BUYER.name]
    assert "Price" in pages[AUDITOR.name]
    assert "Price" not in pages[STORES.name]


def test_who_may_not_trace_reads_the_lot_without_a_way_to_it() -> None:
    people(BUYER, PLANNER)

    for actor, leads in ((BUYER, False), (PLANNER, True)):
        page = browser_of(actor).get("/items/BI25")
        assert "L-2409-17" in words(page)
        assert ('href="/lots/BI25/L-2409-17"' in page.content.decode()) is leads


def test_the_pages_ask_as_often_for_one_item_as_for_many() -> None:
    people(STORES)
    client = browser_of(STORES)
    client.get("/stock")
    counts = []
    for word in ("EL15-1", "EL15"):
        with CaptureQueriesContext(connection) as asked:
            found = words(client.get("/stock", {"words": word}))
        counts.append((len(asked), " items" in found))

    assert counts == [(counts[0][0], False), (counts[0][0], True)]


def test_dates_that_come_near_name_the_jobs_that_could_still_use_the_pieces() -> None:
    people(STORES)

    page = words(browser_of(STORES).get("/stock/dates"))

    assert "Within 30 days" in page
    assert "L-2303B" in page


def test_dates_that_come_near_are_a_task_once_a_week_until_looked_at_and_what_is_out_of_date_each_day(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    people(STORES, BUYER, PLANNER)
    window, buyer, near = browser_of(STORES), browser_of(BUYER), "whose date comes near this week"
    for client in (window, buyer):
        page = words(client.get("/"))
        assert near in page
        assert "within 30 days: CS15-2 L-2303B" in page
    assert near not in words(browser_of(PLANNER).get("/"))

    for client in (window, window, browser_of(PLANNER)):
        client.get("/stock/dates")

    assert Event.objects.filter(name="dates looked at").count() == 1
    assert near not in words(window.get("/"))
    assert near in words(buyer.get("/"))
    for day, told in ((MORNING + timedelta(6), False), (MORNING + timedelta(7), True)):  # Sunday, and the next Monday
        monkeypatch.setattr("kitting.pages.asked.books_now", lambda day=day: day)
        assert (near in words(window.get("/"))) == told
    Lot.objects.filter(number="L-2303B").update(use_by=MORNING.date())
    assert "1 lot out of date CS15-2 L-2303B" in words(window.get("/"))


def test_the_page_of_an_item_asks_as_often_however_much_there_is_of_it() -> None:
    people(STORES)
    client = browser_of(STORES)
    client.get("/items/TAG-Y")
    counts = []
    for code in ("CA-6", "BI25", "EL15-2"):
        with CaptureQueriesContext(connection) as asked:
            assert client.get(f"/items/{code}").status_code == 200
        counts.append(len(asked))

    assert len(set(counts)) == 1


def test_the_stock_of_a_depot_is_told_as_it_was_and_before_the_first_record_nothing_is() -> None:
    people(STORES, BUYER)
    stores, client = Stores(AT + timedelta(hours=1)), browser_of(STORES)
    stores.bags("J03")
    before = stores.at
    now = {
        (one.place, one.lot): one.quantity for one in Balance.objects.filter(place__depot__depot="N", quantity__gt=0)
    }
    stores.fetch("J03", "B1")

    def elbows(minutes: int) -> str:
        moment = (stores.at + timedelta(minutes=minutes)).astimezone(ZoneInfo("America/Chicago"))
        asked = {"depot": "N", "moment": f"{moment:%Y-%m-%dT%H:%M}", "code": "el15-3"}
        return words(client.get("/stock/then", asked))

    assert {(one.place, one.lot): one.quantity for one in stock_then(depot="N", at=before)} == now
    assert stores.code("J03", "B1") not in elbows(0)
    assert stores.code("J03", "B1") in elbows(59)
    early = words(client.get("/stock/then", {"depot": "N", "moment": "2020-01-01T06:00"}))
    assert "These books say nothing of depot N then: its first record is of" in early
    assert "is no moment" in words(client.get("/stock/then", {"depot": "N", "moment": "noon"}))
    assert browser_of(BUYER).get("/stock/then").status_code == 403
    people(OTHER_STORES, depots={OTHER_STORES.name: ["M"]})
    elsewhere = browser_of(OTHER_STORES)
    assert "sees the past of M, not of N" in words(elsewhere.get("/stock/then", {"depot": "N"}))
    own = elsewhere.get("/stock/then")
    assert "<option selected>M</option></select>" in own.content.decode()
