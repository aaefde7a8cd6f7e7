"""Triggers that keep rows of a table as they were written, on SQLite and PostgreSQL."""

from collections.abc import Callable

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.state import StateApps

SQLITE_CHANGES = ("UPDATE", "DELETE")
# A table is emptied by TRUNCATE without a word to its rows, so PostgreSQL watches for that as well.
POSTGRESQL_CHANGES = (("ROW", "UPDATE OR DELETE"), ("STATEMENT", "TRUNCATE"))
FUNCTION = """
CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION USING MESSAGE = TG_TABLE_NAME || ' is append-only', ERRCODE = 'restrict_violation';
END $$
"""


def laying(vendor: str, table: str) -> list[str]:
    """Statements that make a table append-only."""
    if vendor == "sqlite":
        return [
            f"CREATE TRIGGER {table}_no_{change.lower()} BEFORE {change} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            for change in SQLITE_CHANGES
        ]
    triggers = (
        f"CREATE TRIGGER {table}_no_change_{level.lower()} BEFORE {change} ON {table} "
        f"FOR EACH {level} EXECUTE FUNCTION refuse_change()"
        for level, change in POSTGRESQL_CHANGES
    )
    return [FUNCTION, *triggers]


def lifting(vendor: str, table: str) -> list[str]:
    """Statements that take the triggers away again."""
    if vendor == "sqlite":
        return [f"DROP TRIGGER {table}_no_{change.lower()}" for change in SQLITE_CHANGES]
    return [f"DROP TRIGGER {table}_no_change_{level.lower()} ON {table}" for level, _ in POSTGRESQL_CHANGES]


def on_tables(
    statements: Callable[[str, str], list[str]], *tables: str
) -> Callable[[StateApps, BaseDatabaseSchemaEditor], None]:
    """A step of a migration that runs the statements for each table."""

    def run(_: StateApps, editor: BaseDatabaseSchemaEditor) -> None:
        for table in tables:
            for statement in statements(editor.connection.vendor, table):
                editor.execute(statement)

    return run
