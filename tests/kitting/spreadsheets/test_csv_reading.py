from pathlib import Path

import pytest

from kitting.calculation.questions import ASK, NOTE
from kitting.calculation.sheets.raw import RawSheet
from kitting.spreadsheets.csv_reader import read_csv_sheet
from kitting.spreadsheets.reading import read_raw_book

TEXT = "stock code,depot,place\nEL15-1,N,Nö-1\n\n,,\nML-50/150,H,\n"


def sheet_of(folder: Path, content: bytes) -> RawSheet:
    path = folder / "stock.csv"
    path.write_bytes(content)
    return read_csv_sheet(path)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize(("separator", "name"), [(",", ""), (";", "semicolons"), ("\t", "tabs")])
def test_encodings_line_ends_and_separators_make_no_difference(
    encoding: str, line_end: str, separator: str, name: str, tmp_path: Path
) -> None:
    sheet = sheet_of(tmp_path, TEXT.replace(",", separator).replace("\n", line_end).encode(encoding))
    assert sheet.headers == ("stock code", "depot", "place")
    assert sheet.cells.to_numpy().tolist() == [["EL15-1", "N", "Nö-1"], ["ML-50/150", "H", ""]]
    assert list(sheet.cells.index) == [2, 5]  # blank rows are left out and keep their number
    assert [note.problem for note in sheet.notes] == ([f"{name} separate the cells of stock.csv"] if name else [])


def test_a_separator_in_quotation_marks_does_not_decide(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, b'"depot; place; lot; use by",b\n1,2\n')
    assert sheet.headers == ("depot; place; lot; use by", "b")


def test_a_row_with_more_cells_than_the_header_is_asked(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, b"stock code,description\nEL15-1,Elbow, loadbreak\nEL15-2,Elbow\n")
    assert [(note.row, note.column, note.read, note.severity) for note in sheet.notes] == [
        (2, "row", " loadbreak", ASK)
    ]
    assert sheet.cells.to_numpy().tolist() == [["EL15-1", "Elbow", " loadbreak"], ["EL15-2", "Elbow", ""]]


def test_line_ends_and_quotation_marks_inside_a_cell_are_kept(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, b'a,b\n"first\r\nsecond","6"" probe"\nx,y\n')
    assert list(sheet.cells.loc[2]) == ["first\nsecond", '6" probe']
    assert list(sheet.cells.index) == [2, 3]  # a row number is that of a spreadsheet program, not a line number


def test_a_folder_is_read_as_one_book_and_other_files_are_told(tmp_path: Path) -> None:
    (tmp_path / "cable_types.csv").write_text("cable type\nCT-01\n")
    (tmp_path / "Rules_Spares.CSV").write_text("rule\nr1\n")
    (tmp_path / "notes.txt").write_text("to do")
    (tmp_path / ".hidden").write_text("")
    raw = read_raw_book(tmp_path)
    assert set(raw.sheets) == {"cable types", "rules spares"}
    assert [(note.read, note.severity) for note in raw.notes] == [("notes.txt", NOTE)]


def test_progress_is_told_by_rows(tmp_path: Path) -> None:
    (tmp_path / "stock.csv").write_text("stock code\n" + "".join(f"X{row}\n" for row in range(12_000)))
    told: list[tuple[str, int, int]] = []
    read_raw_book(tmp_path, lambda *step: told.append(step))
    assert [(name, rows) for name, rows, _ in told] == [
        ("stock.csv", 5_000),
        ("stock.csv", 10_000),
        ("stock.csv", 12_001),
    ]
    assert all(rows <= whole for _, rows, whole in told)


def test_a_title_above_the_headings_does_not_decide_what_separates_the_cells(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("Cables, as drawn\nCable;From;Length\n1;A1;84,5\n2;A2;120,25\n", encoding="utf-8")
    assert read_csv_sheet(path).headers == ("Cables, as drawn", "", "")
    path.write_text("run;length\n1;84,5\n2;120,25\n", encoding="utf-8")
    assert read_csv_sheet(path).headers == ("run", "length")
