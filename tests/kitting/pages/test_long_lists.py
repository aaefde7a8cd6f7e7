"""A list that is too long for a page is looked through part by part, and nothing of it is out of reach."""

import re
from gzip import decompress as gunzip

import pytest
from bag_stores import Stores, demo_sheets
from browsing import bags_listed, browser_of, words
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import AUDITOR

from kitting.models import Event
from kitting.pages import cutover_pages, tables
from kitting.pages.tables import MOST_ROWS, Table
from kitting.selectors.bag_contents import bare

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, bags_listed)


def numbers(table: Table, asked_for: str = "") -> list[str]:
    return [row[0].shown for row in table.part(asked_for).rows]


def test_a_long_list_is_drawn_in_parts_and_every_row_is_in_one_of_them() -> None:
    total = 2 * MOST_ROWS + 1
    table = Table("Bags of depot H", ("No.",), [[at] for at in range(1, total + 1)], "", frozenset({MOST_ROWS}))

    for nowhere in ("", "no number", "9" * 5_000, str(total + 1)):
        assert numbers(table, nowhere)[0] == "1"
    assert table.part("").others == [("Later rows", MOST_ROWS + 1), ("Last rows", 2 * MOST_ROWS + 1)]
    middle = table.part(str(MOST_ROWS + 1))
    assert (middle.first, middle.last, middle.total) == (MOST_ROWS, 2 * MOST_ROWS, total)
    assert [is_faded for is_faded, _ in middle.lines][:2] == [True, False]
    assert middle.others == [("Earlier rows", 1), ("Later rows", total)]
    assert table.part(str(total)).others == [("First rows", 1), ("Earlier rows", MOST_ROWS + 1)]
    found = numbers(table) + numbers(table, str(MOST_ROWS + 1)) + numbers(table, str(total))
    assert found == [str(at) for at in range(1, total + 1)]
    assert Table("Few", ("No.",), [[1]], "").part("").others == []


def test_the_parts_of_a_list_keep_what_was_asked_for_and_no_more_is_fetched_than_is_drawn(
    planner: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tables, "MOST_ROWS", 2)
    known = [
        str(one) for one in Event.objects.filter(name="bag listed").order_by("-number").values_list("number", flat=True)
    ]
    assert len(known) > 4

    found, address = [], "/record?what=bag+listed"
    while address:
        with CaptureQueriesContext(connection) as seen:
            page = planner.get(address)
        assert any("LIMIT 2" in query["sql"] for query in seen)
        text = page.content.decode()
        found += re.findall(r'<a href="/record/(\d+)">', text)
        later = re.search(r'href="(\?[^"#]*)#[^"]*">Later rows', text)
        address = f"/record{later[1].replace('&amp;', '&')}" if later else ""
    assert found == known
    assert f"of {len(known)}" in words(page)


def test_cutovers_are_drawn_week_by_week_and_the_last_job_is_within_reach(
    planner: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    everything = re.findall(r'<a href="/jobs/(J\d+)">', planner.get("/cutovers").content.decode())
    assert "more job" not in words(planner.get("/cutovers"))
    monkeypatch.setattr(cutover_pages, "MOST_ROWS", 3)

    found, address = [], "/cutovers"
    while address:
        text = planner.get(address).content.decode()
        part = re.findall(r'<a href="/jobs/(J\d+)">', text)
        assert 0 < len(part) <= 3
        found += part
        later = re.search(r'href="(\?from=[\d-]+)">\d+ more job', text)
        address = f"/cutovers{later[1]}" if later else ""
    assert found == everything
    assert "The next weeks" in text
    assert planner.get("/cutovers?from=soon").status_code == 404


def test_a_page_is_sent_packed_where_the_browser_can_unpack_it(planner: Client) -> None:
    plain = planner.get("/cutovers")
    packed = planner.get("/cutovers", headers={"accept-encoding": "gzip"})

    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert len(packed.content) < len(plain.content) / 4
    assert re.findall(r"/jobs/J\d+", gunzip(packed.content).decode()) == re.findall(
        r"/jobs/J\d+", plain.content.decode()
    )


def test_an_event_says_in_words_what_it_holds() -> None:
    stores = Stores()
    stores.ready("J03", "B1")
    checked = Event.objects.filter(name="bag checked").latest("number")
    code, pieces = next(iter(checked.data["counted"].items()))
    assert f"{code}: {bare(pieces)}" in words(browser_of(AUDITOR).get(f"/record/{checked.number}"))
    loaded = Event.objects.filter(name="sheets loaded").earliest("number")
    told = words(browser_of(AUDITOR).get(f"/record/{loaded.number}")).partition("What it says")[2]

    assert f"jobs: new: {loaded.data['sheets']['jobs']['new']}" in told
    assert "unknown lots" in told
    assert not {"{", "[", "_"} & set(told.partition("digest")[0])
