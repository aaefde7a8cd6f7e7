"""``manage.py plan``: planning sheets or the records in; kits, shortages, a reorder sheet and papers out."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from kitting.management.books import refused_in_words
from kitting.management.foreign_list import SAID
from kitting.management.plan_run import Order, run, summary_text


def iso_date(text: str) -> date:
    """A date as YYYY-MM-DD.

    Raises:
        ArgumentTypeError: the text is no such date.
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is not a date; write year-month-day, such as 2026-03-02") from None


class Command(BaseCommand):
    """Plan every job of a workbook, of a folder of CSV files, or of the records together."""

    help = (
        "Plan the jobs of a workbook, a folder of CSV files or the records: kits, shortages, a reorder sheet, papers."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "input",
            type=Path,
            nargs="?",
            help="workbook (.xlsx), or folder of CSV files named after the sheets; without it the records are planned",
        )
        parser.add_argument("--as-of", type=iso_date, required=True, help="day of planning, YYYY-MM-DD")
        parser.add_argument("--out", type=Path, required=True, help="folder to write: new, empty or a former output")
        parser.add_argument("--job", nargs="+", default=[], help="print the papers of these jobs only")
        parser.add_argument(
            "--earlier", type=Path, metavar="DIR", help="an earlier plan's output: its pieces stay where they can"
        )
        parser.add_argument(
            "--layout",
            type=Path,
            nargs=2,
            metavar=("LAYOUT", "LIST"),
            help="column layout (.toml) and the foreign list (.csv, .xlsx) that it adopts; INPUT has the rest",
        )
        parser.add_argument("--said", **SAID)
        parser.add_argument(
            "--most-kits",
            action="store_true",
            help="also tell how many kits could be completed if only their number counted, and who would go without",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        if options["layout"] and options["input"] is None:
            raise CommandError("--layout adopts a list to join INPUT; name the INPUT too.")
        order = Order(
            source=options["input"],
            as_of=options["as_of"],
            out=options["out"],
            jobs=tuple(options["job"]),
            foreign=tuple(options["layout"]) if options["layout"] else None,
            said=dict(options["said"]),
            earlier=options["earlier"],
            count_most=options["most_kits"],
        )
        with refused_in_words(self.stderr):
            planned = run(order).plan
        self.stdout.write(summary_text(planned))
        self.stdout.write(f"Tables and papers are in {order.out}.")
