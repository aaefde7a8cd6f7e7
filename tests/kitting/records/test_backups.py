"""A backup restores equal books, on the same database or the other one; a damaged one is refused."""

import gzip
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection

ROOT = Path(__file__).resolve().parents[3]
CLEAN = ROOT / "fixtures_demo" / "clean"


def manage(books: dict[str, str], *words: str) -> subprocess.CompletedProcess[str]:
    """Run a command in a process of its own on these books."""
    environment = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "KITTING_DATA")}
    command = [sys.executable, str(ROOT / "manage.py"), *words]
    return subprocess.run(command, env={**environment, **books}, capture_output=True, text=True, check=False, cwd=ROOT)


def done(books: dict[str, str], *words: str) -> str:
    made = manage(books, *words)
    assert made.returncode == 0, made.stderr
    return made.stdout


def new_file(folder: Path) -> dict[str, str]:
    folder.mkdir()
    return {"KITTING_DATA": str(folder)}


@pytest.mark.django_db(transaction=True)
def test_restored_books_are_equal_by_digest_on_either_database(tmp_path: Path) -> None:
    kept, other = new_file(tmp_path / "kept"), new_file(tmp_path / "other")
    server = os.environ.get("DATABASE_URL")
    if server:
        with connection.cursor() as cursor:
            cursor.execute("DROP DATABASE IF EXISTS restored_books")
            cursor.execute("CREATE DATABASE restored_books")
        other = {"DATABASE_URL": re.sub(r"/[^/]*$", "/restored_books", server)}
    for books in (kept, other):
        done(books, "migrate", "--verbosity", "0")
    done(kept, "load", str(CLEAN), "--by", "planner")
    done(kept, "apply", "--as-of", "2026-03-02", "--by", "planner")
    said = done(kept, "backup", str(tmp_path / "books.gz"))
    digest = said.split()[-1].rstrip(".")
    assert digest in done(other, "restore", str(tmp_path / "books.gz"))
    done(other, "verify_events")
    assert digest in done(other, "backup", str(tmp_path / "again.gz"))
    assert "not empty" in manage(other, "restore", str(tmp_path / "books.gz")).stderr
    assert "exists already" in manage(kept, "backup", str(tmp_path / "books.gz")).stderr
    done(other, "dump", str(tmp_path / "first"))
    done(kept, "dump", str(tmp_path / "second"))
    assert [path.read_bytes() for path in sorted((tmp_path / "first").iterdir())] == [
        path.read_bytes() for path in sorted((tmp_path / "second").iterdir())
    ]


def test_a_damaged_backup_is_refused_and_leaves_nothing_behind(tmp_path: Path) -> None:
    books = new_file(tmp_path / "books")
    done(books, "migrate", "--verbosity", "0")
    done(books, "load", str(CLEAN), "--by", "planner")
    done(books, "backup", str(tmp_path / "books.gz"))
    lines = gzip.decompress((tmp_path / "books.gz").read_bytes()).splitlines(keepends=True)
    empty = new_file(tmp_path / "empty")
    done(empty, "migrate", "--verbosity", "0")
    for name, content in {
        "changed": b"".join([lines[0], lines[1].replace(b"a", b"b"), *lines[2:]]),
        "cut": b"".join(lines[:-1]),
        "other": b"text",
    }.items():
        (tmp_path / name).write_bytes(gzip.compress(content))
        refused = manage(empty, "restore", str(tmp_path / name))
        assert refused.returncode == 2, name
        assert "damaged" in refused.stderr
    (tmp_path / "plain").write_bytes(b"".join(lines))
    assert "is no backup" in manage(empty, "restore", str(tmp_path / "plain")).stderr
    assert "digest" in done(empty, "restore", str(tmp_path / "books.gz"))
