"""``manage.py look_ahead``: pieces whose date comes near, and the jobs that could use them in time."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.calculation.quantities import as_decimal
from kitting.management.books import refused_in_words
from kitting.management.commands.plan import iso_date
from kitting.management.in_columns import in_columns
from kitting.selectors.lots import uses_ahead


class Command(BaseCommand):
    """List what expires within 30, 60 and 90 days."""

    help = "List pieces that expire within 30, 60 and 90 days, whom they are promised to, and who could use them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--as-of", type=iso_date, required=True, help="the day, YYYY-MM-DD")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
        rows = [
            ("within", "use by", "stock code", "lot", "depot", "place", "pieces", "promised to", "could be used by")
        ]
        for use in uses_ahead(today=options["as_of"]):
            one = use.ageing.lying
            date_text = one.use_by.isoformat() if one.use_by else ""
            held = f"{one.place} (on hold)" if one.hold or one.place_kind == "hold" else one.place
            rows.append(
                (use.ageing.within, date_text, one.stock_code, one.lot or "unknown", one.depot, held,
                 str(as_decimal(one.quantity)), ", ".join(use.promised_to), ", ".join(use.could_use))
            )  # fmt: skip
        self.stdout.write(in_columns(rows) if len(rows) > 1 else "Nothing expires within 90 days.")
