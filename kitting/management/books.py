"""What the commands that use the records share: their sheets, a moment and a name, and words for what was done."""

import getpass
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime

from django.core.management.base import OutputWrapper

import inventory.errors
from inventory.management.books import require_books
from kitting.calculation.sheets.raw import RawBook
from kitting.errors import Refusal
from kitting.selectors.clock import books_now, day_at
from kitting.selectors.sheets import one_moment, sheets_from_records
from kitting.services.devices import COMMAND_LINE, Device, acting_on
from kitting.services.load_sheets import Loaded
from kitting.services.upsert_rows import SheetChanges

_NAMED = 5


def recorded_sheets(on: date | None = None) -> RawBook:
    """All sheets as the records have them at one moment, with the rules that are live on a day (today without one).

    Raises:
        Refusal: ``no-books``.
    """
    require_books()
    with one_moment():
        return sheets_from_records(on)


@contextmanager
def refused_in_words(stderr: OutputWrapper) -> Iterator[None]:
    """A refusal inside the block is said in words, and the command ends with status 2; events name the command line.

    Raises:
        SystemExit: with status 2.
    """
    try:
        with acting_on(Device(COMMAND_LINE)):
            yield
    except (Refusal, inventory.errors.Refusal) as refusal:
        stderr.write(refusal.message)
        raise SystemExit(2) from None


def now() -> datetime:
    """The moment for whatever a command books, in UTC, by the clock of the books."""
    return books_now()


def today_at(depot: str = "") -> date:
    """The day at a depot by the clock of the books; at any depot with a zone, where it has none or is not named."""
    return day_at(now(), depot)


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
