import csv
import io
import time
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.errors import Refusal
from kitting.spreadsheets import workbook_files
from kitting.spreadsheets.writing import PEOPLE_NOTE, SheetContent, write_csv, write_people_csv, write_workbook

DANGEROUS = ("=1+1", "+1", "-1+1", "@x", "\tx", "\rx")  # the characters named by the OWASP page on CSV injection


def frame_of(**columns: list[object]) -> pd.DataFrame:
    return pd.DataFrame({name: pd.Series(values, dtype=object) for name, values in columns.items()})


def test_numbers_dates_and_blanks_are_written_plainly(tmp_path: Path) -> None:
    frame = frame_of(
        code=["0457", "1/0", None],
        quantity=[6, Decimal("12.500"), Decimal("1E+2")],
        ready_on=[date(2026, 3, 5), datetime(2026, 3, 5, 9, 0), ""],
        spare=[True, False, 1],
    )
    write_csv(frame, tmp_path / "table.csv")
    assert (tmp_path / "table.csv").read_bytes() == (
        b"code,quantity,ready_on,spare\n0457,6,2026-03-05,yes\n1/0,12.5,2026-03-05 09:00,no\n,100,,1\n"
    )


def test_a_float_is_refused_because_lengths_and_quantities_are_exact(tmp_path: Path) -> None:
    with pytest.raises(TypeError, match="not 23"):
        write_csv(frame_of(doi_low_mm=[23.6]), tmp_path / "table.csv")
    with pytest.raises(TypeError, match="not 23"):
        write_workbook(tmp_path / "table.xlsx", {"table": SheetContent(frame_of(doi_low_mm=[23.6]))})


_CELLS = st.one_of(
    st.none(), st.integers(-(10**9), 10**9), st.text(st.characters(exclude_categories=("Cs",)), max_size=6)
)


@given(rows=st.lists(st.tuples(_CELLS, _CELLS), max_size=8), alone=st.booleans())
def test_another_reader_finds_every_cell_again(
    rows: list[tuple[object, object]], alone: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("csv") / "table.csv"
    frame = frame_of(a=[row[0] for row in rows], b=[row[1] for row in rows])
    wanted = [["a", "b"], *([("" if cell is None else str(cell)) for cell in row] for row in rows)]
    write_csv(frame[["a"]] if alone else frame, path)
    read = list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))
    assert read == [row[:1] if alone else row for row in wanted]


def test_a_column_of_categories_is_written_as_its_texts(tmp_path: Path) -> None:
    texts = ["fits, by 0.5 mm", "", "short", None]
    write_csv(frame_of(why=texts), tmp_path / "texts.csv")
    write_csv(frame_of(why=texts).astype("category"), tmp_path / "categories.csv")
    assert (tmp_path / "texts.csv").read_bytes() == (tmp_path / "categories.csv").read_bytes()


def test_a_csv_that_a_person_opens_runs_no_formula_and_says_how(tmp_path: Path) -> None:
    """Trap T41."""
    frame = frame_of(remark=list(DANGEROUS), net=[-1, -2, -3, -4, -5, Decimal("-0.5")])
    write_people_csv(frame, tmp_path / "people.csv")
    text = (tmp_path / "people.csv").read_bytes()
    assert text.startswith(b"\xef\xbb\xbf")  # so that the spreadsheet program takes it for UTF-8
    header, *rows = csv.reader(io.StringIO(text.decode("utf-8-sig"), newline=""))
    assert header == ["remark", "net", PEOPLE_NOTE]
    assert [row[0] for row in rows] == [f"'{remark}" for remark in DANGEROUS]
    assert [row[1] for row in rows] == ["-1", "-2", "-3", "-4", "-5", "-0.5"]
    write_csv(frame, tmp_path / "machine.csv")
    machine = csv.reader(io.StringIO((tmp_path / "machine.csv").read_bytes().decode(), newline=""))
    assert [row[0] for row in machine][1:] == list(DANGEROUS)


def test_in_a_workbook_text_stays_text_and_numbers_stay_numbers(tmp_path: Path) -> None:
    """Trap T41, feature I5."""
    remarks = [*DANGEROUS[:5], "#N/A", "_x0041_", "1/0", "0457"]
    frame = frame_of(remark=remarks, quantity=[*range(8), Decimal("12.5")], by=[date(2026, 3, 5)] * 9)
    write_workbook(tmp_path / "table.xlsx", {"reorder": SheetContent(frame)})
    sheet = openpyxl.load_workbook(tmp_path / "table.xlsx")["reorder"]
    texts = [row[0] for row in sheet.iter_rows(min_row=2)]
    assert {cell.data_type for cell in texts} == {"s"}
    assert [cell.value for cell in texts] == [text.replace("_x0041_", "_x005F_x0041_") for text in remarks]
    assert [row[1].value for row in sheet.iter_rows(min_row=2)] == [*range(8), 12.5]
    assert sheet["C2"].value == datetime(2026, 3, 5)
    assert sheet["A1"].font.bold
    assert sheet.freeze_panes == "A2"
    assert sheet.auto_filter.ref == "A1:C10"


def test_the_same_content_gives_the_same_bytes_at_any_moment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    content = {"reorder": SheetContent(frame_of(code=["EL15-1"], quantity=[6]), {"code": 30}, ("code",))}
    write_workbook(tmp_path / "one.xlsx", content)
    monkeypatch.setattr(time, "localtime", lambda *_: time.gmtime(2_000_000_000))
    write_workbook(tmp_path / "two.xlsx", content)
    one, two = (tmp_path / "one.xlsx").read_bytes(), (tmp_path / "two.xlsx").read_bytes()
    assert one == two
    assert b"T00:00:00Z" in zipped(one, "docProps/core.xml")


def zipped(content: bytes, part: str) -> bytes:
    with workbook_files.zipfile.ZipFile(io.BytesIO(content)) as archive:
        return archive.read(part)


def test_a_text_too_long_for_a_cell_is_refused_not_cut(tmp_path: Path) -> None:
    with pytest.raises(Refusal) as refused:
        write_workbook(tmp_path / "table.xlsx", {"long": SheetContent(frame_of(reason=["x" * 32_768]))})
    assert refused.value.code == "giant-text"
