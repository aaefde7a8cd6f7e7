"""``manage.py load``: planning sheets into the records, all or nothing, questions first."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

import inventory.errors
from inventory.management.books import require_books
from kitting.calculation.questions import NOTE
from kitting.errors import Refusal
from kitting.management.books import loaded_text, now, recorded_sheets, user_name
from kitting.management.foreign_list import SAID
from kitting.management.plan_run import write_questions_aside
from kitting.selectors.sheets import completed
from kitting.services.devices import COMMAND_LINE, Device, acting_on
from kitting.services.load_sheets import load_sheets
from kitting.spreadsheets.column_layout import adopt
from kitting.spreadsheets.reading import read_raw_book

_NAMED = 10  # questions that the refusal itself repeats


class Command(BaseCommand):
    """Load a workbook or a folder of CSV files into the records."""

    help = "Take planning sheets into the records: all or nothing, questions first; the same sheets change nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("input", type=Path, help="workbook (.xlsx), or folder of CSV files named after the sheets")
        parser.add_argument(
            "--layout", type=Path, nargs=2, metavar=("LAYOUT", "LIST"),
            help="column layout (.toml) and the foreign list (.csv, .xlsx) that it adopts; INPUT has the rest",
        )  # fmt: skip
        parser.add_argument("--said", **SAID)
        parser.add_argument("--by", default=user_name(), help="name of the person who loads (default: the user's)")
        parser.add_argument("--reason", default="", help="why; a job whose outage is frozen changes for a reason only")
        parser.add_argument(
            "--out", type=Path, help="folder to write questions.csv and questions.xlsx to, if there are any"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        source, out = options["input"], options["out"]
        try:
            require_books()
            raw = read_raw_book(source)
            if options["layout"]:
                layout, foreign = options["layout"]
                raw = adopt(layout, foreign, raw, said=dict(options["said"]))
            raw = completed(raw, recorded_sheets)
            with acting_on(Device(COMMAND_LINE)):
                said = {"by": options["by"], "reason": options["reason"], "source": source.name}
                loaded = load_sheets(raw=raw, at=now(), **said)
        except (Refusal, inventory.errors.Refusal) as refusal:
            self.stderr.write(refusal.message)
            if "questions" in refusal.data:
                self._tell(refusal, out)
            raise SystemExit(2) from None
        self.stdout.write(loaded_text(loaded))

    def _tell(self, refusal: Any, out: Path | None) -> None:
        """The first questions on standard error, all of them in the folder that was named."""
        questions = refusal.data["questions"]
        asked = [one for one in questions if one.severity != NOTE]
        for one in asked[:_NAMED]:
            hint = f" ({one.suggestion})" if one.suggestion else ""
            self.stderr.write(f"{one.sheet} row {one.row}, {one.column}: {one.read or 'blank'}: {one.problem}{hint}")
        if out is not None:
            try:
                write_questions_aside(questions, refusal.data["sheets"], out)
            except Refusal as not_written:
                self.stderr.write(not_written.message)
            else:
                self.stderr.write(f"All of them are in {out}.")
        elif len(asked) > _NAMED:
            self.stderr.write(f"and {len(asked) - _NAMED} more; --out FOLDER writes them all.")
