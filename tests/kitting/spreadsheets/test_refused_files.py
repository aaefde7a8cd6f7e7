import json
import random
import re
import subprocess
import sys
from pathlib import Path

import pytest
from harmful_files import HARMFUL, Build, refusal_of
from hypothesis import given, settings
from hypothesis import strategies as st
from workbook_parts import good_rows, packed, plain_parts, sheet_xml, text_cell

from kitting.errors import Refusal
from kitting.spreadsheets import workbook_reader
from kitting.spreadsheets.reading import read_raw_book
from kitting.spreadsheets.workbook_package import WorkbookPackage

_ROOT = Path(__file__).parents[3]
_MOST_KB = 500_000  # pandas and openpyxl alone take about 130 MB


@pytest.mark.parametrize(("code", "build"), HARMFUL.values(), ids=HARMFUL.keys())
def test_a_file_that_lies_bombs_or_is_none_is_refused_in_words(code: str, build: Build, tmp_path: Path) -> None:
    """Feature R6."""
    refusal = refusal_of(build(tmp_path))
    assert refusal is not None
    assert refusal.code == code
    assert re.fullmatch(r"[A-Za-z].{20,}\.", refusal.message, re.DOTALL), refusal.message
    assert "Traceback" not in refusal.message


def test_reading_every_harmful_file_leaves_the_process_small(tmp_path: Path) -> None:
    program = _ROOT / "tests/support/harmful_files.py"
    told = subprocess.run(
        [sys.executable, str(program), str(tmp_path)], cwd=_ROOT, env={"PYTHONPATH": str(_ROOT)},
        stdout=subprocess.PIPE, check=True,
    ).stdout  # fmt: skip
    report = json.loads(told)
    assert report["codes"] == {name: code for name, (code, _) in HARMFUL.items()}
    assert report["peak_kb"] < _MOST_KB


def test_the_child_alone_survives_a_far_cell_that_the_search_did_not_see(tmp_path: Path) -> None:
    far = f'<row r="1048576">{text_cell("XFD1048576", "x")}</row>'
    path = packed(tmp_path, plain_parts(sheet_xml(good_rows() + far)))
    package = WorkbookPackage(path.name, path.read_bytes())
    with pytest.raises(Refusal) as refused, workbook_reader._Child(package) as child:
        list(child.sheets(None))
    assert refused.value.code == "workbook-too-heavy"


def test_a_child_that_takes_too_long_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook_reader, "DEADLINE_SECONDS", 0)
    path = packed(tmp_path, plain_parts(sheet_xml(good_rows())))
    with pytest.raises(Refusal) as refused:
        read_raw_book(path)
    assert refused.value.code == "workbook-too-slow"


def test_formatting_far_from_the_values_is_no_far_cell(tmp_path: Path) -> None:
    formatted = '<row r="1048576"><c r="XFD1048576" s="0"/></row>'
    assert (
        len(read_raw_book(packed(tmp_path, plain_parts(sheet_xml(good_rows() + formatted)))).sheets["stock"].cells) == 1
    )


@settings(max_examples=40)
@given(seed=st.integers(0, 2**32), changes=st.integers(1, 12), part=st.sampled_from(("", *plain_parts(b""))))
def test_a_workbook_with_changed_bytes_is_read_or_refused_never_worse(
    seed: int, changes: int, part: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """The bytes of one of its parts before they are packed, or those of the archive."""
    folder, dice = tmp_path_factory.mktemp("changed"), random.Random(seed)

    def changed(content: bytes) -> bytes:
        given = bytearray(content)
        for _ in range(changes):
            given[dice.randrange(len(given))] = dice.randrange(256)
        return bytes(given)

    parts = plain_parts(sheet_xml(good_rows()))
    path = packed(folder, {**parts, part: changed(parts[part])} if part else parts)
    if not part:
        path.write_bytes(changed(path.read_bytes()))
    refusal = refusal_of(path)
    assert refusal is None or refusal.message.startswith("received.xlsx")


def test_a_wrong_byte_is_named_with_its_place(tmp_path: Path) -> None:
    (tmp_path / "stock.csv").write_bytes("stock code,depot\nEL15-1,N\nEL15-2,Nö\n".encode("cp1252"))
    refusal = refusal_of(tmp_path)
    assert refusal is not None
    assert (refusal.data["byte"], refusal.data["value"], refusal.data["row"]) == (34, 0xF6, 3)
    assert "0xF6" in refusal.message
    assert "line 3" in refusal.message


def test_the_row_of_an_unbalanced_quotation_mark_is_named(tmp_path: Path) -> None:
    (tmp_path / "stock.csv").write_text('a,b\n1,2\n"x\ny",3\n4,"5\n6,7\n')
    refusal = refusal_of(tmp_path)
    assert refusal is not None
    assert refusal.data["row"] == 4
