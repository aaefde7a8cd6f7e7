"""What the commands that use the records share: they are there, a moment and a name, and words for what was done."""

import getpass
from datetime import UTC, datetime

from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.utils import OperationalError

from kitting.errors import Refusal
from kitting.services.load_sheets import Loaded
from kitting.services.upsert_rows import SheetChanges

_NAMED = 5


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


def now() -> datetime:
    """The moment, in UTC."""
    return datetime.now(UTC)


def user_name() -> str:
    """Who runs the command, as the system knows them; '' where it does not."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # no such user: KeyError before Python 3.13, OSError from then on
        return ""


def loaded_text(loaded: Loaded) -> str:
    """One line a sheet, one a changed schedule, and what else a planner should know."""
    lines = [line for one in loaded.sheets if (line := _sheet_line(one))]
    lines += [f"schedule {one.job}: revision {one.letter}, {one.changes}" for one in loaded.schedules if one.is_new]
    same = sum(not one.is_new for one in loaded.schedules)
    lines += [f"schedule: {same} {'job' if same == 1 else 'jobs'} unchanged"] if same else []
    lines += [f"rules {told}" for told in loaded.rules]
    lines += [f"answers: {loaded.answers} kept"] if loaded.answers else []
    if loaded.unknown_lots:
        lines.append(f"tracked by lot, and of some pieces no lot is known: {', '.join(loaded.unknown_lots)}")
    return "\n".join([*lines, "Stored." if loaded else "Nothing has changed."])


def _sheet_line(one: SheetChanges) -> str:
    told = [
        f"{count} {word}"
        for count, word in (
            (len(one.new), "new"),
            (len(one.changed), "changed"),
            (one.same, "same"),
            (len(one.withdrawn), "withdrawn"),
        )
        if count
    ]
    if one.staying:
        named = ", ".join(one.staying[:_NAMED]) + (" …" if len(one.staying) > _NAMED else "")
        told.append(f"{len(one.staying)} not on the sheet, staying ({named})")
    return f"{one.sheet}: {', '.join(told)}" if told else ""
