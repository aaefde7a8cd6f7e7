"""Books that many tests begin with are made once a worker, and then put back as they were."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from hashlib import sha256
from pathlib import Path

from django.db import connection

_KEPT: set[str] = set()  # names of copies on the PostgreSQL server


def made_once(name: str, make: Callable[[], object]) -> None:
    """Make something in the books, or put the books back as they were after it was made first.

    Whoever calls knows that the books are the same before it each time. Inside a transaction it is made anew.
    """
    if connection.in_atomic_block:
        make()
    elif connection.vendor == "sqlite":
        _on_sqlite(name, make)
    else:
        _on_postgresql(name, make)


def _on_sqlite(name: str, make: Callable[[], object]) -> None:
    connection.ensure_connection()
    kept = Path(str(connection.settings_dict["NAME"])).with_suffix(f".{name}")
    known = kept.exists()
    if not known:
        make()
    with closing(sqlite3.connect(kept)) as copy:
        if known:
            copy.backup(connection.connection)
        else:
            connection.connection.backup(copy)


def _on_postgresql(name: str, make: Callable[[], object]) -> None:
    books = str(connection.settings_dict["NAME"])
    kept = f"{books}_{sha256(name.encode()).hexdigest()[:16]}"
    if kept in _KEPT:
        _copy(kept, books)
        return
    make()
    _copy(books, kept)
    _KEPT.add(kept)


def _copy(source: str, target: str) -> None:
    """Copy a database as the server copies a template: nobody may be connected to either."""
    connection.close()
    source, target = connection.ops.quote_name(source), connection.ops.quote_name(target)
    with connection._nodb_cursor() as cursor:
        cursor.execute(f"DROP DATABASE IF EXISTS {target} WITH (FORCE)")
        cursor.execute(f"CREATE DATABASE {target} TEMPLATE {source}")


def forget() -> None:
    """Take the copies away that stand on a server."""
    for kept in sorted(_KEPT):
        with connection._nodb_cursor() as cursor:
            cursor.execute(f"DROP DATABASE IF EXISTS {connection.ops.quote_name(kept)} WITH (FORCE)")
    _KEPT.clear()
