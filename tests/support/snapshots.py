"""Books that many tests begin with are made once a worker and then put back as they were; on SQLite only."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from django.db import connection


def made_once(name: str, make: Callable[[], object]) -> None:
    """Make something in the books, or put the books back as they were after it was made first.

    Whoever calls knows that the books are the same before it each time. Inside a transaction, or on another database,
    it is made anew.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        make()
        return
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
