"""What failed on the line is reported with its place and lot as far as anybody knows, and counted by lot."""

import csv
import io
from collections.abc import Mapping
from io import BytesIO
from zipfile import ZipFile

import pytest
from bag_stores import CREW, Stores, a_pad_fitted, demo_sheets
from browsing import browser_of, people, send, words
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import AUDITOR, BUYER, STANDARDS, STORES
from PIL import Image
from refusals import refusal

from inventory.models import Item
from jobs.models import Job, Position
from kitting.documents.from_records import lot_trace_of
from kitting.documents.lot_trace import FAILED
from kitting.models import BagEntry, Event, Failure, Picture, Printing
from kitting.roles import CREW_LEAD, Actor
from kitting.selectors.event_chain import check_chain
from kitting.selectors.failures import by_lot
from kitting.services.report_failures import withdraw_failure

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, a_pad_fitted)
ALL = "/failures"
END: Mapping[str, str] = {"structure": "A1", "position": "a"}
OTHER_CREW = Actor("O. Ther", frozenset({CREW_LEAD}), frozenset({"N"}))


def fitted_lot() -> str:
    """The lot of the elbows of the pad."""
    entry = (
        BagEntry.objects.filter(deed="installed", lot__item__stock_code="EL15-2").select_related("lot").earliest("pk")
    )
    return entry.lot.number


def test_a_failure_stands_at_its_end_its_lot_its_bag_and_among_all_failures_whose_places_may_be_unknown() -> None:
    people(CREW, AUDITOR, STANDARDS)
    crew, auditor, lot = browser_of(CREW), browser_of(AUDITOR), fitted_lot()
    assert "?structure=A1&amp;position=a#report" in crew.get("/ends", END).content.decode()
    here = {**END, "phase": "a", "stock_code": "EL15-2", "lot": lot, "what": "tracked to the cap", "action": "F-1"}
    done = words(send(crew, ALL, **here))
    send(crew, ALL, **here)
    send(auditor, ALL, what="found in the scrap box, scorched", stock_code="EL15-2", lot=lot, action="F-2")
    send(browser_of(STANDARDS), ALL, what="breaker tripped", **END, phase="B", failed="2026-02-27 21:59", action="F-3")
    send(auditor, ALL, what="a cap, nobody knows whose", action="F-4")

    assert "NOTED" in done
    assert Failure.objects.count() == 4
    event = Event.objects.filter(name="failure reported").earliest("number")
    assert (event.subject, event.by, event.addressed_to, event.data["lot"]) == ("A1-a", CREW.name, "auditor", lot)
    assert check_chain().fault == ""
    listed = auditor.get(ALL)
    assert words(listed).count("PLACE UNKNOWN") == 3  # in the sentence above, and two reports
    assert "#stop" not in listed.content.decode()  # the auditor looks, stores stop
    assert "Failures reported here" in words(auditor.get("/ends", END))
    page = words(auditor.get(f"/lots/EL15-2/{lot}"))
    assert "2 FAILURES" in page  # the third came before anything was fitted there
    assert "place unknown · found in the scrap box" in page
    assert "tracked to the cap" in words(auditor.get(f"/bags/{Stores().code('J01', 'A1')}"))
    (counted,) = by_lot(Failure.objects.select_related("item"))
    assert (counted.item.stock_code, counted.lot, counted.count, counted.installed) == ("EL15-2", lot, 2, 3_000)


def test_a_failure_of_an_unknown_lot_could_be_of_each_that_was_fitted_there_and_a_recall_is_one_step_away() -> None:
    people(CREW, STORES, AUDITOR)
    lot, crew = fitted_lot(), browser_of(CREW)
    send(crew, ALL, what="flashed over", **END, action="F-1")
    item = Item.objects.get(stock_code="EL15-2")
    (line,) = [one for one in lot_trace_of(item=item, lot=lot).lines if one.part == FAILED]
    assert line.who == "lot unknown: could be of this one"
    other = item.lots.exclude(number__in=("", lot)).values_list("number", flat=True)[0]
    assert [one for one in lot_trace_of(item=item, lot=other).lines if one.part == FAILED] == []

    send(crew, ALL, what="tracked", **END, stock_code="EL15-2", lot=lot, action="F-2")
    window, step = browser_of(STORES), f'href="/lots/EL15-2/{lot}#stop"'
    assert step in window.get(ALL).content.decode()
    send(window, f"/lots/EL15-2/{lot}", do="recall", reason="two failures", action="H-1")
    assert step not in window.get(ALL).content.decode()
    assert "HELD" in words(window.get(ALL))


def test_what_is_seen_against_the_books_is_asked_and_kept_and_what_makes_no_sense_is_refused() -> None:
    people(CREW, STORES, BUYER)
    crew, lot = browser_of(CREW), fitted_lot()
    here = {"what": "tracked", "action": "F-1"}
    refused = {
        "needs a reason": {"what": " "},
        "still to come": {"failed": "2027-01-01 08:00"},
        "no moment": {"failed": "last night"},
        "of which stock code": {"lot": lot},
        "has no lot": {"stock_code": "EL15-2", "lot": f"{lot}X"},
        "did you mean": {"stock_code": "EL15-22"},
        "belong to a structure": {"position": "a"},
        "letters of ABC": {**END, "phase": "L1"},
        "100 at most": {"structure": "A" * 101},
    }
    for told, fields in refused.items():
        assert told in words(send(crew, ALL, **{**here, **fields})), told
    assert 'value="tracked"' in send(crew, ALL, **{**here, "position": "a"}).content.decode()
    assert "no structure Z9" in words(send(crew, ALL, **here, structure="Z9"))
    other = Item.objects.get(stock_code="EL15-1").lots.exclude(number="").values_list("number", flat=True)[0]
    strange = {**here, **END, "stock_code": "EL15-1", "lot": other}
    assert f"no EL15-1 lot {other} was ever on A1-a" in words(send(crew, ALL, **strange))
    assert not Failure.objects.exists()
    assert "NOTED" in words(send(crew, ALL, **strange, confirmed="not-on-that-end/1"))

    assert browser_of(STORES).post(ALL, here).status_code == 403
    assert browser_of(BUYER).get(ALL).status_code == 403
    assert Failure.objects.count() == 1


def test_a_withdrawn_report_stays_and_counts_no_more_and_photographs_go_with_a_report() -> None:
    people(CREW, OTHER_CREW, AUDITOR)
    crew, lot = browser_of(CREW), fitted_lot()
    send(crew, ALL, what="tracked", **END, stock_code="EL15-2", lot=lot, action="F-1")
    one = Failure.objects.get()
    page, file = f"{ALL}/{one.pk}", BytesIO()
    Image.new("RGB", (120, 80), (40, 40, 40)).save(file, "JPEG")
    sent = SimpleUploadedFile("cap.jpg", file.getvalue())

    assert "KEPT" in words(send(crew, f"{page}/pictures", picture=sent, note="the cap", action="P-1"))
    picture = Picture.objects.get()
    assert (picture.failure, picture.subject) == (one, str(one))
    assert f'src="{page}/pictures/{picture.pk}?size=small"' in crew.get(page).content.decode()
    assert crew.get(f"{page}/pictures/{picture.pk}").status_code == 200
    other = browser_of(OTHER_CREW)
    assert [other.get(address).status_code for address in (page, f"{page}/pictures/{picture.pk}")] == [404, 404]
    assert "No failure is reported" in words(other.get(ALL))

    assert "needs a reason" in words(send(crew, page, why=" ", action="W-1"))
    assert "WITHDRAWN" in words(send(crew, page, why="another pad", action="W-2"))
    assert "WITHDRAWN" in words(send(crew, page, why="another pad", action="W-2"))
    assert "was withdrawn before: another pad" in words(send(crew, page, why="again", action="W-3"))
    assert Event.objects.get(name="failure withdrawn").data["why"] == "another pad"
    assert "No failure of a known part" in words(browser_of(AUDITOR).get(ALL))
    assert "FAILURE" not in words(browser_of(AUDITOR).get(f"/lots/EL15-2/{lot}"))


def test_the_count_by_lot_and_the_reports_are_exported_with_their_moment_and_the_export_is_noted() -> None:
    people(CREW, AUDITOR)
    lot, auditor = fitted_lot(), browser_of(AUDITOR)
    send(browser_of(CREW), ALL, what="tracked", **END, stock_code="EL15-2", lot=lot, action="F-1")
    send(auditor, ALL, what="a cap", action="F-2")

    def rows(name: str) -> list[dict[str, str]]:
        answer = auditor.post(f"{ALL}/file/{name}", {"action": "E-1"})  # one form gives all files
        return [*csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig")))]

    (counted,) = rows("failures-by-lot.csv")
    assert [counted[name] for name in ("stock code", "lot", "failures", "installed, ever")] == ["EL15-2", lot, "1", "3"]
    assert counted["as of"].startswith("2026-03-0")
    told = {row["what failed"]: row["structure"] for row in rows("failures.csv")}
    assert told == {"tracked": "A1", "a cap": "place unknown"}
    book = auditor.post(f"{ALL}/file/failures.xlsx", {"action": "E-1"}).content
    assert len([name for name in ZipFile(BytesIO(book)).namelist() if name.startswith("xl/worksheets/sheet")]) == 2
    assert auditor.post(f"{ALL}/file/failures.doc").status_code == 404
    assert Printing.objects.filter(document__startswith="failures").count() == 3
    assert Event.objects.filter(name="printed", subject="failures as csv 2 reports", by=AUDITOR.name).exists()


def test_the_page_of_failures_asks_as_often_for_many_as_for_few() -> None:
    people(CREW, AUDITOR)
    lot, auditor, crew = fitted_lot(), browser_of(AUDITOR), browser_of(CREW)
    counts = []
    for number in range(4):
        send(crew, ALL, what="tracked", **END, stock_code="EL15-2", lot=lot, action=f"F-{number}")
        pages = (ALL, f"/lots/EL15-2/{lot}", "/ends?structure=A1&position=a")
        for address in pages:
            auditor.get(address)
        with CaptureQueriesContext(connection) as taken:
            for address in pages:
                auditor.get(address)
        counts.append(len(taken))
    assert len(set(counts[1:])) == 1


def test_a_failure_is_of_the_depot_that_fitted_its_place_or_of_who_reports_it_and_stores_elsewhere_do_not_see_it() -> (
    None
):
    people(STORES, AUDITOR, OTHER_CREW, STANDARDS, depots={STORES.name: ["H"], OTHER_CREW.name: ["M"]})
    crew, job = browser_of(OTHER_CREW), Job.objects.get(job="J05")
    Position.objects.filter(structure__structure="P4").update(job=job)
    send(crew, ALL, what="flashed over", **END, action="F-1")
    send(crew, ALL, what="a cap of the truck", action="F-2")
    send(crew, ALL, what="well cracked", structure="P4", action="F-3")
    send(browser_of(STANDARDS), ALL, what="seen nowhere", action="F-4")
    depots = dict(Failure.objects.values_list("what", "depot"))
    assert depots == {"flashed over": "N", "a cap of the truck": "M", "well cracked": "H", "seen nowhere": ""}

    window = browser_of(STORES)
    seen = words(window.get(ALL))
    assert "seen nowhere" in seen
    assert "flashed over" not in seen
    at_pad = Failure.objects.get(what="flashed over")
    assert window.get(f"{ALL}/{at_pad.pk}").status_code == 404
    assert "flashed over" not in window.post(f"{ALL}/file/failures.csv").content.decode("utf-8-sig")
    assert "flashed over" in words(browser_of(AUDITOR).get(ALL))
    near = Actor("N. Ear", CREW.roles, frozenset({"H"}))
    wrong = {"number": at_pad.pk, "why": "another one", "actor": near, "at": at_pad.failed_at, "action": "W-1"}
    assert "acts for H only, not for N" in refusal("other-depot", withdraw_failure, **wrong)
    assert "WITHDRAWN" in words(send(crew, f"{ALL}/{at_pad.pk}", why="it was another end"))
    assert {one.depot for one in Event.objects.filter(subject="A1-a", name__startswith="failure")} == {"N"}
