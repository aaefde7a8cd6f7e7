"""``manage.py rebuild_balances``: what the movements give beside what is stored."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory.errors import Refusal
from inventory.management.books import require_books
from inventory.selectors.rebuilding import unequal_balances, unequal_order_lines
from inventory.services.rebuilding import rebuild


class Command(BaseCommand):
    """Work out balances and received quantities from the movements alone, and tell where the stored ones differ."""

    help = "Compare stored balances with what the movements give; --write puts the stored ones right."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--write", action="store_true", help="put right what is stored")

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            require_books()
        except Refusal as refusal:
            raise CommandError(refusal.message) from None
        found = rebuild() if options["write"] else [*unequal_balances(), *unequal_order_lines()]
        for one in found:
            self.stdout.write(f"{one.name}: {one.stored} stored, {one.derived} moved (thousandths)")
        if found and not options["write"]:
            raise CommandError(f"{len(found)} stored quantities are not what the movements give; nothing was changed.")
        self.stdout.write(f"{len(found)} put right." if found else "Every balance is what the movements give.")
