"""``manage.py stress``: the long trials, on books of their own."""

from argparse import SUPPRESS, ArgumentParser
from random import Random
from time import perf_counter
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from tqdm import tqdm

from inventory.management.trials.killed import kill_and_look, prepare, work
from inventory.management.trials.last_pieces import last_piece_rounds
from inventory.management.trials.own_books import own_books


class Command(BaseCommand):
    """Last pieces wanted by many at once, and programs killed at random moments."""

    help = "Run the long trials on a database of their own beside the one of the settings; the records are not touched."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        hands = 16 if connection.vendor == "postgresql" else 4
        parser.add_argument("--rounds", type=int, default=200, help="last pieces")
        parser.add_argument("--hands", type=int, default=hands, help="threads that want each of them")
        parser.add_argument("--kills", type=int, default=50, help="programs to kill")
        parser.add_argument("--work", metavar="RUN", help=SUPPRESS)  # the program that is killed

    def handle(self, *_args: Any, **options: Any) -> None:
        if options["work"]:
            work(options["work"], self._say)
            return
        with own_books():
            faults = [*self._last_pieces(options["rounds"], options["hands"]), *self._kills(options["kills"])]
        if faults:
            raise CommandError("\n".join(faults))

    def _last_pieces(self, rounds: int, hands: int) -> list[str]:
        begun = perf_counter()
        found = last_piece_rounds(rounds=rounds, hands=hands)
        faults = [fault for one in found if (fault := one.fault(hands))]
        self._tell(f"{rounds} last pieces, {hands} hands", faults, begun)
        return faults

    def _kills(self, kills: int) -> list[str]:
        begun, chance = perf_counter(), Random()  # noqa: S311 - moments, not secrets
        prepare()
        found = [kill_and_look(f"run {run}", chance) for run in tqdm(range(kills), leave=False, disable=None)]
        faults = [one.fault for one in found if one.fault]
        said, booked = sum(one.said for one in found), sum(one.booked for one in found)
        self._tell(f"{kills} programs killed, {said} actions said done, {booked} booked", faults, begun)
        return faults

    def _say(self, number: str) -> None:
        self.stdout.write(number)
        self.stdout.flush()

    def _tell(self, what: str, faults: list[str], begun: float) -> None:
        self.stdout.write(f"{connection.vendor}: {what}: {len(faults)} faults, {perf_counter() - begun:.0f} s")
