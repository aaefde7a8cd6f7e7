"""The demo's sheets hold what the story says, and their answers and deciding lines are those worked out beforehand."""

import csv
import shutil
from collections import Counter
from pathlib import Path

import pytest

from kitting.calculation.plan_result import Plan
from kitting.calculation.sheets.book import read_book
from kitting.spreadsheets.reading import read_raw_book

ROOT = Path(__file__).resolve().parents[3]
DEMO = ROOT / "fixtures_demo"
TABLES = ROOT / "kitting" / "calculation" / "tables"


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


EXPECTED = {row["job"]: row for row in rows(DEMO / "expected_answers.csv")}


def test_the_demo_holds_the_town_of_the_story() -> None:
    counts = {path.stem: len(rows(path)) for path in (DEMO / "received").glob("*.csv")}
    assert counts["items"] + 1 == 120  # the old number 0457-BI is an old code of BI15
    assert (counts["depots"], counts["systems"], counts["cable_types"], counts["jobs"]) == (3, 5, 16, 12)
    assert (counts["schedule"], len(rows(DEMO / "clean" / "schedule.csv"))) == (53, 52)


def test_the_answers_settle_every_question_and_every_answer_is_used(answered: Plan) -> None:
    assert answered.questions == ()
    assert len(answered.book.answers_used) == len(rows(DEMO / "answers.csv"))


@pytest.mark.parametrize("job", sorted(EXPECTED))
def test_the_line_that_decides_is_the_one_worked_out_beforehand(received: Plan, answered: Plan, job: str) -> None:
    deciding = [next(one.deciding_line for one in plan.jobs if one.job == job) for plan in (received, answered)]
    assert deciding == [EXPECTED[job]["deciding line received"], EXPECTED[job]["deciding line after answers"]]


@pytest.mark.parametrize("job", sorted(EXPECTED))
def test_nothing_else_is_short_and_nothing_else_must_come(answered: Plan, job: str) -> None:
    short: Counter[str] = Counter()
    order_by: set[str] = set()
    for row in answered.shortages.to_dict("records"):
        if row["job"] == job and not row["line"].endswith("/spare"):
            short[row["stock_code"]] += row["short"]
            order_by.add(row["order_by"])
    assert "; ".join(f"{count:f} {code}" for code, count in short.items()) == EXPECTED[job]["short after answers"]
    assert "; ".join(order_by) == EXPECTED[job]["order by"]
    coming: Counter[str] = Counter()
    for row in answered.promises.to_dict("records"):
        if row["job"] == job and row["source"] != "shelf" and not row["line"].endswith("/spare"):
            way = f"on order {row['order']}" if row["source"] == "order" else f"from {row['depot']}"
            coming[f"{row['stock_code']} {way}"] += row["quantity"]
    expected = set(filter(None, EXPECTED[job]["must come from elsewhere"].split("; ")))
    assert {f"{count:f} {what}" for what, count in coming.items()} == expected


@pytest.mark.parametrize("folder", ["received", "clean"])
@pytest.mark.parametrize("table", ["end_accessories", "joint_accessories", "location_accessories"])
def test_the_owners_rule_sheets_are_the_default_book_and_the_owners_own_rows(folder: str, table: str) -> None:
    default = [{name: cell for name, cell in row.items() if name != "confirmed"} for row in rows(_default(table))]
    owners = rows(DEMO / folder / f"rules_{table}.csv")
    assert owners[: len(default)] == default
    own = owners[len(default) :]
    assert own
    assert all(row["rule"].startswith("OWN-") for row in own)


def _default(table: str) -> Path:
    return TABLES / f"rules_{table}.csv"


def test_phases_that_are_no_phases_are_refused_with_row_and_column(tmp_path: Path) -> None:
    """Trap T40."""
    shutil.copytree(DEMO / "clean", tmp_path / "sheets")
    schedule = tmp_path / "sheets" / "schedule.csv"
    good = schedule.read_text(encoding="utf-8")
    doubtful = (DEMO / "phases_in_doubt.csv").read_text(encoding="utf-8").partition("\n")[2]
    schedule.write_text(good + doubtful, encoding="utf-8")
    last = good.count("\n")
    asked = [one for one in read_book(read_raw_book(tmp_path / "sheets")).questions if one.column == "phases"]
    found = [(one.row - last, one.read, one.severity) for one in asked]
    assert found == [(1, "0", "refuse"), (2, "-1", "refuse"), (3, "", "refuse"), (4, "AB0", "refuse")]
