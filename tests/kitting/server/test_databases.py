"""Where the records lie, and what both databases must do for them."""

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db import IntegrityError, OperationalError, connection, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.utils import ConnectionHandler
from pytest_django import DjangoDbBlocker

from kitting.server.settings import BASE_DIR, books


def test_records_lie_in_a_file_until_a_server_is_named() -> None:
    assert books({})["NAME"] == BASE_DIR / ".kitting.sqlite3"
    assert books({"KITTING_DATA": "/srv/books"})["NAME"] == Path("/srv/books/kitting.sqlite3")
    named = books({"DATABASE_URL": "postgres://stock@books.example:5433/kits", "KITTING_DATA": "/srv/books"})
    assert named["ENGINE"] == "django.db.backends.postgresql"
    assert (named["USER"], named["HOST"], named["PORT"], named["NAME"]) == ("stock", "books.example", 5433, "kits")
    with pytest.raises(ImproperlyConfigured, match="must name a PostgreSQL server"):
        books({"DATABASE_URL": "mysql://stock@books.example/kits"})


@pytest.fixture
def two_desks(tmp_path: Path, django_db_blocker: DjangoDbBlocker) -> Iterator[list[BaseDatabaseWrapper]]:
    """Two connections to one SQLite file, set as the settings set it, whatever database the run is on."""
    one = books({"KITTING_DATA": str(tmp_path)})
    with django_db_blocker.unblock():
        desks = ConnectionHandler({"default": one, "other": one})
        yield desks.all()
        desks.close_all()


def begin(desk: BaseDatabaseWrapper) -> None:
    """Begin as ``transaction.atomic`` does."""
    desk.set_autocommit(autocommit=False, force_begin_transaction_with_broken_autocommit=True)


def test_a_second_writer_on_sqlite_waits_from_its_first_line_and_a_reader_does_not(
    two_desks: list[BaseDatabaseWrapper],
) -> None:
    first, second = two_desks
    with first.cursor() as cursor:
        settings = [cursor.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "busy_timeout")]
        cursor.execute("CREATE TABLE bin (pieces integer)")
    assert settings == ["wal", 20_000]
    begin(first)
    with second.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout = 0")  # so that the wait shows at once
        assert cursor.execute("SELECT count(*) FROM bin").fetchone() == (0,)
    with pytest.raises(OperationalError, match="locked"):
        begin(second)
    first.rollback()
    first.set_autocommit(autocommit=True)
    begin(second)
    second.rollback()


@pytest.mark.django_db(transaction=True)
def test_each_desk_sees_what_another_booked_on_the_database_that_was_asked_for() -> None:
    assert connection.vendor == ("postgresql" if os.environ.get("DATABASE_URL") else "sqlite")

    def count() -> int:
        try:
            with connection.cursor() as cursor:
                cursor.execute("SELECT count(*) FROM bin")
                return int(cursor.fetchone()[0])
        finally:
            connection.close()

    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE bin (pieces integer)")
        try:
            with transaction.atomic(), ThreadPoolExecutor(1) as desk:
                cursor.execute("INSERT INTO bin VALUES (1)")
                before = desk.submit(count).result(timeout=30)
            with ThreadPoolExecutor(1) as desk:
                after = desk.submit(count).result(timeout=30)
        finally:
            cursor.execute("DROP TABLE bin")
    assert (before, after) == (0, 1)


@pytest.mark.django_db
def test_a_piece_cannot_lie_in_a_bin_that_is_not_there() -> None:
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE bin (code varchar(9) PRIMARY KEY)")
        cursor.execute("CREATE TABLE piece (bin varchar(9) REFERENCES bin (code))")
        cursor.execute("INSERT INTO bin VALUES ('A-1')")
        cursor.execute("INSERT INTO piece VALUES ('A-1')")
        with pytest.raises(IntegrityError), transaction.atomic():
            cursor.execute("INSERT INTO piece VALUES ('A-2')")
        cursor.execute("SELECT count(*) FROM piece")
        assert cursor.fetchone() == (1,)
