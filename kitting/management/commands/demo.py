"""``manage.py demo``: the invented town of ``fixtures_demo``, from sheets as received to the weeks after the plan."""

import shutil
import tempfile
from argparse import ArgumentParser
from datetime import UTC, date, datetime
from pathlib import Path
from secrets import randbelow, token_urlsafe
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import connection

from kitting.management.books import loaded_text, refused_in_words
from kitting.management.in_columns import in_columns
from kitting.management.plan_run import Order, run, summary_text
from kitting.management.season.events import play
from kitting.management.season.people import SIGN_INS
from kitting.management.serving import PORT, serve
from kitting.models import BagEntry
from kitting.roles import ADMINISTRATOR, Actor
from kitting.selectors.clock import books_now
from kitting.services.apply_plan import apply_plan
from kitting.services.keep_people import keep_person
from kitting.services.load_sheets import load_sheets
from kitting.spreadsheets.reading import read_raw_book

AS_OF = date(2026, 3, 2)
MORNING = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)  # 07:00 at the depots
PLANNER = "demo planner"
LIVED_ON = (
    "These books have lived on since the demo was loaded, so it is not loaded again. "
    "Name another folder in KITTING_DATA to play it from the first day."
)


class Command(BaseCommand):
    """Plan the demo as received; settle its questions, load it, plan again and apply; then play the weeks after."""

    help = (
        "Show the main job on an invented town: questions, records, an applied plan and its papers, and what happens "
        "in the weeks after. No network."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--out", type=Path, default=Path(".demo"), help="folder for the two plans (default .demo)")
        parser.add_argument("--first-day", action="store_true", help="stop after the first day's plan is applied")
        parser.add_argument("--no-serve", action="store_true", help="don't serve the pages when the story is told")
        parser.add_argument("--port", type=int, default=PORT, help=f"where to serve the pages (default {PORT})")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            self._received(options["out"] / "received")
            if connection.vendor == "sqlite":
                Path(connection.settings_dict["NAME"]).parent.mkdir(parents=True, exist_ok=True)
            call_command("migrate", verbosity=0)
            if BagEntry.objects.exists():
                self.stdout.write(LIVED_ON)
            else:
                self._answered(options["out"] / "after-answers")
                if not options["first_day"]:
                    self._season()
            if not options["no_serve"]:
                self._people()
                serve(port=options["port"], say=self.stdout.write)

    def _people(self) -> None:
        """Let the demo's people sign in, with a password and a PIN made for this run, and say who is for what."""
        password, pin = token_urlsafe(9), f"{randbelow(10_000):04}"
        for one in SIGN_INS:
            keep_person(
                sign_in=one.sign_in, name=one.actor.name, roles=one.actor.roles, depots=one.depots, password=password,
                pin=pin, actor=Actor("demo", frozenset({ADMINISTRATOR})), at=books_now(),
            )  # fmt: skip
        self.stdout.write(f"\nSign in with the password {password} (PIN {pin} to hand a device over) as")
        self.stdout.write(in_columns([(one.sign_in, one.actor.name, one.task) for one in SIGN_INS]))

    def _received(self, out: Path) -> None:
        """Plan the sheets as they came; nothing is stored."""
        planned = run(Order(source=settings.BASE_DIR / "fixtures_demo" / "received", as_of=AS_OF, out=out)).plan
        self.stdout.write(f"As received ({AS_OF.isoformat()}):\n{summary_text(planned)}")
        self.stdout.write(f"Tables and papers are in {out}.\n\n")

    def _answered(self, out: Path) -> None:
        """Load the sheets with the answers, plan from the records, and apply the plan."""
        fixtures = settings.BASE_DIR / "fixtures_demo"
        with tempfile.TemporaryDirectory() as aside:
            answered = Path(aside) / "answered"
            shutil.copytree(fixtures / "received", answered)
            shutil.copy(fixtures / "answers.csv", answered)
            loaded = load_sheets(raw=read_raw_book(answered), by=PLANNER, at=MORNING, source="demo")
        self.stdout.write(f"Loaded with the answers:\n{loaded_text(loaded)}\n\n")
        reviewed = run(Order(source=None, as_of=AS_OF, out=out, keep_promised=True))
        applied = apply_plan(reviewed=reviewed, by=PLANNER, at=MORNING)
        self.stdout.write(f"After the answers ({AS_OF.isoformat()}):\n{summary_text(reviewed.plan)}")
        self.stdout.write(f"Plan {applied.pk} is applied: {applied.promises.count()} promises stored.")
        self.stdout.write(f"Tables and papers are in {out}.\n\n")

    def _season(self) -> None:
        """Play what happens until the end of the month, and say what each event changed."""
        self.stdout.write("The weeks after, by scan:")
        for one in play():
            self.stdout.write(f"{one.at:%Y-%m-%d} {one.title}")
            for sentence in one.told:
                self.stdout.write(f"    {sentence}")
