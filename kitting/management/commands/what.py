"""``manage.py what``: what a scanned or typed code is."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.management.books import refused_in_words, today_at
from kitting.selectors.what_is_this import what_is


class Command(BaseCommand):
    """Say what a code is: a bag, a carton, a stock code, a reel or a place."""

    help = "Say what a scanned or typed code is, where it is, and what may be done with it next."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "code", help="a bag's number, a carton's GS1 element strings, a stock code, a reel, a place"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            found = what_is(options["code"], today=today_at())
        for one in found:
            self.stdout.write(f"{one.kind} {one.name}")
            for sentence in one.told:
                self.stdout.write(f"    {sentence}")
