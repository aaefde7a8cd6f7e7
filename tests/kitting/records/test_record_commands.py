"""``manage.py load``, ``dump`` and ``plan`` without sheets: what a person types, gets, and is refused."""

import io
from pathlib import Path

import pandas as pd
import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from record_books import everything, rows_in_every_table

from kitting.models import Event
from kitting.spreadsheets.raw_writing import write_raw_book
from kitting.spreadsheets.reading import read_raw_book

pytestmark = pytest.mark.django_db


def run(*words: object) -> str:
    out = io.StringIO()
    call_command(*map(str, words), stdout=out)
    return out.getvalue()


def refusal(*words: object) -> str:
    said = io.StringIO()
    with pytest.raises(SystemExit) as stopped:
        call_command(*map(str, words), stderr=said)
    assert stopped.value.code == 2
    return said.getvalue()


@pytest.fixture
def sheets(tmp_path: Path) -> Path:
    write_raw_book(everything(), tmp_path / "sheets")
    return tmp_path / "sheets"


def test_loading_tells_what_was_new_and_then_that_nothing_has_changed(sheets: Path, tmp_path: Path) -> None:
    said = run("load", sheets, "--by", "R. Tolley").splitlines()
    assert "jobs: 2 new" in said
    assert "schedule J1: revision A, 4 new" in said
    assert said[-1] == "Stored."
    assert Event.objects.get(number=1).by == "R. Tolley"
    assert Event.objects.get(number=1).subject == "sheets"
    again = run("load", sheets)
    assert "schedule: 1 job unchanged" in again
    assert again.endswith("Nothing has changed.\n")
    write_raw_book(everything(jobs="job,title,depot\nJ1,Other,N"), tmp_path / "later")
    later = run("load", tmp_path / "later")
    assert "jobs: 1 changed, 1 not on the sheet, staying (J2)" in later


def test_a_schedule_may_come_alone_once_the_books_hold_the_rest(sheets: Path, tmp_path: Path) -> None:
    (tmp_path / "alone").mkdir()
    text = (sheets / "schedule.csv").read_text(encoding="utf-8")
    (tmp_path / "alone" / "schedule.csv").write_text(text.replace("J1,4,S12,ABC", "J1,4,S12,AB"), encoding="utf-8")

    assert "missing sheets: depots" in refusal("load", tmp_path / "alone")
    run("load", sheets)
    told = run("load", tmp_path / "alone")

    assert "schedule J1: revision B, 1 changed, 3 same" in told
    assert told.endswith("Stored.\n")
    assert "Nothing has changed." in run("load", tmp_path / "alone")


def test_questions_are_written_and_nothing_is_stored(sheets: Path, tmp_path: Path) -> None:
    (sheets / "schedule.csv").write_text((sheets / "schedule.csv").read_text().replace("J1,1,S12", "J1,1,S13"))
    before = rows_in_every_table()
    said = refusal("load", sheets, "--out", tmp_path / "asked")
    assert "1 question must be settled first; nothing was stored." in said
    assert "schedule row 2, system: S13: no system of this code is declared (did you mean" in said
    assert sorted(path.name for path in (tmp_path / "asked").iterdir()) == ["questions.csv", "questions.xlsx"]
    assert refusal("load", sheets, "--out", tmp_path / "asked").endswith(f"All of them are in {tmp_path / 'asked'}.\n")
    assert rows_in_every_table() == before
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("keep")
    assert "holds other things than questions" in refusal("load", sheets, "--out", tmp_path / "mine")


def test_a_dump_is_noted_with_its_digest_and_never_takes_the_place_of_something(sheets: Path, tmp_path: Path) -> None:
    run("load", sheets)
    told = run("dump", tmp_path / "out")
    (noted,) = Event.objects.filter(name="sheets written")
    assert (noted.subject, noted.data["digest"]) == ("out", read_raw_book(tmp_path / "out").digest)
    assert told.endswith(f"; digest {noted.data['digest']}.\n")
    assert "is there already" in refusal("dump", tmp_path / "out")
    assert "can't be written" in refusal("dump", sheets / "jobs.csv" / "out.xlsx")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "sheets"]


def test_a_plan_of_the_records_is_that_of_their_dump_but_for_who_sees_to_what_is_short(
    sheets: Path, tmp_path: Path
) -> None:
    run("load", sheets)
    run("dump", tmp_path / "dump")
    day = ("--as-of", "2026-03-02", "--job", "J1")
    run("plan", *day, "--out", tmp_path / "records")
    run("plan", tmp_path / "dump", *day, "--out", tmp_path / "sheets plan")

    def written(folder: Path) -> dict[str, bytes]:
        files = (path for path in folder.rglob("*") if path.is_file() and path.name != "timings.json")
        return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}

    records, files = written(tmp_path / "records"), written(tmp_path / "sheets plan")
    assert len(records) > 10
    assert records.keys() == files.keys()
    # Who sees to a short line, and since when, only the records know.
    cared = [name for name in records if records[name] != files[name]]
    assert sorted(cared) == [
        "documents/shortage-report.csv",
        "documents/shortage-report.pdf",
        "documents/shortage-report.xlsx",
        "shortages.csv",
    ]
    known, told = (pd.read_csv(io.BytesIO(one["shortages.csv"]), dtype=str) for one in (records, files))
    assert known.drop(columns=["owner", "age_days"]).equals(told)


def test_a_plan_of_empty_records_a_what_if_of_nothing_and_a_layout_alone_are_refused_in_words(
    tmp_path: Path,
) -> None:
    day = ("--as-of", "2026-03-02", "--out", tmp_path / "out")
    assert "no job J1" in refusal("plan", *day, "--job", "J1")
    assert "Say what would change: --move" in refusal("what_if", "--as-of", "2026-03-02")
    with pytest.raises(CommandError, match="name the INPUT too"):
        run("plan", *day, "--layout", "network_runs.toml", "list.csv")


@pytest.mark.parametrize(
    "words",
    [
        ("load", "nowhere"),
        ("dump", "nowhere"),
        ("verify_events",),
        ("what_if", "--as-of", "2026-03-02"),
        ("look_ahead", "--as-of", "2026-03-02"),
        ("trace", "EL-1", "L-1"),
        ("backup", "nowhere.gz"),
        ("restore", "nowhere.gz"),
    ],
)
def test_records_of_another_version_are_refused_in_words(words: tuple[str, ...]) -> None:
    (last,) = MigrationLoader(connection).graph.leaf_nodes("kitting")
    MigrationRecorder(connection).record_unapplied(*last)
    assert "run manage.py migrate" in refusal(*words)
    with pytest.raises(CommandError, match=r"run manage\.py migrate"):
        call_command("rebuild_balances")
