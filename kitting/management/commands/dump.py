"""``manage.py dump``: the records back into planning sheets."""

from argparse import ArgumentParser
from getpass import getuser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from kitting.management.books import now, recorded_sheets, refused_in_words
from kitting.management.plan_run import taking_a_new_place
from kitting.services.note_printing import note_export
from kitting.spreadsheets.raw_writing import write_raw_book


class Command(BaseCommand):
    """Write all sheets as the records have them: the same records give the same bytes. That it was done is noted."""

    help = "Write the records back as planning sheets: a workbook (PATH ends in .xlsx) or a folder of CSV files."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("path", type=Path, help="workbook (.xlsx) or folder to write; it must not be there yet")

    def handle(self, *_args: Any, **options: Any) -> None:
        path = options["path"]
        with refused_in_words(self.stderr):
            sheets = recorded_sheets()
            with taking_a_new_place(path) as aside:
                write_raw_book(sheets, aside)
            note_export(subject=path.name, digest=sheets.digest, by=getuser(), at=now())
        rows = sum(len(sheet.cells) for sheet in sheets.sheets.values())
        self.stdout.write(f"{rows} rows are in {path}; digest {sheets.digest}.")
