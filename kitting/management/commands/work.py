"""``manage.py work``: the worker that does what takes long, beside the pages."""

import signal
import threading
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from kitting.errands.working import do_next, work_until


class Command(BaseCommand):
    """Do errands one after the other until stopped; what a killed worker began is begun again after a minute."""

    help = "Do what the pages ask for and what takes long: plans, what-ifs, files."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--until-done", action="store_true", help="stop when nothing waits")

    def handle(self, *_args: Any, **options: Any) -> None:
        if options["until_done"]:
            while do_next():
                pass
            return
        stop = threading.Event()
        for one in (signal.SIGINT, signal.SIGTERM):
            signal.signal(one, lambda *_: stop.set())
        work_until(stop)
