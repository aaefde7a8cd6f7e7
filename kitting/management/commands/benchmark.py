"""``manage.py benchmark``: how long the main job takes on made-up schedules, as ratios to a plain baseline."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from kitting.management.benchmarks.main_job import measure_apart, table_text, workbook_seconds


class Command(BaseCommand):
    """Time the main job on invented schedules of several sizes."""

    help = "Time reading, planning and writing of made-up schedules; R is pandas reading the same sheets from CSV."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--runs", type=int, nargs="+", default=[1_000, 10_000, 100_000], help="rows of the schedule"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        sizes = sorted(options["runs"])
        self.stdout.write("R: pandas reading schedule, positions, stock and items from CSV, best of three.")
        self.stdout.write("Processor seconds, so that other work counts little; wall: the calculation as waited for.")
        self.stdout.write(table_text([measure_apart(runs) for runs in sizes]))
        raw, checked = workbook_seconds(sizes[-1])
        self.stdout.write(
            f"A workbook with {sizes[-1]:,} runs: {raw:.1f} s raw, {checked:.1f} s with every cell checked."
        )
