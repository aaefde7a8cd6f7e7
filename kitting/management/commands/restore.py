"""``manage.py restore FILE``: books from a backup, proved equal by digest."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.management.books import refused_in_words
from kitting.services.backup_books import restore


class Command(BaseCommand):
    """Restore all books from a backup into an empty database."""

    help = "Restore all books from a backup into an empty, migrated database."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="a file that the command backup wrote")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            digest = restore(path=options["file"])
        self.stdout.write(f"The books of {options['file']} are restored and equal by digest {digest}.")
