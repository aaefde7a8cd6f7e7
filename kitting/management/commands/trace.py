"""``manage.py trace``: everything the books know of a lot, now or at a past moment."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import UTC, datetime
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from inventory.selectors.finding import items_by_code
from inventory.selectors.trace import trace
from kitting.calculation.quantities import as_decimal
from kitting.management.books import refused_in_words
from kitting.selectors.lots import claims


def moment(text: str) -> datetime:
    """A moment, in UTC where the text names no zone.

    Raises:
        ArgumentTypeError: the text is no such moment.
    """
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is no moment; write it as 2026-03-02T15:00") from None
    return found if found.tzinfo else found.replace(tzinfo=UTC)


class Command(BaseCommand):
    """Trace a lot: received, where it lies, where it ended, holds, and whom it is promised to."""

    help = "Say where all pieces of a lot are or went, and whom they are promised to; the sums must meet."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("code", help="stock code")
        parser.add_argument("lot", help="lot number; '' for pieces whose lot nobody knows")
        parser.add_argument("--at", type=moment, help="as of this past moment, such as 2026-03-02T15:00 (UTC)")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            item = items_by_code([options["code"]])[options["code"]]
            found = trace(item=item, number=options["lot"], as_of=options["at"])
        unit = item.stock_unit
        lines = [f"received: {as_decimal(found.received)} {unit}"]
        lines += [f"at {place}: {as_decimal(pieces)} {unit}" for place, pieces in found.places.items()]
        lines += [f"{ending}: {as_decimal(pieces)} {unit}" for ending, pieces in found.endings.items()]
        lines.append(f"not accounted for: {as_decimal(found.gap)} {unit}")
        lines += [f"on hold since {hold.placed_at:%Y-%m-%d %H:%M} UTC: {hold.reason}" for hold in found.holds]
        lines += [
            f"promised: {as_decimal(one.quantity)} {unit} at {one.place} to {one.line}"
            for one in claims(stock_code=item.stock_code, lot=options["lot"], as_of=options["at"])
        ]
        self.stdout.write("\n".join(lines))
