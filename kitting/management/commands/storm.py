"""``manage.py storm``: ask for a storm, open and close it, keep kits out of it, see how it stands, write its report."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.documents.storm_records import use_of_storm
from kitting.documents.storm_use import FILES
from kitting.management.books import now, refused_in_words, user_name
from kitting.management.plan_run import taking_a_new_place
from kitting.management.printing import write_proven
from kitting.models import Storm
from kitting.models.storms import PROTECTIONS
from kitting.roles import DUTY_SUPERVISOR, PLANNER, Actor
from kitting.selectors.storm_burn import burn_of
from kitting.selectors.storms import LONGEST_DAYS, keeps_open, left_on, open_storms, storm_by_code, storms_asked
from kitting.services.scans import Scan
from kitting.services.storms import ask_storm, close_storm, keep_kit, open_storm


class Command(BaseCommand):
    """Storm mode: asked for, on, off, what is left to do, how fast pieces go, and the report."""

    help = "Ask for a storm, open and close it, keep planned kits out of it, see how it stands, write its use report."

    def add_arguments(self, parser: ArgumentParser) -> None:
        steps = parser.add_subparsers(dest="step", required=True)
        ask = steps.add_parser("ask", help="ask the duty supervisor to open a storm")
        ask.add_argument("--title", required=True, help="what it is")
        begin = steps.add_parser("open", help="open a storm; its code is on everything that is used in it")
        begin.add_argument("--depot", required=True, help="its home depot")
        begin.add_argument("--title", default="", help="what it is; not needed where a planner has asked for it")
        end = steps.add_parser("close", help="close it, once all is accounted for")
        keep = steps.add_parser("keep", help="say whether a planned job's kit may be broken in it")
        keep.add_argument("--why", required=True, help="the reason in words")
        show = steps.add_parser("show", help="storms that are open or asked for, or how one stands")
        paper = steps.add_parser("paper", help="write its use report: PDF, CSV and workbook")
        paper.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to make")
        show.add_argument("code", nargs="?", default="")
        for step in (ask, begin, end, keep, paper):
            step.add_argument("code", help="code of the storm")
        keep.add_argument("job", help="whose kit")
        keep.add_argument("protection", choices=PROTECTIONS)
        for step, role in ((ask, PLANNER), (begin, DUTY_SUPERVISOR), (end, DUTY_SUPERVISOR), (keep, PLANNER)):
            step.add_argument("--by", default=user_name(), help=f"name of the {role} (default: the user's)")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            said = getattr(self, f"_{options['step']}")(options)
        self.stdout.write(said)

    def _ask(self, options: dict[str, Any]) -> str:
        asked = ask_storm(storm=options["code"], title=options["title"], **_scan(options["by"], PLANNER))
        return f"Storm {asked} is asked for; the duty supervisor opens it."

    def _keep(self, options: dict[str, Any]) -> str:
        given = {name: options[name] for name in ("job", "protection", "why")}
        return f"{keep_kit(storm=options['code'], **given, **_scan(options['by'], PLANNER))}."

    def _open(self, options: dict[str, Any]) -> str:
        code, title = options["code"], options["title"]
        storm = open_storm(storm=code, depot=options["depot"], title=title, **_scan(options["by"], DUTY_SUPERVISOR))
        return f"Storm {storm} is open: {storm.title}."

    def _close(self, options: dict[str, Any]) -> str:
        done = close_storm(storm=options["code"], **_scan(options["by"], DUTY_SUPERVISOR))
        return "\n".join([f"Storm {done.storm} is closed. To be bought again:", *(one.sentence for one in done.refill)])

    def _show(self, options: dict[str, Any]) -> str:
        if options["code"]:
            storm, at = storm_by_code(options["code"]), now()
            kept = [str(one) for one in storm.kept_kits.select_related("job", "storm").order_by("job__job")]
            burn = [one.sentence for one in burn_of(storm, at)] if storm.opened_at else []
            return "\n".join([_line(storm), *kept, *burn, *(keeps_open(storm) or ["Nothing keeps it open."])])
        late = {storm.pk for storm in left_on(now())}
        told = f" OPEN FOR MORE THAN {LONGEST_DAYS} DAYS"
        storms = [*open_storms(), *storms_asked()]
        lines = [f"{_line(storm)}{told if storm.pk in late else ''}" for storm in storms]
        return "\n".join(lines) or "No storm is open."

    def _paper(self, options: dict[str, Any]) -> str:
        storm = storm_by_code(options["code"])
        use = use_of_storm(storm)
        with taking_a_new_place(options["out"]) as folder:
            folder.mkdir()
            for ending, written in FILES.items():
                document = f"storm use.{ending}"
                write_proven(folder / f"storm-use.{ending}", use, written, subject=storm.code, document=document)
        return f"written to {options['out']}: {use.sum_words}"


def _line(storm: Storm) -> str:
    since = f" since {storm.opened_at:%Y-%m-%d %H:%M} UTC by {storm.opened_by}" if storm.opened_at else ""
    since = since or f" by {storm.asked_by}"
    return f"{storm} ({storm.state}{since}): {storm.title}"


def _scan(by: str, role: str) -> Scan:
    return {"actor": Actor(by, frozenset({role})), "at": now(), "action": f"storm-{uuid4()}"}
