"""Whether the records are there at all."""

from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.utils import OperationalError

from inventory.errors import Refusal


def require_books() -> None:
    """Refuse to go on where the database is not there or not set up for this version.

    Raises:
        Refusal: ``no-books``.
    """
    try:
        executor = MigrationExecutor(connection)
        is_behind = bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
    except OperationalError as error:
        raise Refusal("no-books", f"The records can't be reached: {error}.", {}) from error
    if is_behind:
        raise Refusal("no-books", "The records are not set up for this version: run manage.py migrate.", {})
