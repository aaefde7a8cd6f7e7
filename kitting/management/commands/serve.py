"""``manage.py serve``: the pages, and the worker beside them."""

from argparse import ArgumentParser
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand

from kitting.management.serving import PORT, serve
from kitting.models import Person

NOBODY = "Nobody can sign in yet: manage.py person adds the first administrator, who adds the others."


class Command(BaseCommand):
    """Bring the books up to date and serve the pages."""

    help = "Serve the pages on this machine, with the worker beside them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=PORT, help=f"default {PORT}")
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default this machine only)")

    def handle(self, *_args: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0)
        if not Person.objects.exists():
            self.stdout.write(NOBODY)
        serve(port=options["port"], host=options["host"], say=self.stdout.write)
