"""``manage.py plan``: what a person types, what they get, and how they are refused."""

import csv
import io
import json
import re
import shutil
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from kitting.spreadsheets.layout_file import read_layout

ROOT = Path(__file__).resolve().parents[3]
RECEIVED = ROOT / "fixtures_demo" / "received"
CLEAN = ROOT / "fixtures_demo" / "clean"
TABLES = {"requirements", "promises", "shortages", "reorder", "refusals", "cures", "questions", "totals"}


def plan(source: Path, out: Path, *more: str, as_of: str = "2026-03-02") -> str:
    printed = io.StringIO()
    call_command("plan", str(source), "--as-of", as_of, "--out", str(out), *more, stdout=printed)
    return printed.getvalue()


def refusal(source: Path, out: Path, *more: str) -> str:
    said = io.StringIO()
    with pytest.raises(SystemExit) as stopped:
        call_command("plan", str(source), "--as-of", "2026-03-02", "--out", str(out), *more, stderr=said)
    assert stopped.value.code == 2
    return said.getvalue()


def test_a_plan_writes_every_table_and_says_one_line_a_job(tmp_path: Path) -> None:
    printed = plan(RECEIVED, tmp_path / "out", "--job", "J04")
    assert {f"{name}.csv" for name in TABLES} <= {path.name for path in (tmp_path / "out").iterdir()}
    lines = printed.splitlines()
    said = {line.split()[0]: line for line in lines[1:13]}
    assert sorted(said) == [f"J{number:02d}" for number in range(1, 13)]
    assert re.split(" {2,}", said["J11"])[1:] == [
        "short",
        "2026-04-16",
        "3 EA15-15.3",
        "J11/JN4-b/position/ABC/elbow arrester",
    ]
    assert "questions to settle: 10" in printed


def test_the_same_sheets_give_the_same_bytes_whatever_was_there_before(tmp_path: Path) -> None:
    plan(CLEAN, tmp_path / "first", "--job", "J04")
    plan(RECEIVED, tmp_path / "second", "--job", "J02")
    plan(CLEAN, tmp_path / "second", "--job", "J04")

    def written(folder: Path) -> dict[str, bytes]:
        files = (path for path in folder.rglob("*") if path.is_file() and path.name != "timings.json")
        return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}

    assert written(tmp_path / "first") == written(tmp_path / "second")
    assert json.loads((tmp_path / "first" / "timings.json").read_text())["reading"] > 0


def test_the_papers_are_limited_to_the_wanted_jobs_and_the_plan_is_not(tmp_path: Path) -> None:
    plan(CLEAN, tmp_path / "out", "--job", "J04", "J07")
    papers = {path.name for path in (tmp_path / "out" / "documents").rglob("*") if path.is_file()}
    assert any("J04" in name for name in papers)
    assert not any("J03" in name for name in papers)
    assert len(json.loads((tmp_path / "out" / "plan.json").read_text())["jobs"]) == 12


def test_a_folder_that_no_plan_wrote_is_left_alone(tmp_path: Path) -> None:
    out = tmp_path / "mine"
    out.mkdir()
    (out / "letters.txt").write_text("keep")
    assert "letters.txt" in refusal(CLEAN, out)
    assert [path.name for path in out.iterdir()] == ["letters.txt"]
    assert [path.name for path in tmp_path.iterdir()] == ["mine"]


def test_a_former_plan_with_something_of_mine_in_it_is_left_alone(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "plan.json").write_text("{}")
    (out / "notes.docx").write_text("mine")
    assert "notes.docx" in refusal(CLEAN, out)


def test_a_place_that_can_not_be_written_is_said_in_words(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    assert "can't be written" in refusal(CLEAN, tmp_path / "file" / "out")


def test_a_missing_sheet_is_said_in_words_and_nothing_is_written(tmp_path: Path) -> None:
    shutil.copytree(CLEAN, tmp_path / "sheets")
    (tmp_path / "sheets" / "systems.csv").unlink()
    assert "systems" in refusal(tmp_path / "sheets", tmp_path / "out")
    assert [path.name for path in tmp_path.iterdir()] == ["sheets"]


def test_an_input_that_is_not_there_is_said_in_words(tmp_path: Path) -> None:
    assert "nowhere.xlsx" in refusal(tmp_path / "nowhere.xlsx", tmp_path / "out")


def test_a_job_that_is_not_in_the_sheets_is_said_in_words(tmp_path: Path) -> None:
    assert "J99" in refusal(CLEAN, tmp_path / "out", "--job", "J99")


@pytest.mark.parametrize("day", ["2026-02-30", "02/03/2026", "tomorrow"])
def test_a_day_that_is_no_date_is_said_in_words(tmp_path: Path, day: str) -> None:
    with pytest.raises(CommandError, match="is not a date; write year-month-day"):
        plan(CLEAN, tmp_path / "out", as_of=day)


def test_a_foreign_list_joins_the_sheets_by_its_column_layout(tmp_path: Path) -> None:
    layout = ROOT / "kitting" / "spreadsheets" / "layouts" / "network_runs.toml"
    run = dict.fromkeys(sorted(read_layout(layout).columns()), "")
    run |= {
        "run_id": "7",
        "from_location": "X1",
        "to_location": "X2",
        "from_kind": "transformer",
        "nominal_kv": "12.47",
    }
    run |= {"to_kind": "overhead_line", "phase_letters": "B", "conductor_size": "1/0", "conductor_size_unit": "AWG"}
    (tmp_path / "list.csv").write_text(f"{','.join(run)},colour\n{','.join(run.values())},red\n")
    printed = plan(CLEAN, tmp_path / "out", "--job", "J04", "--layout", str(layout), str(tmp_path / "list.csv"))
    said = next(line for line in printed.splitlines() if "r7-from" in line)
    assert "can't tell  no cutover" in said
    assert "colour" in (tmp_path / "out" / "questions.csv").read_text(encoding="utf-8")


def pieces(table: Path) -> str:
    """Pieces of all rows together."""
    with table.open(newline="", encoding="utf-8") as rows:
        return str(sum(Decimal(row["quantity"]) for row in csv.DictReader(rows)))


def test_a_plan_beside_an_earlier_one_says_how_many_pieces_moved(tmp_path: Path) -> None:
    plan(CLEAN, tmp_path / "monday", "--job", "J04")
    printed = plan(
        CLEAN, tmp_path / "tuesday", "--job", "J04", "--earlier", str(tmp_path / "monday"), as_of="2026-03-03"
    )
    moved = (tmp_path / "tuesday" / "moved.csv").read_text().splitlines()
    assert moved[0] == "line,job,quantity,had,has,why"
    assert len(moved) > 1
    told = json.loads((tmp_path / "tuesday" / "plan.json").read_text())["earlier"]
    assert told["moved"] == pieces(tmp_path / "tuesday" / "moved.csv")
    assert told["pieces"] == pieces(tmp_path / "monday" / "promises.csv")
    assert f"{told['moved']} of {told['pieces']} pieces promised before are not promised from there" in printed
    assert "earlier" not in json.loads((tmp_path / "monday" / "plan.json").read_text())
    assert not (tmp_path / "monday" / "moved.csv").exists()
    assert "so it is no earlier plan" in refusal(CLEAN, tmp_path / "other", "--earlier", str(tmp_path / "nowhere"))


def test_tiers_are_a_policy_and_the_most_kits_are_told_beside_a_plan_that_stays_as_it_is(tmp_path: Path) -> None:
    alone = plan(CLEAN, tmp_path / "alone", "--job", "J04")
    beside = plan(CLEAN, tmp_path / "beside", "--job", "J04", "--most-kits")
    assert "What if only their number counted: 11 kits, not 11 (most kits overall; proven)." in beside
    assert "What if" not in alone
    assert (tmp_path / "beside" / "most_kits.csv").read_text() == (
        "job,staged_by,completed_by_plan,completed_by_most_kits\n"
    )
    for name in ("plan.json", "promises.csv"):
        assert (tmp_path / "alone" / name).read_bytes() == (tmp_path / "beside" / name).read_bytes()
    shutil.copytree(CLEAN, tmp_path / "sheets")
    with (tmp_path / "sheets" / "policies.csv").open("a") as policies:
        policies.write("tier weeks,4\n")
    assert "Who gets the stock: tiers of 4 weeks; proven." in plan(
        tmp_path / "sheets", tmp_path / "beside", "--job", "J04"
    )
    promising = json.loads((tmp_path / "beside" / "plan.json").read_text())["promising"]
    assert (promising["policy"], promising["status"], promising["gap"]) == ("tiers of 4 weeks", "proven", 0)
    assert not (tmp_path / "beside" / "most_kits.csv").exists()


def test_what_a_layout_asks_for_is_said_with_the_list(tmp_path: Path) -> None:
    layout, runs, out = tmp_path / "dock.toml", tmp_path / "list.csv", tmp_path / "out"
    ends = '"from structure" = "{A}"\n"from position" = "a"\n"to structure" = "{B}"\n"to position" = "a"\n'
    layout.write_text(f'asked = ["job"]\n[schedule]\nrun = "{{No}}"\nsystem = "S20M"\nphases = "ABC"\n{ends}')
    runs.write_text("No,A,B\n77,D1,D2\n", encoding="utf-8")

    assert "the same in all its rows: job" in refusal(CLEAN, out, "--layout", str(layout), str(runs))
    with pytest.raises(CommandError, match="names no text"):
        plan(CLEAN, out, "--layout", str(layout), str(runs), "--said", "J05")
    plan(CLEAN, out, "--job", "J05", "--layout", str(layout), str(runs), "--said", "job=J05")
    assert "J05/r77" in (out / "requirements.csv").read_text(encoding="utf-8")
