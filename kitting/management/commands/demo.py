"""``manage.py demo``: plan the invented town of ``fixtures_demo``, as received and with its questions answered."""

import shutil
import tempfile
from argparse import ArgumentParser
from datetime import date
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from kitting.management.plan_run import Order, run, summary_text

AS_OF = date(2026, 3, 2)


class Command(BaseCommand):
    """Plan the demo and write its papers; needs no network, no server and no database."""

    help = "Plan the invented demo, as received and after its questions are answered, and write the papers."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--out", type=Path, default=Path(".demo"), help="folder for the two plans (default .demo)")
        which = parser.add_mutually_exclusive_group()
        which.add_argument("--received", action="store_true", help="only the sheets as received")
        which.add_argument("--after-answers", action="store_true", help="only the sheets with the answers")

    def handle(self, *_args: Any, **options: Any) -> None:
        fixtures = Path(settings.BASE_DIR) / "fixtures_demo"
        with tempfile.TemporaryDirectory() as aside:
            answered = Path(aside) / "answered"
            shutil.copytree(fixtures / "received", answered)
            shutil.copy(fixtures / "answers.csv", answered)
            if not options["after_answers"]:
                self._plan("As received", fixtures / "received", options["out"] / "received")
            if not options["received"]:
                self._plan("After the answers", answered, options["out"] / "after-answers")

    def _plan(self, title: str, source: Path, out: Path) -> None:
        planned = run(Order(source=source, as_of=AS_OF, out=out))
        self.stdout.write(f"{title} ({AS_OF.isoformat()}):\n{summary_text(planned)}")
        self.stdout.write(f"Tables and papers are in {out}.\n\n")
