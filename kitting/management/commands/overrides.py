"""``manage.py overrides``: everything that somebody overrode, with names, reason and moment."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.management.books import refused_in_words
from kitting.management.commands.trace import moment
from kitting.management.in_columns import in_columns
from kitting.selectors.overrides import overrides


class Command(BaseCommand):
    """List the overrides of a time."""

    help = "List pins, stand-ins, reserve, holds let go, dates extended, short issues and counts, with who and why."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--since", type=moment, help="from this moment on, such as 2026-03-02T15:00 (UTC)")
        parser.add_argument("--until", type=moment, help="up to this moment")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
        rows = [("at (UTC)", "what", "of", "by", "asked by", "reason")]
        rows += [
            (f"{one.at:%Y-%m-%d %H:%M}", one.what, one.subject, one.by, one.asked_by, one.reason)
            for one in overrides(since=options["since"], until=options["until"])
        ]
        self.stdout.write(in_columns(rows) if len(rows) > 1 else "Nothing was overridden.")
