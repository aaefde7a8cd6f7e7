"""Events and rule revisions are written once: the database itself refuses to change or delete them."""

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

_TABLES = {"kitting_event": "an event", "kitting_rulerevision": "a rule revision"}
_ACTS = ("UPDATE", "DELETE")


def add_triggers(_: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    for table, what in _TABLES.items():
        message = f"{what} is written once and never changed"
        if editor.connection.vendor == "postgresql":
            editor.execute(
                f"CREATE FUNCTION {table}_is_append_only() RETURNS trigger LANGUAGE plpgsql AS "
                f"$$BEGIN RAISE EXCEPTION '{message}' USING ERRCODE = 'integrity_constraint_violation'; END$$"
            )
            editor.execute(
                f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
                f"FOR EACH ROW EXECUTE FUNCTION {table}_is_append_only()"
            )
        else:
            for act in _ACTS:
                editor.execute(
                    f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
                )


def remove_triggers(_: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    for table in _TABLES:
        if editor.connection.vendor == "postgresql":
            editor.execute(f"DROP FUNCTION {table}_is_append_only() CASCADE")
        else:
            for act in _ACTS:
                editor.execute(f"DROP TRIGGER {table}_no_{act.lower()}")


class Migration(migrations.Migration):
    dependencies = [("kitting", "0001_initial")]

    operations = [migrations.RunPython(add_triggers, remove_triggers)]
