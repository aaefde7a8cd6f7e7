"""``manage.py papers``: labels, night cards, slips, as-installed record and borrow notes of a job's bags, as booked."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.documents.as_installed import as_installed_csv, as_installed_record
from kitting.documents.bag_records import bag_papers
from kitting.documents.borrow_note import borrow_note
from kitting.documents.label_records import BAG_PAPERS, contents_to_print, label_papers
from kitting.documents.record_papers import content_revision
from kitting.documents.slips import issue_slip, return_slip, return_slip_csv
from kitting.management.books import refused_in_words, today_at
from kitting.management.plan_run import taking_a_new_place
from kitting.management.printing import noted_print, write_paper


class Command(BaseCommand):
    """Write the papers of a job's bags to a new folder; a second print of the same content says REPRINT."""

    help = "Write labels, night cards, slips, as-installed record and borrow notes of a job's bags to a new folder."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("job", help="job number")
        parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to make")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            found = bag_papers(options["job"])
            labels = label_papers(options["job"], today=today_at(found.issue.depot))
            with taking_a_new_place(options["out"]) as folder:
                folder.mkdir()
                job = options["job"]
                write_paper(folder / "issue-slip.pdf", found.issue, issue_slip, subject=job)
                write_paper(folder / "return-slip.pdf", found.returned, return_slip, subject=job)
                write_paper(folder / "as-installed.pdf", found.installed, as_installed_record, subject=job)
                for name, as_pdf in BAG_PAPERS.items():
                    prints = {
                        place: noted_print(name, f"{job} {place}".strip(), content_revision(content))
                        for place, content in contents_to_print(name, labels).items()
                    }
                    (folder / f"{name}.pdf").write_bytes(as_pdf(labels, prints))
                (folder / "return-slip.csv").write_bytes(return_slip_csv(found.returned))
                (folder / "as-installed.csv").write_bytes(as_installed_csv(found.installed))
                for note in found.borrowed:
                    write_paper(folder / f"borrow-note-{note.number}.pdf", note, borrow_note, subject=note.from_bag)
                names = sorted(path.name for path in folder.iterdir())
        self.stdout.write(f"written to {options['out']}: {', '.join(names)}")
