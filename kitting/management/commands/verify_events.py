"""``manage.py verify_events``: says how far the chain of events is unbroken."""

from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.management.books import refused_in_words
from kitting.selectors.event_chain import check_chain


class Command(BaseCommand):
    """Say up to which event the chain is unbroken; exit status 1 where it is not, 2 where there are no books."""

    help = "Check that no event was changed, taken out or put in between."

    def handle(self, *_args: Any, **_options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
        check = check_chain()
        if check.fault:
            self.stderr.write(f"Unbroken up to no. {check.unbroken_to}; then {check.fault}.")
            raise SystemExit(1)
        self.stdout.write(f"Unbroken up to no. {check.unbroken_to}.")
