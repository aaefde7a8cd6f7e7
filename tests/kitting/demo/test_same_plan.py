"""The same facts give the same plan: in any order, in any process, in inches or millimetres."""

import hashlib
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from desk import Desk
from plain_sheets import LENGTHS, everything, in_mm, shuffled, tables

from kitting.calculation.plan_result import Plan
from kitting.calculation.sheets.raw import RawSheet, raw_book

ROOT = Path(__file__).parents[3]
PLAN_BOTH = """
import hashlib
from pathlib import Path
from desk import Desk
from plain_sheets import everything
from kitting.spreadsheets.reading import read_raw_book
for folder in ("received", "clean"):
    plan = Desk(read_raw_book(Path("fixtures_demo") / folder)).plan()
    print(hashlib.sha256(everything(plan).encode()).hexdigest())
"""


@pytest.mark.parametrize("seed", [1, 2])
def test_sheets_rows_and_columns_in_another_order_give_the_same_bytes(
    desk: Desk, received_desk: Desk, clean: Plan, received: Plan, seed: int
) -> None:
    """Also with the planted faults, the questions included."""
    assert everything(Desk(shuffled(desk.raw, seed)).plan()) == everything(clean)
    assert everything(Desk(shuffled(received_desk.raw, seed)).plan()) == everything(received)


def test_other_processes_with_other_hash_seeds_give_the_same_bytes(received: Plan, clean: Plan) -> None:
    """Nothing depends on how Python hashes texts."""
    expected = [hashlib.sha256(everything(plan).encode()).hexdigest() for plan in (received, clean)]
    for seed in ("1", "2"):
        paths = os.pathsep.join([str(ROOT), str(ROOT / "tests" / "support")])
        done = subprocess.run(
            [sys.executable, "-c", PLAN_BOTH],
            check=True,
            capture_output=True,
            text=True,
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": paths},
            cwd=ROOT,
        )
        assert done.stdout.split() == expected


def test_inches_mils_and_millimetres_give_the_same_plan(desk: Desk, clean: Plan) -> None:
    """Every column in inches or mils turned into exact millimetres, its unit in the header, changes no table."""
    metric = [_in_millimetres(sheet) for sheet in desk.raw.sheets.values()]
    turned = [one.name for one in metric if one.headers != desk.raw.sheets[one.name].headers]
    assert turned == ["cable types", "items", "reels", "schedule"]
    assert tables(Desk(raw_book(metric)).plan()) == tables(clean)


def test_a_length_with_its_unit_in_the_cell_gives_the_same_plan(desk: Desk, clean: Plan) -> None:
    """The unit may stand in each cell instead of the header."""
    in_cells = [_unit_in_the_cells(sheet) for sheet in desk.raw.sheets.values()]
    assert tables(Desk(raw_book(in_cells)).plan()) == tables(clean)


def _in_millimetres(sheet: RawSheet) -> RawSheet:
    cells, headers = sheet.cells.copy(), list(sheet.headers)
    for at, header in enumerate(headers):
        length = LENGTHS.fullmatch(header)
        if length is not None:
            headers[at] = f"{length['label']} (mm)"
            cells[at] = [in_mm(text, length["unit"]) for text in cells[at]]
    return replace(sheet, headers=tuple(headers), cells=cells)


def _unit_in_the_cells(sheet: RawSheet) -> RawSheet:
    cells, headers = sheet.cells.copy(), list(sheet.headers)
    for at, header in enumerate(headers):
        length = LENGTHS.fullmatch(header)
        if length is not None:
            headers[at] = length["label"]
            cells[at] = [f"{text} {length['unit']}" if text and " " not in text else text for text in cells[at]]
    return replace(sheet, headers=tuple(headers), cells=cells)
