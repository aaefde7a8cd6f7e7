"""Books of their own for trials and measurements, so that the records are not touched."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.db import connection


@contextmanager
def own_books() -> Iterator[None]:
    """A new, migrated database beside the one of the settings while the block lasts, and the connection to it."""
    with tempfile.TemporaryDirectory(prefix="books-") as folder:
        if connection.vendor == "sqlite":
            connection.settings_dict["TEST"]["NAME"] = str(Path(folder) / "kitting.sqlite3")
        real = connection.settings_dict["NAME"]
        connection.creation.create_test_db(verbosity=0, autoclobber=True)
        try:
            yield
        finally:
            connection.creation.destroy_test_db(str(real), verbosity=0)
