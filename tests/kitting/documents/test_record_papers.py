"""Papers made from the records: their order, their states in words, their codes, sizes and files."""

import csv
import io
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import openpyxl
import pytest
from PIL import ImageChops

from kitting.calculation.short_codes import verified
from kitting.documents.as_installed import AsInstalled, InstalledEnd, as_installed_csv, as_installed_record
from kitting.documents.borrow_note import BorrowedPieces, BorrowNote, borrow_note
from kitting.documents.box_label import box_label
from kitting.documents.cautions import SENTENCES
from kitting.documents.count_sheet import CountLine, CountSheet, count_sheet, count_sheet_csv
from kitting.documents.friday_page import FridayJob, friday_page
from kitting.documents.hold_tag import HoldTag, hold_tag
from kitting.documents.lot_trace import (
    COULD_BE,
    HIT,
    HOLDS,
    INSTALLED,
    RECEIVED,
    WHERE,
    LotTrace,
    TraceLine,
    lot_trace_csv,
    lot_trace_report,
    lot_trace_workbook,
)
from kitting.documents.record_papers import Printed
from kitting.documents.sent_sheet import Sent, SentRow, sent_sheet_pdf
from kitting.documents.slip_rolls import issue_slip_roll, return_slip_roll
from kitting.documents.slips import (
    Allowed,
    IssueSlip,
    ReturnLine,
    ReturnSlip,
    SlipBag,
    SlipLine,
    issue_slip,
    return_slip,
    return_slip_csv,
)
from kitting.documents.storm_use import StormLine, storm_use, storm_use_csv, storm_use_report, storm_use_workbook
from kitting.documents.transfer_slip import TransferLine, TransferSlip, transfer_slip

NOON = datetime(2026, 3, 12, 12, 5, tzinfo=ZoneInfo("America/Chicago"))
PRINTED = Printed("2026-03-12", NOON, "A. Reyes", revision="B")
CUTOVER = "Thu 2026-03-12 08:00 CDT"
LONG = "JACKET-SEAL-WITH-A-VERY-LONG-STOCK-CODE-0123456789-0123456789"
BAGS = (SlipBag("J03-V1-6-XX", "V1", "SHORT: 1 JS-3"), SlipBag("J03-V2-7-XX", "V2", "FULL"))
LINES = (
    SlipLine("J03-V1-6-XX", "JS-3", "jacket seal", "L-77", Decimal(5), "ea"),
    SlipLine("J03-V2-7-XX", LONG, "splice, cold shrink", "", Decimal("12.5"), "ft"),
)
ISSUE = IssueSlip(
    "J03", "Birch Street Feeder (600 A)", CUTOVER, "North Yard", "T. Ahola", "14", "2026-03-12 06:40 CDT",
    BAGS, LINES, (SlipLine("J03-V1-6-XX", "LUG-750C", "lug", "L-9", Decimal(1), "ea"),),
    (Allowed("SHORT 1 JS-3", "the crew brings one from truck 22", "D. Okafor"),),
)  # fmt: skip
RETURN = ReturnSlip(
    "J01", "Alder Loop", CUTOVER, "North Yard", "T. Ahola", BAGS[1:],
    (
        ReturnLine("J01-A2-2-XX", "EL15-2", "L-1", "ea", Decimal(6), Decimal(3), Decimal(0), Decimal(0), Decimal(0)),
        ReturnLine("J01-A2-2-XX", "=CC-10A", "", "ea", Decimal(6), Decimal(3), Decimal(2), Decimal(0), Decimal(1),
                   "sealed", "N-01-3"),
    ),
)  # fmt: skip
COUNT = CountSheet(
    "K-17", "North Yard", "2026-03-13", "L. Fenn",
    (
        CountLine("N-01-1", "BI15", "bushing insert", "L-2", "ea", "", Decimal(4321)),
        CountLine("N-01-2", "CS15-6", "splice", "L-3", "ea", "1 kit = 3 ea", Decimal(12)),
        CountLine("truck 14", "", "", "", ""),
    ),
)  # fmt: skip
TRANSFER = TransferSlip(
    "T-9", "Harbor", "North Yard", "2026-03-03 07:00 CST", ("J01, staged-by 2026-03-03",), "L. Fenn", "A. Reyes",
    (
        TransferLine("EL15-2", "elbow", "L-1", Decimal(4), "ea", Decimal(2)),
        TransferLine("BI15", "bushing insert", "", Decimal(3), "ea", Decimal(4)),
        TransferLine("PC15", "protective cap", "L-8", Decimal(3), "ea"),
    ),
)  # fmt: skip
HOLD = HoldTag(
    "4", "BI25", "bushing insert, 25 kV", "L-2409-17", "2026-03-24 09:10 CDT", "M. Auer", "recall", "bin N-02-1"
)
BORROW = BorrowNote(
    "7", "J10-V9-1-XX", "J10", "E01", "Sat 2026-04-11 23:00 CDT", "Harbor",
    (BorrowedPieces("CS15-2", "L-2508A", Decimal(3), "ea"),), "dig-in, line is out",
    ("3 of L-2303B in H-04-2: marked gone",), "2026-04-09", "T. Ahola", "D. Okafor",
)  # fmt: skip
TRACE = LotTrace(
    "BI25", "bushing insert", "L-2409-17", "no shelf life", "ea", "recall by the maker", Decimal(40),
    (
        TraceLine(RECEIVED, "supplier · paper R-0301", Decimal(40), "", "2025-01-10"),
        TraceLine(WHERE, "N/N-02-1 (bin)", Decimal(5)),
        TraceLine(WHERE, "N/J09-1 (bag)", Decimal(17), "J09"),
        TraceLine(WHERE, "installed", Decimal(17)),
        TraceLine(WHERE, "scrapped", Decimal(1)),
        TraceLine(INSTALLED, "E3-a phase A", Decimal(1), "J04", "2026-03-15", "crew 2"),
        TraceLine(HIT, "bag J09-1: on hold", None, "J09", "cutover 2026-04-03"),
        TraceLine(COULD_BE, "M/M-1 (bin)", Decimal(2), "", "", "lot unknown"),
        TraceLine(HOLDS, "hold 4", None, "", "2026-03-24", "M. Auer: recall"),
    ),
)  # fmt: skip
END = InstalledEnd(
    "V1", "V1-a", "A", "connector assembly", "CA-4", "cable adapter", "L-5", "CT-06", "R-1201",
    "37.50 mm (1.476 in)", "1.02 mm (0.040 in)", "E07 default 1", "stand-in for CA-3, approved by P. Lindqvist",
    "T. Ahola", "2026-03-12 02:10 CDT", "", ("P-1.jpg",),
)  # fmt: skip
AS_INSTALLED = AsInstalled(
    "J03", "Birch Street Feeder", CUTOVER, "North Yard", (END, replace(END, phase="B", override=""))
)
SENT = Sent(
    12, datetime(2026, 3, 2).date(),
    (
        SentRow(
            {"supplier": "Invented Supply A", "stock_code": LONG, "supplier_code": "00123", "description": "splice",
             "need": "7", "on_order": "3", "net": "7", "order_quantity": "3", "purchase_unit": "kit",
             "per_purchase_unit": "3", "resulting_quantity": "9", "over_by": "2", "unit": "ea", "depot": "M",
             "needed_by": "2026-04-16", "order_by": "2026-04-02", "too_late": "yes", "jobs": "J11",
             "price": "141.50", "price_date": "2026-01-15"},
            "RS-12 line 1",
        ),
    ),
)  # fmt: skip
STORM = storm_use("E01", "dig-in at Harbor Road", [
    StormLine(datetime(2026, 3, 14).date(), "H/H-04-2", "CS15-2", "splice", "L-2303B", Decimal(3), "ea",
              Decimal("81.25"), "stock", "A-91", "opening balance", "T. Ahola"),
    StormLine(datetime(2026, 3, 14).date(), "H/H-01-1", "=PC15", "cap", "", Decimal(1), "ea", None, "stock", "A-92",
              "", ""),
])  # fmt: skip
WEEK = tuple(
    FridayJob(
        f"J{n:02}",
        "A job with a name that takes more than one line",
        CUTOVER,
        answer,
        "JS-3 short: 1 of 6",
        n,
        12,
        "R. Tolley",
    )
    for n, answer in enumerate(("ready", "ready if", "short", "can't tell", "no rule", "conflict") * 2, 1)
)[:11]
Maker = Callable[[Printed], bytes]
PAPERS: dict[str, Maker] = {
    "issue slip": lambda printed: issue_slip(ISSUE, printed),
    "return slip": lambda printed: return_slip(RETURN, printed),
    "issue slip on a roll": lambda printed: issue_slip_roll(ISSUE, printed),
    "return slip on a roll": lambda printed: return_slip_roll(RETURN, printed),
    "box label": lambda printed: box_label(TRANSFER, printed),
    "sent sheet": lambda printed: sent_sheet_pdf(SENT, printed, prices=True),
    "count sheet": lambda printed: count_sheet(COUNT, printed),
    "transfer slip": lambda printed: transfer_slip(TRANSFER, printed),
    "hold tag": lambda printed: hold_tag(HOLD, printed),
    "borrow note": lambda printed: borrow_note(BORROW, printed),
    "lot trace": lambda printed: lot_trace_report(TRACE, printed),
    "as-installed": lambda printed: as_installed_record(AS_INSTALLED, printed),
    "storm use": lambda printed: storm_use_report(STORM, printed),
    "friday page": lambda printed: friday_page(WEEK[:10], "2026-03-06", printed),
}
LANDSCAPE = ("as-installed", "storm use", "sent sheet")
TAGS = ("hold tag", "box label")
SIZES = {"Letter": (215.9, 279.4), "A4": (210.0, 297.0)}
HALVES = {"Letter": (139.7, 215.9), "A4": (148.0, 210.0)}
Look = Callable[[bytes], list[Any]]


@pytest.fixture
def look(pages_of: Callable[[Path], list[Any]], tmp_path: Path) -> Look:
    """The pages of a PDF as printed."""

    def printed(content: bytes) -> list[Any]:
        path = tmp_path / "paper.pdf"
        path.write_bytes(content)
        return pages_of(path)

    return printed


def left_and_right_mm(page: Any) -> float:
    """White at the sides of a page, the narrower of both."""
    left, _, right, _ = page.picture.convert("L").point(lambda grey: 255 if grey < 128 else 0).getbbox()
    per_mm = page.picture.width / page.size_mm[0]
    return float(min(left, page.picture.width - right) / per_mm)


@pytest.mark.parametrize("name", PAPERS)
def test_every_paper_of_the_records_is_true_to_size_and_says_what_all_papers_say(look: Look, name: str) -> None:
    for paper, size in SIZES.items():
        content = PAPERS[name](replace(PRINTED, paper=paper))
        assert content == PAPERS[name](replace(PRINTED, paper=paper))
        expected = size[::-1] if name in LANDSCAPE else HALVES[paper] if name == "borrow note" else size
        pages = look(content)
        for number, page in enumerate(pages, 1):
            if "roll" in name:
                assert page.size_mm[0] == 80.0
                assert left_and_right_mm(page) >= 4.0, "such printers reach 72 mm of 80"
            else:
                assert page.size_mm == ((101.6, 152.4) if name in TAGS else expected)
            (code,) = page.codes()
            shown = code.text.split(" ")[0]
            assert shown in page.one_line
            assert verified(shown)
            for text in ("stock as of 2026-03-12", "printed at 2026-03-12 12:05 CDT by A. Reyes", "REV B"):
                assert text in page.one_line
            assert re.search(f"(page|TAG|LABEL) {number} (of|OF) {len(pages)}", page.one_line)
            assert all(sentence in page.one_line for sentence in SENTENCES)
            assert "REPRINT" not in page.text
            assert "DEMO" not in page.text
            smallest = min(letter.size_pt for letter in page.letters if letter.text.strip())
            assert smallest >= 8.99
            red, green, blue = page.picture.convert("RGB").split()
            assert not ImageChops.difference(red, green).getbbox()
            assert not ImageChops.difference(green, blue).getbbox()


@pytest.mark.parametrize("name", PAPERS)
def test_a_second_print_says_reprint_a_demo_says_demo_and_a_stopped_clock_is_said(look: Look, name: str) -> None:
    for page in look(PAPERS[name](replace(PRINTED, reprint=1, demo=True, at=None))):
        assert "REPRINT 1" in page.one_line
        assert page.text.count("DEMO") >= 2
        assert "printed at time unknown" in page.one_line
        assert page.codes()


def test_an_empty_paper_is_one_page_that_says_so(look: Look) -> None:
    empty = {
        "Nothing to issue.": issue_slip(replace(ISSUE, lines=(), spares=(), bags=(), allowed=()), PRINTED),
        "Nothing was issued, nothing to return.": return_slip(replace(RETURN, lines=()), PRINTED),
        "Nothing to count.": count_sheet(replace(COUNT, lines=()), PRINTED),
        "Nothing is loaded.": transfer_slip(replace(TRANSFER, lines=()), PRINTED),
        "Nothing was taken.": borrow_note(replace(BORROW, pieces=()), PRINTED),
        "No piece is anywhere.": lot_trace_report(replace(TRACE, lines=(), received=Decimal()), PRINTED),
        "Nothing is recorded as installed.": as_installed_record(replace(AS_INSTALLED, ends=()), PRINTED),
        "Nothing was used.": storm_use_report(storm_use("E01", "dig-in", ()), PRINTED),
        "No job is ahead.": friday_page((), "2026-03-06", PRINTED),
    }
    for words, content in empty.items():
        (page,) = look(content)
        assert words in page.one_line


def test_an_issue_slip_shows_bags_with_state_lots_spares_and_who_let_a_short_bag_go(look: Look) -> None:
    (page,) = look(PAPERS["issue slip"](PRINTED))
    order = ["J03 · Birch", "Cutover Thu", "Crew T. Ahola", "J03-V1-6-XX V1 SHORT: 1 JS-3", "L-77 5 ea",
             "unknown 12.5 ft", "Spares", "LUG-750C", "SHORT OR OVERRIDDEN", "approved by D. Okafor",
             "signature"]  # fmt: skip
    places = [page.one_line.index(text) for text in order]
    assert places == sorted(places)
    assert all(part in page.text for part in LONG.split("-"))


def test_a_long_slip_repeats_its_head_on_every_page(look: Look) -> None:
    pages = look(issue_slip(replace(ISSUE, lines=LINES * 60), PRINTED))
    assert len(pages) > 2
    assert all("Stock code" in page.one_line for page in pages[:-1])
    assert sum(page.text.count("L-77") for page in pages) == 60


def test_a_return_slip_says_what_is_still_open_and_its_csv_runs_no_formula(look: Look) -> None:
    (page,) = look(PAPERS["return slip"](PRINTED))
    assert "1 of 2 lines STILL OPEN" in page.one_line
    balanced = replace(RETURN, lines=RETURN.lines[1:])
    assert "Balanced: nothing is open" in look(return_slip(balanced, PRINTED))[0].one_line
    rows = list(csv.DictReader(io.StringIO(return_slip_csv(RETURN).decode("utf-8-sig"))))
    assert [(row["stock code"], row["still open"]) for row in rows] == [("EL15-2", "3"), ("'=CC-10A", "0")]


@pytest.mark.parametrize(("sheet", "roll"), [("issue slip", "issue slip on a roll"),
                                             ("return slip", "return slip on a roll")])  # fmt: skip
def test_a_roll_shows_every_fact_of_the_sheet_and_is_as_long_as_it_needs(look: Look, sheet: str, roll: str) -> None:
    flat, (strip,) = look(PAPERS[sheet](PRINTED))[0], look(PAPERS[roll](PRINTED))
    headings = {"quantity", "location", "state", "stock", "code", "condition", "where", "part"}
    missed = {word.strip(",;:") for word in flat.one_line.lower().split() if word not in strip.one_line.lower()}
    assert {word for word in missed if "_" not in word} <= headings
    longer = look(issue_slip_roll(replace(ISSUE, lines=LINES * 60), PRINTED))
    assert len(longer) == 1
    assert longer[0].size_mm[1] > 1000
    assert longer[0].text.count("L-77") == 60


def test_a_box_label_says_where_to_for_whom_and_what_is_inside_and_goes_on_to_more_labels(look: Look) -> None:
    (page,) = look(PAPERS["box label"](PRINTED))
    order = ["TO NORTH YARD", "FROM Harbor", "TRANSFER T-9", "BOX ____ OF ____", "ARRIVE BY: J01, staged-by 2026-03-03",
             "4 ea EL15-2", "3 ea BI15 · lot unknown"]  # fmt: skip
    places = [page.one_line.index(text) for text in order]
    assert places == sorted(places)
    assert max(letter.height_mm for letter in page.letters) >= 7.0
    pages = look(box_label(replace(TRANSFER, lines=TRANSFER.lines * 12, to_depot=LONG), PRINTED))
    assert len(pages) > 1
    assert all("TRANSFER T-9" in one.one_line for one in pages)
    assert " ".join(one.text for one in pages).count("L-8") == 12


def test_a_sent_sheet_on_paper_shows_money_only_where_it_may_be_seen(look: Look) -> None:
    (page,) = look(PAPERS["sent sheet"](PRINTED))
    (bare,) = look(sent_sheet_pdf(SENT, PRINTED, prices=False))
    for text in ("3 kits of 3 ea", "9 ea", "2026-04-02 TOO LATE", "M by 2026-04-16", "as of 2026-03-02"):
        assert text in page.one_line
        assert text in bare.one_line
    assert "141.50" in page.one_line
    assert "141.50" not in bare.one_line
    assert "RS-12 line 1" in bare.one_line


def test_a_blind_count_sheet_shows_no_book_figure_on_paper_or_in_its_file(look: Look) -> None:
    (page,) = look(PAPERS["count sheet"](PRINTED))
    assert "4321" not in page.text
    assert "1 kit = 3 ea" in page.one_line
    assert "should be empty" in page.one_line
    assert "4321" not in count_sheet_csv(COUNT).decode()
    open_count = replace(COUNT, blind=False)
    assert "4321" in look(count_sheet(open_count, PRINTED))[0].text
    assert "4321" in count_sheet_csv(open_count).decode()


def test_a_transfer_slip_says_what_is_missing_and_what_is_too_many(look: Look) -> None:
    (page,) = look(PAPERS["transfer slip"](PRINTED))
    for text in ("2 ea MISSING", "1 ea TOO MANY", "J01, staged-by 2026-03-03", "Packed by L. Fenn"):
        assert text in page.one_line


def test_a_hold_tag_says_hold_in_letters_of_20_mm(look: Look) -> None:
    (page,) = look(PAPERS["hold tag"](PRINTED))
    big = [letter for letter in page.letters if letter.height_mm > 15]
    assert "".join(letter.text for letter in big) == "HOLD"
    assert min(letter.height_mm for letter in big) >= 19.95
    assert "LOT L-2409-17" in page.one_line
    assert "HOLD NO. 4" in page.one_line
    pages = look(hold_tag(replace(HOLD, reason="the maker recalls this lot " * 30, lot=LONG), PRINTED))
    assert len(pages) > 1
    assert all("HOLD NO. 4" in one.one_line for one in pages)
    whole = " ".join(one.text for one in pages)
    assert all(part in whole for part in LONG.split("-"))
    assert whole.count("0123456789") == LONG.count("0123456789")


def test_a_borrow_note_names_what_was_looked_at_first_and_the_day_of_pay_back(look: Look) -> None:
    (page,) = look(PAPERS["borrow note"](PRINTED))
    order = [
        "J10 lends to E01",
        "CS15-2",
        "Why: dig-in",
        "3 of L-2303B in H-04-2",
        "PAY BACK BY 2026-04-09",
        "D. Okafor",
    ]
    places = [page.one_line.index(text) for text in order]
    assert places == sorted(places)


def test_a_long_trace_tells_beforehand_about_how_many_pages_it_has(look: Look) -> None:
    for more in (0, 20, 400):
        long = replace(TRACE, lines=(*TRACE.lines, *(replace(TRACE.lines[0], what=f"bin A-{n}") for n in range(more))))
        assert abs(long.pages - len(look(lot_trace_report(long, PRINTED)))) <= 1 + more // 300


def test_a_trace_adds_up_to_what_was_received_or_says_by_how_much_it_does_not(look: Look) -> None:
    pages = look(PAPERS["lot trace"](PRINTED))
    assert "TOTAL 40 of 40 ea received: adds up" in pages[0].one_line
    broken = look(lot_trace_report(replace(TRACE, received=Decimal(41)), PRINTED))
    assert "DOES NOT ADD UP, 1 ea not accounted for" in broken[0].one_line
    book = openpyxl.load_workbook(io.BytesIO(lot_trace_workbook(TRACE, PRINTED)))
    quantities = [row[7].value for row in book["where each piece is"].iter_rows(min_row=2)]
    assert sum(value for value in quantities if value) == 40
    rows = list(csv.DictReader(io.StringIO(lot_trace_csv(TRACE, PRINTED).decode("utf-8-sig"))))
    assert sum(int(row["quantity"] or 0) for row in rows if row["part of the report"] == WHERE) == 40


def test_an_as_installed_record_has_one_line_an_end_and_boxes_its_overrides(look: Look) -> None:
    text = " ".join(page.one_line for page in look(PAPERS["as-installed"](PRINTED)))
    for part in ("V1-a", "phase A", "lot L-5", "reel R-1201", "37.50 mm", "E07 default 1", "STAND-INS AND OVERRIDES",
                 "not yet (books)"):  # fmt: skip
        assert part in text
    rows = list(csv.DictReader(io.StringIO(as_installed_csv(AS_INSTALLED).decode("utf-8-sig"))))
    assert [(row["phase"], row["stand-in or override"]) for row in rows] == [("A", END.override), ("B", "")]


def test_a_storm_use_report_sums_what_has_a_price_and_says_what_has_none(look: Look) -> None:
    text = " ".join(page.one_line for page in look(PAPERS["storm use"](PRINTED)))
    assert "2 lines, value 243.75 WITHOUT 1 line that no price is known of" in text
    book = openpyxl.load_workbook(io.BytesIO(storm_use_workbook(STORM)))
    cells = {
        (row[3].value, row[3].data_type, row[9].value, row[14].value or "")
        for row in book["storm use"].iter_rows(min_row=2)
    }
    assert cells == {("CS15-2", "s", 243.75, ""), ("=PC15", "s", None, "NO PRICE")}
    assert [cell.value for cell in book["total"][2]] == ["E01", "dig-in at Harbor Road", 2, 243.75, 1]
    assert "'=PC15" in storm_use_csv(STORM).decode("utf-8-sig")


def test_ten_jobs_stand_on_one_friday_page_and_the_eleventh_on_a_second_in_the_same_letters(look: Look) -> None:
    (page,) = look(PAPERS["friday page"](PRINTED))
    for job in WEEK[:10]:
        assert job.job in page.text
        assert job.answer.upper() in page.one_line
    pages = look(friday_page(WEEK, "2026-03-06", PRINTED))
    assert len(pages) == 2
    assert "J11" in pages[1].text
    sizes = [min(letter.size_pt for letter in one.letters if letter.text.strip()) for one in pages]
    assert sizes[0] == sizes[1]
    assert "The next 11 jobs of 43" in look(friday_page(WEEK, "2026-03-06", PRINTED, ahead=43))[0].one_line


def test_a_job_that_the_plan_does_not_know_stands_on_the_friday_page_without_an_answer(look: Look) -> None:
    (page,) = look(friday_page((replace(WEEK[0], answer="not planned yet", limit=""),), "2026-03-06", PRINTED))
    assert "NOT PLANNED YET" in page.one_line
    assert "R. Tolley" in page.one_line
    assert "READY" not in page.one_line
