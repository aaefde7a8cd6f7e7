from pathlib import Path

import openpyxl
import pytest
from openpyxl import Workbook

from kitting.calculation.questions import ASK, NOTE, REFUSE, Question
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import RawBook, raw_book, raw_sheet
from kitting.spreadsheets import questions_workbook
from kitting.spreadsheets.questions_workbook import write_questions_workbook
from kitting.spreadsheets.reading import read_raw_book

_DEMO = Path(__file__).parents[3] / "fixtures_demo"


def written(folder: Path, raw: RawBook, *questions: Question) -> Workbook:
    write_questions_workbook(folder / "questions.xlsx", raw, questions)
    return openpyxl.load_workbook(folder / "questions.xlsx")


def marked(book: Workbook, sheet: str) -> set[str]:
    """Addresses of the cells with the thick border."""
    return {cell.coordinate for row in book[sheet].iter_rows() for cell in row if cell.border.left.style == "thick"}


def book_of(rows: int) -> RawBook:
    table = [(f"EL15-{row}", "N", "N-01", "6") for row in range(2, rows + 2)]
    return raw_book([raw_sheet("stock", ("stock code", "depot", "place", "quantity"), table)])


def test_the_planted_faults_are_listed_and_marked_under_their_own_row_numbers(tmp_path: Path) -> None:
    """Feature B2: seven messages with cell addresses for the demo's schedule as received."""
    raw = read_raw_book(_DEMO / "received")
    questions = [question for question in read_book(raw).questions if question.severity != NOTE]
    book = written(tmp_path, raw, *questions)
    assert book.sheetnames == ["questions", "schedule"]
    listed = list(book["questions"].iter_rows(min_row=2, values_only=True))
    assert [row[:3] for row in listed] == [(one.sheet, one.row, one.column) for one in questions]
    assert {row[3] for row in listed} == marked(book, "schedule")
    copy = {row[0].row: [cell.value or "" for cell in row] for row in book["schedule"].iter_rows(min_row=2)}
    sheet = raw.sheets["schedule"]
    for row, *texts in sheet.cells.itertuples(name=None):
        assert [str(value) for value in copy[row][: len(texts)]] == texts
    for question in questions:
        assert question.problem in copy[question.row][-1]


def test_a_doubtful_cell_has_fill_comment_and_link_and_keeps_its_text(tmp_path: Path) -> None:
    doubt = Question("stock", 4, "quantity", "6", "is less than was counted", "count again?", ASK)
    refused = Question("stock", 4, "depot", "N", "is not known", "H?", REFUSE)
    book = written(tmp_path, book_of(5), doubt, refused)
    cell = book["stock"]["D4"]
    assert (cell.value, cell.data_type) == ("6", "s")
    assert cell.fill.fill_type == "solid"
    assert cell.comment is not None
    assert cell.comment.text == "quantity: is less than was counted; count again?"
    assert book["stock"]["D5"].value == 6  # beside it, numbers are numbers
    assert marked(book, "stock") == {"B4", "D4"}
    link = book["questions"]["D2"].hyperlink
    assert link is not None
    assert link.location == "'stock'!D4"
    said = "► quantity: is less than was counted; count again?\n► depot: is not known; H?"
    assert book["stock"]["E4"].value == said  # seen without colour and without comments


def test_a_long_sheet_gives_its_doubtful_rows_with_their_numbers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    doubts = [Question("stock", row, "place", "N-01", "is not known", "", ASK) for row in (3, 9)]
    whole = written(tmp_path, book_of(10), *doubts)
    assert [cell.value for cell in whole["stock"]["A"]][:3] == ["stock code", "EL15-2", "EL15-3"]
    assert marked(whole, "stock") == {"C3", "C9"}
    monkeypatch.setattr(questions_workbook, "MOST_ROWS_COPIED", 9)
    short = written(tmp_path, book_of(10), *doubts)
    assert [cell.value for cell in short["stock"]["A"]] == ["row in your sheet", 3, 9]
    assert [cell.value for cell in short["stock"]["B"]] == ["stock code", "EL15-3", "EL15-9"]
    assert marked(short, "stock") == {"D2", "D3"}
    assert [row[3] for row in short["questions"].iter_rows(min_row=2, values_only=True)] == ["D2", "D3"]


def test_a_question_about_a_whole_row_marks_its_first_cell(tmp_path: Path) -> None:
    repeated = Question("stock", 5, "row", "EL15-5", "row 5 repeats row 2", "keep or drop", ASK)
    assert marked(written(tmp_path, book_of(6), repeated), "stock") == {"A5"}


def test_notes_and_questions_without_a_row_are_listed_only(tmp_path: Path) -> None:
    book = written(
        tmp_path,
        book_of(3),
        Question("stock", 0, "", "", "the sheet is hidden; it was read", "", NOTE),
        Question("stock", 3, "lot", "", "row 3 is hidden; it was read", "", NOTE),
        Question("systems", 2, "earthing", "", "blank", "", ASK),
    )
    assert book.sheetnames == ["questions"]
    assert [row[3] for row in book["questions"].iter_rows(min_row=2, values_only=True)] == [None, None, None]


def test_what_does_not_fit_the_list_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(questions_workbook, "MOST_LISTED", 2)
    doubts = [Question("stock", row, "place", "N-01", "is not known", "", ASK) for row in range(2, 7)]
    rows = list(written(tmp_path, book_of(9), *doubts)["questions"].iter_rows(values_only=True))
    assert rows[-1][0] == "3 more questions stand in questions.csv only"


def test_the_same_questions_give_the_same_bytes(tmp_path: Path) -> None:
    raw = read_raw_book(_DEMO / "received")
    questions = read_book(raw).questions
    for name in ("one.xlsx", "two.xlsx"):
        write_questions_workbook(tmp_path / name, raw, questions)
    assert (tmp_path / "one.xlsx").read_bytes() == (tmp_path / "two.xlsx").read_bytes()
