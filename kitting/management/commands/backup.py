"""``manage.py backup FILE``: all books in one file."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.management.books import refused_in_words
from kitting.services.backup_books import back_up


class Command(BaseCommand):
    """Write all books to a file that either database can be restored from."""

    help = "Write all books to one file, with their digest."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="file to write, such as books.gz; it must not exist")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            digest = back_up(path=options["file"])
        self.stdout.write(f"All books are in {options['file']}; digest {digest}.")
