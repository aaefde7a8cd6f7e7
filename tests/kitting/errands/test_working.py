"""Long work beside the pages: done once, begun again after a kill, and never in silence."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.conf import settings

from kitting.errands.keeping import packed_files, packed_sheets, unpacked_sheets
from kitting.errands.loading import LOOK
from kitting.errands.planning import PLAN
from kitting.errands.working import KINDS, do_next
from kitting.models import Errand
from kitting.models.errands import DONE, FAILED, REFUSED, RUNNING, WAITING
from kitting.services.ask_errands import MOST_TRIES, SILENCE, ask_errand, take_up
from kitting.spreadsheets.reading import read_raw_book

AT = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
LINES = "job,title,depot\nJ1,Alder Loop,N\n"


def asked(text: str = LINES, name: str = "jobs.csv") -> Errand:
    content = packed_files([(name, text.encode())])
    return ask_errand(kind=LOOK, by="R. Tolley", at=AT, given={}, file_name=name, file=content)


@pytest.mark.django_db
def test_errands_are_done_one_after_the_other_in_the_order_in_which_they_were_asked() -> None:
    first, second = asked(), asked("job\n", "notes.csv")

    assert do_next()
    assert [one.state for one in Errand.objects.order_by("pk")] == [REFUSED, WAITING]
    assert do_next()
    assert not do_next()
    assert "missing sheets" in Errand.objects.get(pk=first.pk).message
    assert Errand.objects.get(pk=second.pk).result["not_read"][0]["sheet"] == "notes"


@pytest.mark.django_db
def test_an_errand_whose_worker_gave_no_sign_of_life_is_begun_again_but_not_for_ever() -> None:
    errand = asked()
    assert take_up() == errand
    assert take_up() is None  # its worker is alive

    for _ in range(MOST_TRIES - 1):
        Errand.objects.update(beat=datetime.now(UTC) - 2 * SILENCE)
        assert take_up() == errand
    Errand.objects.update(beat=datetime.now(UTC) - 2 * SILENCE)
    assert take_up() is None
    errand.refresh_from_db()
    assert (errand.state, errand.message) == (FAILED, "It was begun 3 times and never ended.")


@pytest.mark.django_db
def test_a_fault_of_ours_is_told_to_whoever_asked_and_ends_the_worker(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(errand: Errand) -> None:
        raise ZeroDivisionError(errand)

    monkeypatch.setattr("kitting.errands.working.KINDS", {**KINDS, LOOK: broken})
    errand = asked()
    with pytest.raises(ZeroDivisionError):
        do_next()
    errand.refresh_from_db()
    assert errand.state == FAILED
    assert "nothing was stored" in errand.message


@pytest.mark.django_db
def test_a_plan_of_empty_books_is_made_and_holds_no_job() -> None:
    errand = ask_errand(kind=PLAN, by="R. Tolley", at=AT, given={"as_of": "2026-03-02"})
    do_next()
    errand.refresh_from_db()
    assert (errand.state, errand.result["summary"]["jobs"]) == (DONE, [])


def test_sheets_that_are_kept_read_the_same_again() -> None:
    raw = read_raw_book(settings.BASE_DIR / "fixtures_demo" / "received")
    again = unpacked_sheets(packed_sheets(raw))
    assert again.digest == raw.digest
    assert [*again.sheets["schedule"].cells.index] == [*raw.sheets["schedule"].cells.index]


def test_a_worker_that_is_killed_loses_nothing_and_another_one_ends_its_errand(tmp_path: Path) -> None:
    environment = {**os.environ, "KITTING_DATA": str(tmp_path), "PYTHONPATH": str(settings.BASE_DIR)}
    environment.pop("DATABASE_URL", None)
    manage = [sys.executable, str(settings.BASE_DIR / "manage.py")]
    subprocess.run([*manage, "migrate", "-v0"], env=environment, check=True)
    many = LINES + "".join(f"X{number},Some title,N\n" for number in range(150_000))
    _store(tmp_path, packed_files([("jobs.csv", many.encode())]))

    with subprocess.Popen([*manage, "work"], env=environment) as worker:
        _wait_for(tmp_path, RUNNING)
        worker.send_signal(signal.SIGKILL)
    assert _state(tmp_path) == RUNNING
    _run(tmp_path, "UPDATE kitting_errand SET beat = ?", datetime.now(UTC) - timedelta(hours=1))
    subprocess.run([*manage, "work", "--until-done"], env=environment, check=True)
    assert _state(tmp_path) == REFUSED  # sheets are missing: that is an end, and it says so


def _run(folder: Path, statement: str, *values: object) -> list[tuple[str, ...]]:
    texts = [str(one) if isinstance(one, datetime) else one for one in values]
    with sqlite3.connect(folder / "kitting.sqlite3") as books:
        return books.execute(statement, texts).fetchall()


def _store(folder: Path, content: bytes) -> None:
    columns = "kind, asked_by, asked_at, given, file_name, file, state, stage, message, result, kept, tries"
    values = (LOOK, "R. Tolley", AT, "{}", "jobs.csv", content, WAITING, "", "", "{}", b"", 0)
    _run(folder, f"INSERT INTO kitting_errand ({columns}) VALUES ({', '.join('?' * len(values))})", *values)


def _state(folder: Path) -> str:
    return _run(folder, "SELECT state FROM kitting_errand")[0][0]


def _wait_for(folder: Path, state: str) -> None:
    for _ in range(600):
        if _state(folder) == state:
            return
        time.sleep(0.05)
    raise AssertionError(f"never {state}")
