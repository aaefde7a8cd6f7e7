"""``manage.py recheck``: installed parts that today's rules would refuse, and those that nobody can check."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.calculation.quantities import as_decimal
from kitting.management.books import refused_in_words
from kitting.management.commands.plan import iso_date
from kitting.management.in_columns import in_columns
from kitting.selectors.recheck_installed import recheck_installed
from kitting.selectors.sheets import one_moment

HEADERS = ("job", "end", "phase", "part", "stock code", "lot", "pieces", "answer", "check", "why")


class Command(BaseCommand):
    """Check what is on the line against today's rules, items and cables."""

    help = "List installed parts that today's rules, items and cables would refuse, and those that can't be checked."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--as-of", type=iso_date, help="with the rules that are live on this day, YYYY-MM-DD")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr), one_moment():
            require_books()
            found = recheck_installed(options["as_of"])
        rows = [
            (one.job, one.end, one.phase, one.slot, one.stock_code, one.lot or "unknown",
             str(as_decimal(one.quantity)), one.state, one.check, one.sentence)
            for one in found.rows
        ]  # fmt: skip
        if rows:
            self.stdout.write(in_columns([HEADERS, *rows]))
        listed = as_decimal(sum(one.quantity for one in found.rows))
        self.stdout.write(f"{as_decimal(found.checked)} pieces on the line, {listed} of them to be looked at.")
