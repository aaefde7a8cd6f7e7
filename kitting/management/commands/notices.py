"""``manage.py notices``: what was told in the last day, by role and depot, for whoever does not look at the pages."""

from argparse import ArgumentParser
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.documents.notice_digest import digest_csv, digest_text
from kitting.management.books import now, refused_in_words
from kitting.management.plan_run import taking_a_new_place
from kitting.roles import ROLES
from kitting.selectors.notices import told_since

_NOTHING = "Nothing was told in this time: no digest is written."


class Command(BaseCommand):
    """Write the digest; one with nothing in it is not written."""

    help = "Write what was told in the last hours, by role and depot: as text, or as CSV where the file ends so."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--hours", type=int, default=24, help="how far back; 24 unless said otherwise")
        parser.add_argument("--role", choices=ROLES, help="what was told to this role only")
        parser.add_argument("--depot", help="of this depot and of all, only")
        parser.add_argument("--out", type=Path, metavar="FILE", help="a new file: .csv for a table, else text")

    def handle(self, *_args: Any, **options: Any) -> None:
        role, depot, out, until = options["role"], options["depot"], options["out"], now()
        with refused_in_words(self.stderr):
            require_books()
            found = [
                one
                for one in told_since(until - timedelta(hours=options["hours"]), until)
                if (not role or one.role == role) and (not depot or one.event.depot in ("", depot))
            ]
            if found and out:
                with taking_a_new_place(out) as aside:
                    aside.write_bytes(digest_csv(found) if out.suffix == ".csv" else digest_text(found).encode())
        if not found:
            self.stdout.write(_NOTHING)
        else:
            self.stdout.write(f"notices written to {out}: {len(found)}" if out else digest_text(found))
