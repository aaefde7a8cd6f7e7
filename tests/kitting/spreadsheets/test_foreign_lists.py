"""Lists of others: their headings, rows above them, decimal commas, dates, and what is said with each list."""

from pathlib import Path

import pytest
from openpyxl import Workbook

from kitting.calculation.questions import ASK, NOTE
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_sheet
from kitting.errors import Refusal
from kitting.spreadsheets.cell_forms import contradicts, in_our_form
from kitting.spreadsheets.column_layout import adopt, adopted, read_list
from kitting.spreadsheets.layout_file import CellForm, ColumnLayout, parsed_layout
from kitting.spreadsheets.list_headings import heading_names, shape_of

REELS = """
unused = ["Yard"]
[list]
header_row = 3
[read."Ins. dia: mm"]
decimal = "comma"
[read.Gauged]
dates = "day first"
[translate.How]
caliper = "gauge"
[reels]
reel = "{Drum}"
"cable type" = "CT-01"
origin = "{How}"
"DOI low (mm)" = "{Ins. dia: mm}"
"measured on" = "{Gauged}"
"""
HEADINGS = ("Drum", "How", "Ins. dia: mm", "Gauged", "Yard")
RUNS = """
asked = ["job"]
[schedule]
run = "{No}"
system = "{No}"
phases = "{Ph}"
"from structure" = "{Pad}"
"from position" = "{Pos}"
"to structure" = "{Pad #2}"
"to position" = "{Pos #2}"
"""


def layout(text: str) -> ColumnLayout:
    return parsed_layout(text.encode(), "ours.toml")


def told(raw: RawBook, sheet: str) -> list[tuple[int, str, str, str]]:
    return [(one.row, one.column, one.read, one.severity) for one in raw.sheets[sheet].notes if one.severity != NOTE]


def reels(*rows: tuple[str, ...]) -> RawSheet:
    return raw_sheet("drum list", HEADINGS, rows)


def test_a_list_of_one_sheet_keeps_its_rows_and_is_read_by_its_decimal_mark_dates_and_words() -> None:
    raw = adopted(layout(REELS), reels(("R-1", "caliper", "1.023,5", "05.03.2026", "north")))

    assert raw.sheets["reels"].headers == ("reel", "cable type", "origin", "DOI low (mm)", "measured on")
    assert list(raw.sheets["reels"].cells.loc[2]) == ["R-1", "CT-01", "gauge", "1023.5", "2026-03-05"]
    assert not told(raw, "reels")
    assert not raw.notes


def test_a_point_where_commas_are_the_decimal_mark_is_asked_in_text_and_taken_from_a_workbook() -> None:
    rows = reels(("R-1", "gauge", "1.234", "", ""), ("R-2", "gauge", "23,6", "", ""))

    assert told(adopted(layout(REELS), rows), "reels") == [(2, "DOI low (mm)", "1.234", ASK)]
    assert not told(adopted(layout(REELS), rows, is_text=False), "reels")


@pytest.mark.parametrize(
    ("text", "form", "read"),
    [
        ("23,6", CellForm(decimal="comma"), "23.6"),
        ("23,6 mm", CellForm(decimal="comma"), "23.6 mm"),
        ("1.234,5", CellForm(decimal="comma"), "1234.5"),
        ("12.34,5", CellForm(decimal="comma"), "12.34,5"),
        ("1,234", CellForm(decimal="point"), "1234"),
        ("0,234", CellForm(decimal="point"), "0,234"),
        ("23,6", CellForm(decimal="point"), "23,6"),
        ("03/04/2026", CellForm(dates="month first"), "2026-03-04"),
        ("03/04/2026", CellForm(dates="day first"), "2026-04-03"),
        ("03/04/2026 22:00", CellForm(dates="day first"), "2026-04-03 22:00"),
        ("03/04/26", CellForm(dates="day first"), "03/04/26"),
        ("31/31/2026", CellForm(dates="day first"), "31/31/2026"),
        ("3 Apr 2026", CellForm(), "3 Apr 2026"),
    ],
)
def test_a_cell_is_turned_only_where_it_is_written_as_the_layout_says(text: str, form: CellForm, read: str) -> None:
    assert in_our_form(text, form) == read


def test_only_a_point_beside_decimal_commas_is_a_contradiction() -> None:
    assert contradicts("1.234", CellForm(decimal="comma"))
    assert not contradicts("1.234", CellForm(decimal="point"))
    assert not contradicts("1234", CellForm(decimal="comma"))


def test_headings_that_stand_there_twice_or_not_at_all_have_names_of_their_own() -> None:
    assert heading_names([" Pad ", "Pos", "Pad", "", ""], [True, True, True, True, False]) == [
        "Pad", "Pos", "Pad #2", "column D", "",
    ]  # fmt: skip
    assert shape_of(["Pad", "Pos ", ""]) == shape_of(["Pad", "Pos"])
    assert shape_of(["Pad", "Pos"]) != shape_of(["Pos", "Pad"])


def test_what_is_the_same_in_a_whole_list_is_said_with_it() -> None:
    runs = raw_sheet("runs", ("No", "Ph", "Pad", "Pos", "Pad", "Pos"), [("1", "ABC", "A1", "a", "A2", "b")])
    raw = adopted(layout(RUNS), runs, said={"job": "J20"})
    cells = dict(zip(raw.sheets["schedule"].headers, raw.sheets["schedule"].cells.loc[2], strict=True))

    assert (cells["job"], cells["from structure"], cells["to structure"]) == ("J20", "A1", "A2")
    with pytest.raises(Refusal, match="what is the same in all its rows: job"):
        adopted(layout(RUNS), runs)


def test_rows_above_the_headings_and_other_sheets_are_left_out_and_hidden_rows_and_formulas_still_told(
    tmp_path: Path,
) -> None:
    book = Workbook()
    book["Sheet"].append(["Cover"])
    sheet = book.create_sheet("Drums")
    for row in (["Northgate yard"], [], HEADINGS, ["R-1", "gauge", "=1+1", None, "x"], ["R-2", "gauge", 23.6, "", ""]):
        sheet.append(row)
    sheet.row_dimensions[5].hidden = True
    book.save(tmp_path / "drums.xlsx")
    text = REELS.replace("[list]", '[list]\nsheet = "Drums"')

    found = read_list(tmp_path / "drums.xlsx", layout(text))
    raw = adopted(layout(text), found, is_text=False)

    assert list(found.cells.index) == [4, 5]
    assert told(raw, "reels") == [(4, "DOI low (mm)", "", ASK)]
    assert "row 5 is hidden; it was read" in {note.problem for note in raw.notes}
    with pytest.raises(Refusal, match=r"row 2 of drums\.xlsx is blank"):
        adopt(file(tmp_path, text.replace("header_row = 3", "header_row = 2")), tmp_path / "drums.xlsx")
    with pytest.raises(Refusal, match=r"reads the sheet Reels; drums\.xlsx has sheet, drums"):
        adopt(file(tmp_path, text.replace('"Drums"', '"Reels"')), tmp_path / "drums.xlsx")


def file(folder: Path, text: str) -> Path:
    path = folder / "layout.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_row_with_more_cells_than_headings_is_asked_as_a_whole(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text("Drum,How,Ins. dia: mm,Gauged,Yard\nR-1,gauge,1,,,oops\n")
    raw = adopt(file(tmp_path, REELS.replace("header_row = 3", "")), tmp_path / "list.csv")

    assert told(raw, "reels") == [(2, "row", "", ASK)]


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ('decimal = "comma"', 'decimal = "dot"', "'dot' is none of: comma, point"),
        ('dates = "day first"', 'order = "day first"', "not in the right form"),
        ('reel = "{Drum}"', "", "[reels] must give 'reel'"),
        ("[reels]", '[items]\nkind = "elbow"\n[reels]', "several sheets are made only beside a schedule"),
        ('"measured on"', '"doi low (in)" = "{How}"\n"measured on"', "gives 'DOI low' twice"),
        ('"{Drum}"', '"{Drum"', "the braces of '{Drum' don't match"),
        ('"{Drum}"', '"{end.site}"', "[reels] reads {end.site}, which only [positions]"),
        ("[reels]", '[ends.from]\nkind = "How"\n[ends.to]\nkind = "How"\n[reels]', "it makes none"),
    ],
)
def test_a_layout_that_contradicts_itself_is_refused_in_words(old: str, new: str, why: str) -> None:
    assert layout(REELS).main == "reels"
    with pytest.raises(Refusal) as refused:
        layout(REELS.replace(old, new, 1))
    assert why in refused.value.message


def test_a_layout_that_makes_no_sheet_is_refused() -> None:
    with pytest.raises(Refusal, match="it makes no sheet"):
        layout("unused = []")
