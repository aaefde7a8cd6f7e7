"""``manage.py trace``: everything the books know of a lot, now or at a past moment, also as a report to sign."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import UTC, date, datetime
from getpass import getuser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from inventory.selectors.finding import items_by_code
from inventory.selectors.trace import trace
from kitting.calculation.quantities import as_decimal
from kitting.documents.from_records import lot_trace_of
from kitting.documents.lot_trace import Days, LotTrace, lot_trace_csv, lot_trace_report, lot_trace_workbook
from kitting.documents.record_papers import moment_text
from kitting.management.books import now, refused_in_words
from kitting.management.printing import write_proven
from kitting.roles import Actor
from kitting.selectors.lots import claims
from kitting.services.note_looking import note_looking

REPORTS = (".pdf", ".xlsx", ".csv")


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


def day(text: str) -> date:
    """A day.

    Raises:
        ArgumentTypeError: the text is no such day.
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is no day; write it as 2026-03-02") from None


def out_file(text: str) -> Path:
    """A file to write the report to; its ending says how.

    Raises:
        ArgumentTypeError: another ending, or a folder that is not there.
    """
    path = Path(text)
    if path.suffix.lower() not in REPORTS:
        raise ArgumentTypeError(f"{text!r}: end the name in {', '.join(REPORTS)}")
    if not path.parent.is_dir():
        raise ArgumentTypeError(f"{text!r}: there is no folder {path.parent}")
    return path


class Command(BaseCommand):
    """Trace a lot: received, where it lies, where it ended, holds, and whom it is promised to."""

    help = "Say where all pieces of a lot are or went, and whom they are promised to; the sums must meet."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("code", help="stock code")
        parser.add_argument("lot", help="lot number; '' for pieces whose lot nobody knows")
        parser.add_argument("--at", type=moment, help="as of this past moment, such as 2026-03-02T15:00 (UTC)")
        parser.add_argument("--out", type=out_file, metavar="FILE", help="write the report: FILE.pdf, .xlsx or .csv")
        parser.add_argument(
            "--from", type=day, dest="first", help="name pieces of an unknown lot fitted from this day on"
        )
        parser.add_argument("--to", type=day, dest="last", help="up to this day")
        parser.add_argument("--place", default="", help="taken from this place, such as N/N-02-2")
        parser.add_argument("--why", default="", help="reason of the trace, for the report")

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
        who, subject = Actor(getuser(), frozenset()), f"{item} lot {options['lot'] or 'unknown'}"
        with refused_in_words(self.stderr):
            note_looking(subject=subject, actor=who, at=now())
            if options["out"]:
                asked = {"why": options["why"], "as_of": options["at"], "zone": UTC}
                days = Days(options["first"], options["last"], options["place"])
                report = lot_trace_of(item=item, lot=options["lot"], days=days, **asked)
                _write(report, options["out"], options["at"])
                self.stdout.write(f"written: {options['out']}")


def _write(report: LotTrace, path: Path, as_of: datetime | None) -> None:
    """Write the report; that it is written is noted, whatever its form, with the digest of the file."""
    suffix = path.suffix.lower()
    subject, shown = f"{report.stock_code} lot {report.lot or 'unknown'}", as_of.astimezone(UTC) if as_of else None
    written = {".csv": lot_trace_csv, ".xlsx": lot_trace_workbook}.get(suffix, lot_trace_report)
    then = moment_text(shown) if shown else ""
    write_proven(path, report, written, subject=subject, document=f"lot trace{suffix}", stock_as_of=then)
