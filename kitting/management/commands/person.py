"""``manage.py person``: the first administrator of new books."""

from argparse import ArgumentParser
from getpass import getpass
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.management.books import now, refused_in_words
from kitting.services.keep_people import first_administrator


class Command(BaseCommand):
    """Add the first administrator, who adds everybody else on the page People."""

    help = "Add the first administrator of new books; the password is asked for."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("sign_in", help="what they type to sign in")
        parser.add_argument("name", help="their name as it stands on papers")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            found = first_administrator(
                sign_in=options["sign_in"], name=options["name"], password=getpass("Password: "), at=now()
            )
        self.stdout.write(f"{found.name} is the administrator.")
