from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, raw_sheet
from kitting.errors import Refusal
from kitting.spreadsheets.raw_writing import write_raw_book
from kitting.spreadsheets.reading import read_raw_book

_DEMO = Path(__file__).parents[3] / "fixtures_demo"

_AWKWARD = (
    "1/0", "0457", "1e5", "23.6", "23,6", "0.600", "2026-03-05", "2026-03-05 09:00", "2026-03-05 00:00", "09:30",
    "yes", "#N/A", "=1+1", "+1", "@x", "'x", "_x0041_", "a;b\tc", "|", 'say "x"', "two\nlines", " blank around ", "mm²",
    "100", "1.50",
)  # fmt: skip
_TEXT = st.one_of(
    st.sampled_from(_AWKWARD),
    st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=8),
    st.decimals(-(10**6), 10**6, places=3).map(str),
)
_HEADERS = st.sampled_from(
    ("stock code", "quantity", "DOI low (mm)", "use by", "cutover", "conductor size", "a;b", "x")
)
_NAMES = st.sampled_from(("items", "stock", "jobs", "cable types", "rules end accessories", "something else"))


@st.composite
def sheets(draw: st.DrawFn) -> RawSheet:
    headers = draw(st.lists(_HEADERS, min_size=1, max_size=5, unique=True))
    rows = draw(st.lists(st.lists(_TEXT, min_size=len(headers), max_size=len(headers)), max_size=6))
    sheet = raw_sheet(draw(_NAMES), headers, rows)
    numbers = draw(st.lists(st.integers(2, 40), min_size=len(rows), max_size=len(rows), unique=True))
    return RawSheet(sheet.name, sheet.headers, sheet.cells.set_axis(sorted(numbers), axis=0))


books = st.lists(sheets(), min_size=1, max_size=3, unique_by=lambda sheet: sheet.name).map(raw_book)


def rows_by_number(raw: RawBook) -> dict[str, dict[int, list[str]]]:
    """Trimmed cells of rows that are not blank, by sheet and row number."""
    found = {}
    for name, sheet in raw.sheets.items():
        rows = {int(row): [text.strip() for text in cells] for row, *cells in sheet.cells.itertuples(name=None)}
        found[name] = {row: cells for row, cells in rows.items() if any(cells)}
    return found


@settings(max_examples=25)
@given(raw=books)
def test_writing_and_reading_again_changes_nothing(raw: RawBook, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Feature T5: workbook, then CSV, then workbook."""
    folder = tmp_path_factory.mktemp("trip")
    write_raw_book(raw, folder / "first.xlsx")
    first = read_raw_book(folder / "first.xlsx")
    write_raw_book(first, folder / "csv")
    second = read_raw_book(folder / "csv")
    write_raw_book(second, folder / "third.xlsx")
    third = read_raw_book(folder / "third.xlsx")
    assert raw.digest == first.digest == second.digest == third.digest
    assert rows_by_number(first) == rows_by_number(second) == rows_by_number(third)


@pytest.mark.parametrize("sheets_of", ["received", "clean"])
def test_the_demo_goes_through_a_workbook_unchanged(sheets_of: str, tmp_path: Path) -> None:
    raw = read_raw_book(_DEMO / sheets_of)
    write_raw_book(raw, tmp_path / "demo.xlsx")
    again = read_raw_book(tmp_path / "demo.xlsx")
    assert again.digest == raw.digest
    assert rows_by_number(again) == rows_by_number(raw)


def test_only_a_column_declared_as_numbers_or_dates_gets_numbers_or_dates(tmp_path: Path) -> None:
    headers = ("stock code", "description", "DOI low (mm)", "lead days", "price date", "conductor sizes", "class kV")
    rows = [("350", "100", "15.24", "14", "2026-03-05", "350", "15"), ("0457", "=1+1", "0.600", "x", "soon", "1/0", "")]
    write_raw_book(raw_book([raw_sheet("items", headers, rows)]), tmp_path / "items.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "items.xlsx")["items"]
    types = [[cell.data_type for cell in row] for row in sheet.iter_rows(min_row=2)]
    assert types == [["s", "s", "n", "n", "d", "s", "s"], ["s", "s", "s", "s", "s", "s", "n"]]


def test_an_outage_that_starts_at_midnight_keeps_its_hour(tmp_path: Path) -> None:
    raw = raw_book([raw_sheet("jobs", ("cutover",), [("2026-03-05 00:00",), ("2026-03-05",)])])
    write_raw_book(raw, tmp_path / "jobs.xlsx")
    assert rows_by_number(read_raw_book(tmp_path / "jobs.xlsx")) == rows_by_number(raw)


def test_a_name_that_no_workbook_can_hold_is_refused_and_a_folder_takes_it(tmp_path: Path) -> None:
    raw = raw_book([raw_sheet("a name that is far too long for a sheet", ("x",), [("1",)])])
    with pytest.raises(Refusal) as refused:
        write_raw_book(raw, tmp_path / "long.xlsx")
    assert refused.value.code == "sheet-name"
    write_raw_book(raw, tmp_path / "folder")
    assert read_raw_book(tmp_path / "folder").digest == raw.digest
