"""``manage.py storm``: open and close a storm, see what keeps it open, write its use report."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from inventory.models import Depot
from jobs.models import Job
from kitting.documents.from_records import movements_of_event, storm_use_of
from kitting.documents.storm_use import StormUse, storm_use_csv, storm_use_report, storm_use_workbook
from kitting.management.books import now, refused_in_words, user_name
from kitting.management.plan_run import taking_a_new_place
from kitting.management.printing import write_paper
from kitting.models import Storm
from kitting.roles import DUTY_SUPERVISOR, Actor
from kitting.selectors.storms import LONGEST_DAYS, keeps_open, left_on, open_storms, storm_by_code
from kitting.services.scans import Scan
from kitting.services.storms import close_storm, open_storm


class Command(BaseCommand):
    """Storm mode: on, off, what is left to do, and the report."""

    help = "Open and close a storm, list what keeps it open, write its use report."

    def add_arguments(self, parser: ArgumentParser) -> None:
        steps = parser.add_subparsers(dest="step", required=True)
        begin = steps.add_parser("open", help="open a storm; its code is on everything that is used in it")
        begin.add_argument("--depot", required=True, help="its home depot")
        begin.add_argument("--title", default="", help="what it is; not needed where a planner has asked for it")
        end = steps.add_parser("close", help="close it, once all is accounted for")
        show = steps.add_parser("show", help="open storms, or what keeps one open")
        paper = steps.add_parser("paper", help="write its use report: PDF, CSV and workbook")
        paper.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to make")
        show.add_argument("code", nargs="?", default="")
        for step in (begin, end, paper):
            step.add_argument("code", help="code of the storm")
        for step in (begin, end):
            step.add_argument("--by", default=user_name(), help="name of the duty supervisor (default: the user's)")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            said = getattr(self, f"_{options['step']}")(options)
        self.stdout.write(said)

    def _open(self, options: dict[str, Any]) -> str:
        code, title = options["code"], options["title"]
        storm = open_storm(storm=code, depot=options["depot"], title=title, **_scan(options["by"]))
        return f"Storm {storm} is open: {storm.title}."

    def _close(self, options: dict[str, Any]) -> str:
        done = close_storm(storm=options["code"], **_scan(options["by"]))
        return "\n".join([f"Storm {done.storm} is closed. To be bought again:", *(one.sentence for one in done.refill)])

    def _show(self, options: dict[str, Any]) -> str:
        if options["code"]:
            storm = storm_by_code(options["code"])
            return "\n".join([_line(storm), *(keeps_open(storm) or ["Nothing keeps it open."])])
        late = {storm.pk for storm in left_on(now())}
        told = f" OPEN FOR MORE THAN {LONGEST_DAYS} DAYS"
        lines = [f"{_line(storm)}{told if storm.pk in late else ''}" for storm in open_storms()]
        return "\n".join(lines) or "No storm is open."

    def _paper(self, options: dict[str, Any]) -> str:
        storm = storm_by_code(options["code"])
        use = _use_of(storm)
        with taking_a_new_place(options["out"]) as folder:
            folder.mkdir()
            write_paper(folder / "storm-use.pdf", use, storm_use_report, subject=storm.code)
            (folder / "storm-use.csv").write_bytes(storm_use_csv(use))
            (folder / "storm-use.xlsx").write_bytes(storm_use_workbook(use))
        without = f", {use.without_price} without a price" if use.without_price else ""
        return f"written to {options['out']}: {len(use.lines)} lines{without}"


def _use_of(storm: Storm) -> StormUse:
    home = Job.objects.filter(job=storm.code).values_list("depot", flat=True).first()
    zone = Depot.objects.filter(depot=home).values_list("time_zone", flat=True).first()
    return storm_use_of(storm.code, storm.title, movements_of_event(storm.code), ZoneInfo(zone) if zone else None)


def _line(storm: Storm) -> str:
    since = f" since {storm.opened_at:%Y-%m-%d %H:%M} UTC by {storm.opened_by}" if storm.opened_at else ""
    return f"{storm} ({storm.state}{since}): {storm.title}"


def _scan(by: str) -> Scan:
    return {"actor": Actor(by, frozenset({DUTY_SUPERVISOR})), "at": now(), "action": f"storm-{uuid4()}"}
