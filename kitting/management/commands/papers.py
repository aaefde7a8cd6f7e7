"""``manage.py papers``: slips, as-installed record and borrow notes of a job's bags, as the books have them."""

from argparse import ArgumentParser
from collections.abc import Callable
from datetime import UTC, datetime
from getpass import getuser
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.documents.as_installed import as_installed_csv, as_installed_record
from kitting.documents.bag_records import bag_papers
from kitting.documents.borrow_note import borrow_note
from kitting.documents.record_papers import Printed, content_revision, moment_text
from kitting.documents.slips import issue_slip, return_slip, return_slip_csv
from kitting.management.books import refused_in_words
from kitting.management.plan_run import taking_a_new_place
from kitting.roles import Actor
from kitting.selectors.policies import paper_choices
from kitting.services.note_printing import note_printing


class Command(BaseCommand):
    """Write the papers of a job's bags to a new folder; a second print of the same content says REPRINT."""

    help = "Write issue slip, return slip, as-installed record and borrow notes of a job's bags to a new folder."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("job", help="job number")
        parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to make")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            found = bag_papers(options["job"])
            with taking_a_new_place(options["out"]) as folder:
                folder.mkdir()
                _write(folder, "issue-slip", found.issue, issue_slip)
                _write(folder, "return-slip", found.returned, return_slip)
                _write(folder, "as-installed", found.installed, as_installed_record)
                (folder / "return-slip.csv").write_bytes(return_slip_csv(found.returned))
                (folder / "as-installed.csv").write_bytes(as_installed_csv(found.installed))
                for note in found.borrowed:
                    _write(folder, f"borrow-note-{note.number}", note, borrow_note)
                names = sorted(path.name for path in folder.iterdir())
        self.stdout.write(f"written to {options['out']}: {', '.join(names)}")


def _write(folder: Path, name: str, content: Any, paper: Callable[[Any, Printed], bytes]) -> None:
    """Note the print, and write the paper with its number."""
    now, revision = datetime.now(UTC), content_revision(content)
    actor = Actor(getuser(), frozenset())
    subject = getattr(content, "job", "") or content.from_bag
    number = note_printing(
        document=name, subject=subject, revision=revision, actor=actor, at=now, action=f"print-{uuid4()}"
    )
    kind, wording, demo = paper_choices()
    printed = Printed(moment_text(now), now, actor.name, number, revision, kind, wording, demo)
    (folder / f"{name}.pdf").write_bytes(paper(content, printed))
