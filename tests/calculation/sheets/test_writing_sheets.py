"""Round trips: sheets written in our own form read the same."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_cells import SmallBook

from kitting.calculation.sheets.all_sheets import SHEETS, template_headers
from kitting.calculation.sheets.book import Book, read_book
from kitting.calculation.sheets.raw import RawSheet, raw_book
from kitting.calculation.sheets.writing import canonical_sheets, sheets_of
from kitting.errors import Refusal

CODES = st.text(st.characters(codec="utf-8", categories=["L", "N", "P", "S", "Zs"]), min_size=1, max_size=20)


def same_facts(first: Book, second: Book) -> bool:
    frames = (book.frames for book in (first, second))
    return first.policies == second.policies and all(
        one.drop(columns="row").equals(other.drop(columns="row"))
        for one, other in zip(*(by_name.values() for by_name in frames), strict=True)
    )


def test_facts_written_as_sheets_read_as_the_same_facts(small: SmallBook) -> None:
    small.put("cable types", 2, "reel length (ft)", "1640.42").set("schedule", 2, reel="R-1; R-2; R-1")
    small.sheets["rules spares"] = [{"rule": "S1", "when kind": "lug"}]
    book = small.read()
    written = sheets_of(book)
    assert same_facts(read_book(written), book)
    assert read_book(written).rules["spares"].equals(book.rules["spares"])
    assert all(written.sheets[name].headers == template_headers(name) for name in SHEETS if name in written.sheets)
    assert sheets_of(read_book(written)).digest == written.digest


def test_facts_with_an_open_doubt_are_not_written(small: SmallBook) -> None:
    with pytest.raises(Refusal, match="1 cells are in doubt"):
        sheets_of(small.set("schedule", 2, phases="0").read())


def test_answers_are_written_into_their_cells(small: SmallBook) -> None:
    small.set("schedule", 2, phases="0").answer("J1/1", "phases", "0", "ABC")
    written = sheets_of(small.read())
    assert "answers" not in written.sheets
    assert read_book(written).questions == ()


def test_received_text_in_our_order_asks_the_same_and_keeps_what_is_not_ours(small: SmallBook) -> None:
    small.put("schedule", 2, "DOI low (mm)", "23,6").put("schedule", 3, "dept", " x ").set("stock", 2, quantity="?")
    small.sheets["summary"] = [{"total": "6"}]
    canonical = canonical_sheets(small.raw())
    assert read_book(canonical).questions == small.read().questions
    assert canonical.sheets["schedule"].headers[-1] == "dept"
    assert "wall (mil)" in canonical.sheets["cable types"].headers
    assert list(canonical.sheets)[:3] == ["policies", "depots", "transfers"]
    assert canonical_sheets(canonical).digest == canonical.digest


def test_row_numbers_survive(small: SmallBook) -> None:
    raw = small.set("schedule", 3, phases="0").raw()
    sheet = raw.sheets["schedule"]
    moved = RawSheet("schedule", sheet.headers, sheet.cells.set_axis([5, 9], axis=0))
    canonical = canonical_sheets(raw_book([*(raw.sheets | {"schedule": moved}).values()]))
    assert [question.row for question in read_book(canonical).questions] == [9]


@settings(max_examples=40)
@given(
    codes=st.lists(CODES, min_size=3, max_size=3, unique_by=lambda code: " ".join(code.split())),
    remark=st.text(max_size=30),
)
def test_any_code_stays_the_text_that_it_is(codes: list[str], remark: str) -> None:
    """Codes are never numbers, dates or formulas; a code that a spreadsheet would damage is asked, so not written."""
    small = SmallBook()
    for row, code in enumerate(codes, start=2):
        small.set("positions", row, structure=code)
    small.set("schedule", 2, from_structure=codes[0], to_structure=codes[1], remarks=remark)
    small.set("schedule", 3, from_structure=codes[1], to_structure=codes[2])
    book = small.read()
    if not small.asked():
        assert same_facts(read_book(sheets_of(book)), book)
