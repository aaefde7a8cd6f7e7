"""``manage.py apply``: plan from the records, write the papers, and store the plan's promises."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from kitting.management.books import now, refused_in_words, user_name
from kitting.management.commands.plan import iso_date
from kitting.management.plan_run import Order, run, summary_text
from kitting.services.apply_plan import apply_plan


class Command(BaseCommand):
    """Plan from the records and apply the plan."""

    help = "Plan every job from the records, write tables and papers, and store the promises in place of the former."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--as-of", type=iso_date, required=True, help="day of planning, YYYY-MM-DD")
        parser.add_argument("--out", type=Path, required=True, help="folder to write: new, empty or a former output")
        parser.add_argument("--by", default=user_name(), help="who applies the plan (default: the user's name)")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            reviewed = run(Order(source=None, as_of=options["as_of"], out=options["out"], keep_promised=True))
            applied = apply_plan(reviewed=reviewed, by=options["by"], at=now())
        self.stdout.write(summary_text(reviewed.plan))
        self.stdout.write(f"Plan {applied.pk} is applied: {applied.promises.count()} promises stored.")
        self.stdout.write(f"Tables and papers are in {options['out']}.")
