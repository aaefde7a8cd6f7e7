"""The shortage report and the reorder sheet."""

import csv
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl

from kitting.documents.reorder_sheet import HEADERS, in_words, plural

Pages = dict[str, list[Any]]


def test_the_earliest_staged_by_comes_first_and_too_late_is_said_in_words(prints: Pages) -> None:
    text = prints["shortage-report.pdf"][0].one_line
    assert text.index("2026-03-10 J03 JS-3") < text.index("2026-04-16 J11 EA15-15.3")
    assert "TOO LATE" in text
    assert "promised to J02" in text


def test_the_second_part_names_the_missing_fact_and_totals_add_up_by_item(
    prints: Pages, written: dict[str, Path]
) -> None:
    text = prints["shortage-report.pdf"][0].one_line
    assert "NO RULE" in text
    assert "did you mean 1/0 AWG?" in text
    book = openpyxl.load_workbook(written["shortage-report.xlsx"])
    assert [sheet.title for sheet in book] == ["short", "cures", "can't tell", "totals"]
    totals = {row[0]: row[2] for row in book["totals"].iter_rows(min_row=2, values_only=True)}
    assert totals == {"CS25-2": 7, "EA15-15.3": 3, "JS-3": 1}
    missing = [row[4] for row in book["can't tell"].iter_rows(min_row=2, values_only=True)]
    assert len(missing) == 2


def test_each_short_kit_shows_why_it_was_refused_and_its_verified_cures(
    prints: Pages, written: dict[str, Path]
) -> None:
    text = " ".join(page.one_line for page in prints["shortage-report.pdf"])
    assert "JS-3 holds 8 in time; earlier kits J01, J02 hold 6; this kit needs 3" in text
    assert "1. release 1 JS-3 from reserve at H by 2026-03-10" in text
    assert "(then short: J02 1 JS-3)" in text
    assert "2026-02-17 TOO LATE with the whole kit, see below" in text
    assert "transfer 1 from H" not in text
    assert "not looked for" in text
    rows = list(openpyxl.load_workbook(written["shortage-report.xlsx"])["cures"].iter_rows(values_only=True))
    assert [row[1] for row in rows[1:]] == ["J03", "J11"]


def test_the_reorder_sheet_has_the_buyers_columns_in_order_with_codes_as_text(written: dict[str, Path]) -> None:
    sheet = openpyxl.load_workbook(written["reorder-sheet.xlsx"])["reorder"]
    header, splice, arrester = sheet.iter_rows()
    assert tuple(cell.value for cell in header) == HEADERS
    row = dict(zip(HEADERS, splice, strict=True))
    assert (row["their number"].value, row["their number"].data_type) == ("00123", "s")
    assert (row["need"].value, row["order quantity"].value, row["factor"].value) == (7, 3, "1 kit = 3 ea")
    assert (row["resulting quantity"].value, row["over by"].value, row["need"].data_type) == (9, 2, "n")
    assert row["notes"].value == "need 7 ea, order 3 kits of 3 ea (9 ea), 2 over"
    formula = dict(zip(HEADERS, arrester, strict=True))["their number"]
    assert (formula.value, formula.data_type) == ("=7-15.3", "s")


def test_the_csv_that_a_person_opens_runs_no_formula_and_says_the_same(written: dict[str, Path]) -> None:
    with written["reorder-sheet.csv"].open(encoding="utf-8-sig", newline="") as lines:
        splice, arrester = csv.DictReader(lines)
    assert splice["their number"] == "00123"
    assert arrester["their number"] == "'=7-15.3"
    assert (arrester["last price"], arrester["price date"]) == ("141.5", "2026-01-15")


def test_need_order_and_what_is_over_stand_side_by_side_in_print(prints: Pages) -> None:
    text = prints["reorder-sheet.pdf"][0].one_line
    assert "7 ea 3 ea 7 ea 3 kits of 3 ea 9 ea 2 M by 2026-04-16 2026-04-02 J11" in text
    assert "2 rows to order" in text


def test_an_order_is_told_in_purchase_units_with_what_they_hold() -> None:
    row = {
        "need": Decimal(7), "net": Decimal(9), "per_purchase_unit": Decimal(1), "over_by": Decimal(0),
        "order_quantity": Decimal(9), "purchase_unit": "", "resulting_quantity": Decimal(9),
    }  # fmt: skip
    assert in_words(row, "ea") == "need 7 ea and 2 ea refill, order 9 ea"
    assert plural(Decimal(1), "box") == "1 box"
    assert plural(Decimal(2), "box") == "2 boxes"
    assert plural(Decimal(2), "ft") == "2 ft"
