"""A backup restores equal books, on the same database or the other one; a damaged one is refused."""

import gzip
import hashlib
import json
import os
import re
import subprocess
import sys
from concurrent.futures import Future, ThreadPoolExecutor, wait
from pathlib import Path

import pytest
from bag_stores import MORNING
from django.db import connection, transaction
from warehouse import Warehouse

from inventory.models import Action, Depot
from jobs.models import Job
from kitting.errors import Refusal
from kitting.models import Picture
from kitting.models.pictures import AT_POSITION, JPEG
from kitting.services import backup_books
from kitting.services.backup_books import back_up, books_digest, restore

pytestmark = pytest.mark.django_db(transaction=True)  # both: so one worker runs them, and makes what they share once
ROOT = Path(__file__).resolve().parents[3]
PLANNED_DEMO = """
import django
django.setup()
from bag_stores import Stores, demo_sheets
from django.core.management import call_command
from record_books import load
call_command("migrate", verbosity=0)
load(demo_sheets())
Stores().plan()
"""


def python(books: dict[str, str], *words: str) -> subprocess.CompletedProcess[str]:
    """Run Python in a process of its own on these books."""
    environment = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "KITTING_DATA")}
    environment |= {"PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests" / "support")]), **books}
    command = [sys.executable, *words]
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=False, cwd=ROOT)


def manage(books: dict[str, str], *words: str) -> subprocess.CompletedProcess[str]:
    """Run a command of ours there."""
    return python(books, str(ROOT / "manage.py"), *words)


def done(books: dict[str, str], *words: str) -> str:
    made = manage(books, *words)
    assert made.returncode == 0, made.stderr
    return made.stdout


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Books in a SQLite file with the demo, its plan applied, and a backup beside them."""
    folder = tmp_path_factory.mktemp("kept")
    books = {"KITTING_DATA": str(folder)}
    made = python({**books, "DJANGO_SETTINGS_MODULE": "kitting.server.settings"}, "-c", PLANNED_DEMO)
    assert made.returncode == 0, made.stderr
    return {**books, "digest": done(books, "backup", str(folder / "books.gz")).split()[-1].rstrip(".")}


def test_restored_books_are_equal_by_digest_on_either_database(kept: dict[str, str], tmp_path: Path) -> None:
    """On PostgreSQL this is the way from one database to the other."""
    books, file = {"KITTING_DATA": str(tmp_path)}, str(Path(kept["KITTING_DATA"]) / "books.gz")
    server = os.environ.get("DATABASE_URL")
    if server:
        with connection.cursor() as cursor:
            cursor.execute("CREATE DATABASE restored_books")
        books = {"DATABASE_URL": re.sub(r"/[^/]*$", "/restored_books", server)}
    done(books, "migrate", "--verbosity", "0")
    assert kept["digest"] in done(books, "restore", file)
    done(books, "verify_events")
    assert kept["digest"] in done(books, "backup", str(tmp_path / "again.gz"))
    assert "not empty" in manage(books, "restore", file).stderr
    assert "exists already" in manage(kept, "backup", file).stderr


def test_a_damaged_backup_is_refused_and_leaves_nothing_behind(kept: dict[str, str], tmp_path: Path) -> None:
    whole = (Path(kept["KITTING_DATA"]) / "books.gz").read_bytes()
    head, first, *lines, tail = gzip.decompress(whole).splitlines(keepends=True)
    damaged = {
        "changed": gzip.compress(b"".join([head, first.replace(b"a", b"b"), *lines, tail])),
        "without its end": gzip.compress(b"".join([head, first, *lines])),
        "cut": whole[:-20],
        "text": gzip.compress(b"text"),
        "plain": b"".join([head, first, *lines, tail]),
    }
    for name, content in damaged.items():
        (tmp_path / name).write_bytes(content)
        with pytest.raises(Refusal) as refused:
            restore(path=tmp_path / name)
        assert refused.value.code == "backup-unreadable", name
    assert not Depot.objects.exists()
    (tmp_path / "whole").write_bytes(whole)
    assert restore(path=tmp_path / "whole") == kept["digest"]
    assert Depot.objects.count() == 3


def test_a_backup_is_of_one_moment_whatever_is_booked_meanwhile(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Somebody receives pieces when the first record is written."""
    warehouse = Warehouse()
    warehouse.receive(4)
    before = books_digest()
    write, received = backup_books._line, list[Future[object]]()

    def receive() -> None:
        warehouse.receive(2)
        connection.close()

    with ThreadPoolExecutor(1) as other:

        def line(record: dict[str, object]) -> bytes:
            if not received:
                received.append(other.submit(receive))
                wait(received, timeout=1)  # on SQLite they wait until the backup is done
            return write(record)

        monkeypatch.setattr(backup_books, "_line", line)
        assert back_up(path=tmp_path / "books") == before
        received[0].result(30)
    monkeypatch.undo()
    assert books_digest() != before


def test_a_backup_that_can_not_be_written_or_is_of_another_version_is_told_in_words(tmp_path: Path) -> None:
    job = Job.objects.create(job="J1", depot="N")
    with pytest.raises(Refusal, match="can't be written: No such file or directory; there is no backup"):
        back_up(path=tmp_path / "nowhere" / "books")
    back_up(path=tmp_path / "books")
    job.delete()
    head, *lines, _ = gzip.decompress((tmp_path / "books").read_bytes()).splitlines(keepends=True)
    renamed = [line.replace(b'"title"', b'"heading"') for line in lines]
    digest = hashlib.sha256(b"".join(renamed)).hexdigest()
    tail = json.dumps({"digest": digest}).encode() + b"\n"
    (tmp_path / "newer").write_bytes(gzip.compress(b"".join([head, *renamed, tail])))
    with pytest.raises(Refusal, match="newer holds the books of another version"):
        restore(path=tmp_path / "newer")
    assert not Job.objects.exists()


@pytest.mark.django_db
def test_a_backup_brings_pictures_back_byte_for_byte(tmp_path: Path) -> None:
    before = transaction.savepoint()
    job = Job.objects.create(job="J1", depot="N")
    content = bytes(range(256))
    facts = {
        "job": job,
        "shows": AT_POSITION,
        "structure": "A1",
        "position": "a",
        "media_type": JPEG,
        "digest": "0" * 64,
    }
    for number in "12":
        action = Action.objects.create(number=number, by="M. Osei", at=MORNING)
        Picture.objects.create(action=action, content=content, small=b"\0", by="M. Osei", at=MORNING, **facts)
    digest = back_up(path=tmp_path / "books")
    transaction.savepoint_rollback(before)
    assert restore(path=tmp_path / "books") == digest
    assert {(bytes(one.content), bytes(one.small)) for one in Picture.objects.all()} == {(content, b"\0")}
