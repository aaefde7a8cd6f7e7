import datetime as dt
from pathlib import Path

import openpyxl
import pytest
from openpyxl import Workbook
from workbook_parts import good_rows, packed, plain_parts, sheet_xml, text_cell

from kitting.calculation.questions import ASK, NOTE
from kitting.spreadsheets import workbook_reader
from kitting.spreadsheets.reading import read_raw_book


def saved(book: Workbook, folder: Path) -> Path:
    path = folder / "received.xlsx"
    book.save(path)
    return path


def one_row(folder: Path, *values: object) -> list[str]:
    """Texts of a row under headers that number the columns."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append([f"column {at}" for at, _ in enumerate(values)])
    sheet.append(values)
    return list(read_raw_book(saved(book, folder)).sheets["sheet"].cells.loc[2])


def test_a_number_reads_as_its_shortest_exact_decimal_text(tmp_path: Path) -> None:
    numbers = (23.6, 350, 0.1 + 0.2, 1e-7, 1e20, -0.0, -4.5)
    assert one_row(tmp_path, *numbers) == ["23.6", "350", "0.3", "0.0000001", "1" + "0" * 20, "0", "-4.5"]


def test_a_stored_number_with_binary_noise_reads_as_the_spreadsheet_program_shows_it(tmp_path: Path) -> None:
    rows = (
        good_rows() + '<row r="3"><c r="A3"><v>23.600000000000001</v></c><c r="B3"><v>2.2000000000000002</v></c></row>'
    )
    cells = read_raw_book(packed(tmp_path, plain_parts(sheet_xml(rows)))).sheets["stock"].cells
    assert list(cells.loc[3]) == ["23.6", "2.2"]


def test_dates_times_truth_and_text_read_the_same_as_in_a_csv_file(tmp_path: Path) -> None:
    values = (
        dt.date(2000, 1, 1), dt.datetime(2026, 3, 5, 9, 0), dt.datetime(2026, 3, 5, 8, 59, 59), dt.time(9, 30),
        dt.timedelta(hours=25, minutes=30), True, False, "1/0", "  two  ", "a\nb", "mm²",
    )  # fmt: skip
    assert one_row(tmp_path, *values) == [
        "2000-01-01", "2026-03-05 09:00", "2026-03-05 08:59:59", "09:30",
        "25:30", "yes", "no", "1/0", "  two  ", "a\nb", "mm²",
    ]  # fmt: skip


def test_every_text_is_read_as_another_reader_reads_it(tmp_path: Path) -> None:
    texts = [
        f"{prefix}{word}" for prefix in ("", " ", "'", "=", "é", "中", '&<>"') for word in ("1/0", "1e5", "0457-BI")
    ]
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for at, text in enumerate(texts, start=1):
        sheet.cell(at, 1, text).data_type = "s"
    path = saved(book, tmp_path)
    other = openpyxl.load_workbook(path, data_only=True).active
    assert other is not None
    read = read_raw_book(path).sheets["sheet"]
    assert [*read.headers, *read.cells[0]] == [row[0] for row in other.iter_rows(values_only=True)] == texts


def test_rows_keep_the_number_that_a_person_sees(tmp_path: Path) -> None:
    rows = f'<row r="1">{text_cell("A1", "depot")}</row><row r="7">{text_cell("A7", "N")}</row>'
    rows += '<row r="9"><c r="A9" s="0"/></row>'
    sheet = read_raw_book(packed(tmp_path, plain_parts(sheet_xml(rows)))).sheets["stock"]
    assert list(sheet.cells.index) == [7]
    below = rows.replace('"1"', '"3"').replace("A1", "A3")
    late = read_raw_book(packed(tmp_path, plain_parts(sheet_xml(below)))).sheets["stock"]
    assert list(late.cells.index) == [7]
    assert [note.row for note in late.notes] == [3]  # the header is not in row 1: said


def test_sheet_names_are_compared_without_case_blanks_and_underscores(tmp_path: Path) -> None:
    parts = plain_parts(sheet_xml(good_rows()), name="  Cable_Types ")
    assert set(read_raw_book(packed(tmp_path, parts)).sheets) == {"cable types"}


def test_hidden_rows_columns_and_sheets_are_read_and_told(tmp_path: Path) -> None:
    """Feature B11."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in range(1, 7):
        sheet.append([f"r{row}", f"s{row}"])
    for row in (3, 4, 6):
        sheet.row_dimensions[row].hidden = True
    sheet.column_dimensions["B"].hidden = True
    sheet.sheet_state = "hidden"
    book.create_sheet("jobs").append(["job"])
    raw = read_raw_book(saved(book, tmp_path)).sheets["sheet"]
    assert list(raw.cells[1]) == ["s2", "s3", "s4", "s5", "s6"]
    assert all(note.severity == NOTE for note in raw.notes)
    assert [(note.row, note.problem) for note in raw.notes] == [
        (0, "the sheet is hidden; it was read"),
        (3, "rows 3 to 4 are hidden; they were read"),
        (6, "row 6 is hidden; it was read"),
        (1, "column B is hidden; it was read"),
    ]


def test_many_hidden_rows_are_told_in_one_sentence(tmp_path: Path) -> None:
    hidden = {1: " hidden='1'", 0: ""}
    rows = good_rows() + "".join(
        f'<row r="{row}"{hidden[row % 2]}>{text_cell(f"A{row}", "x")}</row>' for row in range(3, 205)
    )
    notes = read_raw_book(packed(tmp_path, plain_parts(sheet_xml(rows)))).sheets["stock"].notes
    assert [note.problem for note in notes] == ["101 groups of rows are hidden; they were read, the first in row 3"]


def test_merged_cells_are_told_with_their_address(tmp_path: Path) -> None:
    merged = '<mergeCells count="1"><mergeCell ref="B2:B5"/></mergeCells>'
    notes = read_raw_book(packed(tmp_path, plain_parts(sheet_xml(good_rows(), after=merged)))).sheets["stock"].notes
    assert [(note.row, note.column, note.severity) for note in notes] == [(2, "depot", NOTE)]
    assert "B2:B5" in notes[0].problem


def test_a_formula_gives_its_saved_value_and_one_never_calculated_is_asked(tmp_path: Path) -> None:
    rows = good_rows() + (
        '<row r="3"><c r="A3" t="str"><f>B3</f><v>EL15-2</v></c><c r="B3"><f>1+1</f></c></row>'
        '<row r="4"><c r="A4"><f>1+1</f><v>2</v></c><c r="B4" t="str"><f>""</f><v></v></c></row>'
        '<row r="5"><c r="A5"><f t="shared" si="0"/><v/></c><c r="B5"><v>1</v></c></row>'
    )
    sheet = read_raw_book(packed(tmp_path, plain_parts(sheet_xml(rows)))).sheets["stock"]
    assert sheet.cells.loc[3:].to_numpy().tolist() == [["EL15-2", ""], ["2", ""], ["", "1"]]
    asked = [(note.row, note.column, note.severity) for note in sheet.notes]
    assert asked == [(3, "depot", ASK), (5, "stock code", ASK)]


def test_a_formula_error_keeps_its_text(tmp_path: Path) -> None:
    rows = good_rows() + (
        '<row r="3"><c r="A3" t="e"><f>1/0</f><v>#DIV/0!</v></c><c r="B3"><v>1</v></c></row>'
        '<row r="5"><c r="C5" t="e"><v>#N/A</v></c></row>'
    )
    sheet = read_raw_book(packed(tmp_path, plain_parts(sheet_xml(rows)))).sheets["stock"]
    assert sheet.cells.to_numpy().tolist() == [["EL15-1", "N", ""], ["#DIV/0!", "1", ""], ["", "", "#N/A"]]


def test_element_names_with_a_prefix_are_searched_as_well(tmp_path: Path) -> None:
    plain = sheet_xml(good_rows() + '<row r="3" hidden="1"><c r="A3" t="e"><v>#N/A</v></c></row>').decode()
    prefixed = plain.replace("<", "<x:").replace("<x:/", "</x:").replace("<x:?", "<?").replace("xmlns=", "xmlns:x=")
    sheet = read_raw_book(packed(tmp_path, plain_parts(prefixed.encode()))).sheets["stock"]
    assert list(sheet.cells[0]) == ["EL15-1", "#N/A"]
    assert [note.row for note in sheet.notes] == [3]


def test_an_empty_sheet_is_left_out_and_told(tmp_path: Path) -> None:
    book = Workbook()
    book.create_sheet("jobs").append(["job"])
    raw = read_raw_book(saved(book, tmp_path))
    assert set(raw.sheets) == {"jobs"}
    assert [note.sheet for note in raw.notes] == ["Sheet"]


def test_a_control_character_is_shown_as_unreadable(tmp_path: Path) -> None:
    rows = good_rows() + f'<row r="3">{text_cell("A3", "EL_x0001_15")}{text_cell("B3", "a_x000D_&#10;b")}</row>'
    cells = read_raw_book(packed(tmp_path, plain_parts(sheet_xml(rows)))).sheets["stock"].cells
    assert list(cells.loc[3]) == ["EL\ufffd15", "a\nb"]


def test_progress_is_told_and_can_end_the_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Feature T6."""
    rows = good_rows() + "".join(f'<row r="{row}">{text_cell(f"A{row}", f"x{row}")}</row>' for row in range(3, 12_001))
    path = packed(tmp_path, plain_parts(sheet_xml(rows)))
    told: list[tuple[str, int, int]] = []
    raw = read_raw_book(path, lambda *step: told.append(step))
    assert len(raw.sheets["stock"].cells) == 11_999
    assert told == [("stock", 5_000, 12_000), ("stock", 10_000, 12_000), ("stock", 12_000, 12_000)]

    started = []
    popen = workbook_reader.subprocess.Popen
    monkeypatch.setattr(
        workbook_reader.subprocess, "Popen", lambda *a, **k: started.append(popen(*a, **k)) or started[-1]
    )

    def cancel(*_: object) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        read_raw_book(path, cancel)
    assert [child.returncode is not None for child in started] == [True]
