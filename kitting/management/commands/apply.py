"""``manage.py apply``: plan from the records, show the plan, and store its promises."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.errors import Refusal
from kitting.management.commands.plan import iso_date
from kitting.management.plan_run import summary_text
from kitting.selectors.promises import open_promises
from kitting.selectors.sheets import sheets_from_records
from kitting.services.apply_plan import ReviewedPlan, apply_plan


class Command(BaseCommand):
    """Plan from the records and apply the plan."""

    help = "Plan every job from the records, print the answers, and store the promises in the place of the former ones."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--as-of", type=iso_date, required=True, help="day of planning, YYYY-MM-DD")
        parser.add_argument("--by", required=True, help="who has reviewed the plan")

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            sheets = sheets_from_records()
            planned = plan(read_book(sheets), as_of=options["as_of"], earlier=open_promises())
            self.stdout.write(summary_text(planned))
            applied = apply_plan(reviewed=ReviewedPlan(sheets, planned), by=options["by"], at=timezone.now())
        except Refusal as refusal:
            self.stderr.write(refusal.message)
            raise SystemExit(2) from None
        self.stdout.write(f"Plan {applied.pk} is applied: {applied.promises.count()} promises stored.")
