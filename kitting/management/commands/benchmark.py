"""``manage.py benchmark``: how long planning takes on made-up data, as ratios to a plain baseline."""

from argparse import ArgumentParser
from itertools import product
from typing import Any

from django.core.management.base import BaseCommand
from django.db import connection

from inventory.management.trials.own_books import own_books
from kitting.management.benchmarks import main_job, pages, promising, promising_tiers, stock
from kitting.management.benchmarks.promising_data import SIZES, STOCK

DOUBLINGS = (1 / 8, 1 / 4, 1 / 2, 1, 2)  # of the jobs and lots of a size
MAIN_JOB, PLAN, BOOKS, PAGES = "job", "plan", "stock", "pages"


class Command(BaseCommand):
    """Time the main job, or promising alone, on invented data of several sizes."""

    help = (
        "Time planning on made-up data. job: reading, planning and writing of schedules (--runs). "
        "plan: who gets the stock, against line by line (--size, --stock, --coupled, --double). "
        "stock: movements, rebuilding, loading and planning from records, on books of their own (--runs, --hands). "
        "pages: pages beside their bare queries, on large books of their own (--jobs, --movements)."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "what", nargs="?", choices=(MAIN_JOB, PLAN, BOOKS, PAGES), default=MAIN_JOB, help="what is timed"
        )
        parser.add_argument(
            "--runs", type=int, nargs="+", default=[1_000, 10_000, 100_000], help="job, stock: rows of the schedule"
        )
        parser.add_argument("--size", nargs="+", choices=tuple(SIZES), default=["S"], help="plan: how many jobs")
        parser.add_argument("--stock", nargs="+", choices=tuple(STOCK), default=list(STOCK), help="plan: stock")
        parser.add_argument("--coupled", action="store_true", help="plan: also with parts that all owners share")
        parser.add_argument("--hands", type=int, default=8, help="stock: threads that book at once")
        parser.add_argument("--actions", type=int, default=100, help="stock: actions of each hand")
        parser.add_argument("--movements", type=int, default=1_000_000, help="stock, pages: movements on the books")
        parser.add_argument("--jobs", type=int, default=1_000, help="pages: jobs on the books")
        parser.add_argument("--double", action="store_true", help="plan: also with an eighth to twice the jobs")

    def handle(self, *_args: Any, **options: Any) -> None:
        if options["what"] == PLAN:
            self._time_promising(options)
        elif options["what"] == BOOKS:
            self._time_books(options)
        elif options["what"] == PAGES:
            self._time_pages(options)
        else:
            self._time_main_job(sorted(options["runs"]))

    def _time_main_job(self, sizes: list[int]) -> None:
        self.stdout.write("R: pandas reading schedule, positions, stock and items from CSV, best of three.")
        self.stdout.write("Processor seconds, so that other work counts little; wall: the calculation as waited for.")
        self.stdout.write(main_job.table_text([main_job.measure_apart(runs) for runs in sizes]))
        raw, checked = main_job.workbook_seconds(sizes[-1])
        self.stdout.write(
            f"A workbook with {sizes[-1]:,} runs: {raw:.1f} s raw, {checked:.1f} s with every cell checked."
        )

    def _time_promising(self, options: dict[str, Any]) -> None:
        self.stdout.write(promising.settings_text())
        variants = [False, True] if options["coupled"] else [False]
        measured = [
            promising.measure_apart(size, stock, coupled=coupled)
            for coupled, size, stock in product(variants, options["size"], options["stock"])
        ]
        self.stdout.write(promising.table_text(measured))
        for size, supply in product(options["size"] if options["double"] else (), options["stock"]):
            growing = [promising.measure_apart(size, supply, times=times) for times in DOUBLINGS]
            self.stdout.write(promising.table_text(growing))
            self.stdout.write(promising.growth_text(growing))
        self.stdout.write("Tiers of four weeks, and the most kits overall:")
        tiers = [
            promising_tiers.measure_tiers(size, stock_of, coupled=coupled)
            for coupled, size, stock_of in product(variants, options["size"], options["stock"])
        ]
        self.stdout.write(promising_tiers.tiers_text(tiers))
        for size in options["size"]:
            first = next(one for one in measured if one.name.split()[0] == size)
            plain, ours = promising.workbook_seconds(first.runs)
            self.stdout.write(
                f"The schedule of {first.name} ({first.runs:,} runs) as xlsx: pandas {plain:.2f} s, our reading "
                f"{ours:.2f} s; the whole is {first.whole / plain:.2f} and {first.whole / ours:.2f} of that."
            )

    def _time_pages(self, options: dict[str, Any]) -> None:
        with own_books():
            pages.large_books(options["jobs"], options["movements"])
            self.stdout.write(f"{connection.vendor}, {options['jobs']:,} jobs, {options['movements']:,} movements:")
            self.stdout.write(pages.pages_text(pages.measure_pages()))

    def _time_books(self, options: dict[str, Any]) -> None:
        with own_books():
            made = stock.warehouse(options["hands"])
            for lines in stock.LINES:
                pace = stock.movements_a_second(made, options["actions"], lines)
                self.stdout.write(
                    f"{connection.vendor}, {options['hands']} hands, {lines} lines an action: {pace.booked:,.0f} "
                    f"movements a second; their rows inserted into tables without keys {pace.bare:,.0f}, ratio "
                    f"{pace.booked / pace.bare:.2f}; into those of the books {pace.kept:,.0f}, ratio "
                    f"{pace.booked / pace.kept:.2f}."
                )
            seconds = stock.rebuild_seconds(made, options["movements"])
            self.stdout.write(f"Balances rebuilt from {options['movements']:,} movements: {seconds:.1f} s.")
        for runs in sorted(options["runs"]):
            with own_books():
                one = stock.records_seconds(runs)
            self.stdout.write(
                f"{one.runs:,} runs of {one.jobs:,} jobs: loaded in {one.load:.1f} s, again in {one.again:.1f} s; "
                f"records read in {one.read:.1f} s, planned in {one.plan:.1f} s; ratio {one.read / one.plan:.2f}."
            )
