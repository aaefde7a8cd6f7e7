"""``manage.py paper``: one paper of the records: a count sheet, a transfer slip, a hold tag, a restock slip."""

from argparse import ArgumentParser
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from inventory.models import TRUCK, Depot, LotHold, Place, Transfer
from inventory.selectors.finding import local_day
from kitting.documents.box_label import box_label
from kitting.documents.count_sheet import count_sheet, count_sheet_csv
from kitting.documents.from_records import count_sheet_of, hold_tag_of, transfer_slip_of
from kitting.documents.hold_tag import hold_tag
from kitting.documents.restock_slip import restock_slip, restock_slip_csv, restock_slip_of
from kitting.documents.transfer_slip import transfer_slip
from kitting.errors import Refusal
from kitting.management.books import refused_in_words
from kitting.management.plan_run import taking_a_new_place
from kitting.management.printing import write_paper
from kitting.selectors.clock import books_now
from kitting.selectors.counting import count_list, sheet_revision
from kitting.selectors.trucks import restock, trucks


def _count_sheet(number: str, folder: Path) -> None:
    counted = count_list(_whole(number))
    sheet = count_sheet_of(counted, zone=_zone(counted.depot))
    about = {"subject": number, "document": "count sheet", "revision": sheet_revision(counted)}
    write_paper(folder / "count-sheet.pdf", sheet, count_sheet, **about)
    (folder / "count-sheet.csv").write_bytes(count_sheet_csv(sheet))


def _transfer_slip(number: str, folder: Path) -> None:
    found = Transfer.objects.filter(number=number).select_related("from_depot", "to_depot", "sent", "received").first()
    if found is None:
        raise Refusal("unknown-transfer", f"There is no transfer {number}.", {"transfer": number})
    slip = transfer_slip_of(found, _zone(found.from_depot))
    write_paper(folder / "transfer-slip.pdf", slip, transfer_slip, subject=number, document="transfer slip")
    write_paper(folder / "box-label.pdf", slip, box_label, subject=number, document="box label")


def _hold_tag(number: str, folder: Path) -> None:
    found = LotHold.objects.filter(pk=_whole(number)).select_related("item").first()
    if found is None:
        raise Refusal("unknown-hold", f"There is no hold {number}.", {"hold": number})
    write_paper(folder / "hold-tag.pdf", hold_tag_of(found), hold_tag, subject=str(found), document="hold tag")


def _restock_slip(name: str, folder: Path) -> None:
    depot, _, code = name.partition("/")
    place = Place.objects.select_related("depot").filter(depot__depot=depot, code=code, kind=TRUCK).first()
    if place is None:
        raise Refusal("unknown-truck", f"There is no truck {name}: name it as N/truck 14.", {"truck": name})
    today = local_day(place.depot, books_now())
    (found,) = trucks(today=today, numbers=[place.pk])
    slip = restock_slip_of(found, restock(found, today))
    write_paper(folder / "restock-slip.pdf", slip, restock_slip, subject=name)
    (folder / "restock-slip.csv").write_bytes(restock_slip_csv(slip))


_PAPERS: Mapping[str, Callable[[str, Path], None]] = MappingProxyType(
    {
        "count sheet": _count_sheet,
        "transfer slip": _transfer_slip,
        "hold tag": _hold_tag,
        "restock slip": _restock_slip,
    }
)


class Command(BaseCommand):
    """Write one paper of the records to a new folder; a second print of the same content says REPRINT."""

    help = "Write a count sheet, a transfer slip, a hold tag or a restock slip to a new folder."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("paper", choices=[*_PAPERS], help="which paper")
        parser.add_argument(
            "number",
            help="number of the count, of the transfer or of the hold; of a truck depot and code, as N/truck 14",
        )
        parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to make")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            with taking_a_new_place(options["out"]) as folder:
                folder.mkdir()
                _PAPERS[options["paper"]](options["number"], folder)
                names = sorted(path.name for path in folder.iterdir())
        self.stdout.write(f"written to {options['out']}: {', '.join(names)}")


def _whole(number: str) -> int:
    """The number of a record.

    Raises:
        Refusal: ``not-a-number``.
    """
    if not number.isdecimal():
        raise Refusal("not-a-number", f"{number} is no number: counts and holds have whole numbers.", {"read": number})
    return int(number)


def _zone(depot: Depot) -> ZoneInfo | None:
    return ZoneInfo(depot.time_zone) if depot.time_zone else None
