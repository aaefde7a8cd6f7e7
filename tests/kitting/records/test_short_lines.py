"""Every line that is short has somebody who sees to it and an age, from plan to plan, on pages and on the report."""

import csv
from datetime import date, timedelta
from pathlib import Path

import pypdfium2
import pytest
from bag_stores import CLEAN, Stores, demo_sheets, planned
from browsing import OTHER_STORES, browser_of, people, send, words
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import BUYER, PLANNER, STORES
from refusals import refusal

from inventory.models import Balance
from kitting.calculation.shortages import Care
from kitting.models import Event, Person, ShortLine
from kitting.selectors.short_lines import cares
from kitting.services.short_lines import own_short_lines
from kitting.spreadsheets.reading import read_raw_book

pytestmark = pytest.mark.django_db
SEAL = "J08/G3-a/position/ABC/bushing insert"  # short on the first morning
FIRST, NEXT = date(2026, 3, 2), date(2026, 3, 5)


def prepared() -> None:
    planned()
    people()


books = books_of_module(demo_sheets, prepared)


def own(line: str = "", **given: object) -> int:
    asked = {"job": "J08", "owner": BUYER.name, "actor": PLANNER, "at": Stores().at, "line": line}
    return own_short_lines(**{**asked, **given})  # type: ignore[arg-type]


def test_a_line_keeps_its_first_day_and_owner_through_plans_until_it_is_short_no_more() -> None:
    assert set(ShortLine.objects.values_list("since", "ended")) == {(FIRST, None)}
    own(SEAL, owner=PLANNER.name)

    Stores(prefix="again").plan(NEXT)

    assert cares([SEAL]) == {SEAL: Care(PLANNER.name, FIRST)}
    assert ShortLine.objects.get(line=SEAL).ended is None
    assert cares([SEAL])[SEAL].age_days(NEXT) == 3
    reserve = Balance.objects.get(lot__item__stock_code="BI35L", place__kind="reserve")
    reserve.place = Stores().place("N", "N-01-1")
    reserve.save()
    Stores(prefix="found").plan(NEXT)
    assert ShortLine.objects.get(line=SEAL).ended == NEXT, ShortLine.objects.filter(line=SEAL).values()
    reserve.quantity = 0
    reserve.save()
    Stores(prefix="gone").plan(NEXT + timedelta(days=1))
    assert cares([SEAL]) == {SEAL: Care(BUYER.name, NEXT + timedelta(days=1))}  # short anew, nobody named


def test_without_a_name_it_is_the_only_buyer_and_of_two_buyers_nobody_yet() -> None:
    only = cares([SEAL])[SEAL]
    Person.objects.create(sign_in="other", name="O. Ther", roles=["buyer"])
    of_two = cares([SEAL])[SEAL]
    assert (only.words, of_two.words) == (BUYER.name, "nobody yet")
    assert cares(["J99/nowhere"])["J99/nowhere"].age_days(NEXT) is None


def test_buyers_and_planners_name_an_owner_who_is_one_of_them_for_a_line_or_a_whole_job() -> None:
    assert "may not" in refusal("not-allowed", own, actor=STORES)
    assert "is no buyer or planner" in refusal("unknown-person", own, owner=STORES.name)
    assert "No line of J99 is short" in refusal("not-short", own, job="J99")
    assert (own(), own(SEAL, owner="")) == (ShortLine.objects.filter(job__job="J08").count(), 1)
    told = Event.objects.filter(name="short lines owned").order_by("number").last()
    assert told is not None
    assert (told.by, told.data) == (PLANNER.name, {"lines": [SEAL], "before": [BUYER.name], "after": ""})


def test_owner_and_age_stand_on_the_buyers_page_and_on_the_jobs_and_are_set_there() -> None:
    buyer, planner = browser_of(BUYER), browser_of(PLANNER)
    assert f"{BUYER.name} short since today" in words(buyer.get("/buying"))

    done = send(planner, "/buying/owner", lines=SEAL, owner=PLANNER.name, page="job")
    wrong = words(send(planner, "/buying/owner", lines="J08", owner=STORES.name))
    whole = send(buyer, "/buying/owner", lines="J12", owner=PLANNER.name)

    assert f"{PLANNER.name} sees to {SEAL} (1 short)." in words(done)
    assert done.redirect_chain[-1][0] == "/jobs/J08"
    assert f"{PLANNER.name} short since today" in words(planner.get("/jobs/J08"))
    assert "is no buyer or planner" in wrong
    assert "sees to J12" in words(whole)
    assert whole.redirect_chain[-1][0] == "/buying"
    assert send(browser_of(OTHER_STORES), "/buying/owner", lines="J08", owner=BUYER.name).status_code == 403
    assert "are seen to by" not in words(browser_of(STORES).get("/jobs/J08"))


def test_reading_owners_asks_the_books_twice_however_many_lines_there_are() -> None:
    for lines in ([SEAL], [*ShortLine.objects.values_list("line", flat=True)]):
        with CaptureQueriesContext(connection) as queries:
            cares(lines)
        assert len(queries) == 2


def test_the_report_of_the_records_names_owner_and_age_in_every_form_and_that_of_files_has_no_such_column(
    tmp_path: Path,
) -> None:
    own(SEAL, owner=PLANNER.name)
    for name in ("a", "b"):
        call_command("plan", "--as-of", "2026-03-05", "--out", str(tmp_path / name))
    call_command("plan", str(CLEAN), "--as-of", "2026-03-05", "--out", str(tmp_path / "files"))

    rows = {row["line"]: row for row in table(tmp_path / "a")}
    report = tmp_path / "a" / "documents" / "shortage-report.xlsx"
    pages = pypdfium2.PdfDocument(report.with_suffix(".pdf"))
    printed = " ".join(" ".join(page.get_textpage().get_text_range().split()) for page in pages)

    assert (rows[SEAL]["owner"], rows[SEAL]["age_days"]) == (PLANNER.name, "3")
    assert "owner" not in table(tmp_path / "files")[0]
    assert PLANNER.name in read_raw_book(report).sheets["short"].cells.to_string()
    assert "Owner, age" in printed
    assert "R. Tolley, 3 days" in printed
    assert "P. Nakamura, new" in printed
    for path in ("shortages.csv", "documents/shortage-report.pdf", "documents/shortage-report.xlsx"):
        assert (tmp_path / "a" / path).read_bytes() == (tmp_path / "b" / path).read_bytes()


def table(folder: Path) -> list[dict[str, str]]:
    return [*csv.DictReader((folder / "shortages.csv").read_text(encoding="utf-8-sig").splitlines())]
