"""``manage.py labels``: all bag labels of a depot and a day in one file, in the order of the rack."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from inventory.selectors.finding import depot_named
from kitting.documents.day_labels import CUTOVER, STAGED_BY, day_labels_pdf, labels_of_day
from kitting.documents.record_papers import content_revision
from kitting.errors import Refusal
from kitting.management.books import refused_in_words, today_at
from kitting.management.commands.plan import iso_date
from kitting.management.plan_run import taking_a_new_place
from kitting.management.printing import noted_print
from kitting.models import BAG_LABEL


class Command(BaseCommand):
    """Write the labels of a day's bags to a new file; a label that was printed before says REPRINT."""

    help = "Write all bag labels of a depot and a day to one PDF, in the order of the rack."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("depot", help="code of the depot")
        parser.add_argument("day", type=iso_date, help="day of the cutovers, YYYY-MM-DD")
        parser.add_argument("--staged-by", action="store_true", help="DAY is the last one on which bags are staged")
        parser.add_argument("--out", type=Path, required=True, metavar="FILE", help="PDF to make")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            depot, day = options["depot"], options["day"]
            depot_named(depot)
            labels = labels_of_day(depot=depot, day=day, of=STAGED_BY if options["staged_by"] else CUTOVER)
            if not labels:
                raise Refusal("no-bags", f"No bag in store at {depot} has {day} as its day.", {"depot": depot})
            with taking_a_new_place(options["out"]) as path:
                prints = {
                    str(one.bag): noted_print(BAG_LABEL, str(one.bag), content_revision(one.content)) for one in labels
                }
                title = f"Bag labels {depot} {day}"
                path.write_bytes(day_labels_pdf(labels, prints, title=title, today=today_at(depot)))
        self.stdout.write(f"{len(labels)} labels are in {options['out']}.")
