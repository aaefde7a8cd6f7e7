"""A program that is killed in the middle of its work: nothing is half-booked, and what it said was done is there."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from random import Random
from urllib.parse import urlsplit, urlunsplit

from django.conf import settings
from django.db import connection
from django.db.models import Count

from inventory.errors import Refusal
from inventory.models import BAG, INSTALLED, Action, Depot, Item, Lot, Place
from inventory.selectors.rebuilding import unequal_balances
from inventory.selectors.trace import trace
from inventory.services.actions import Stamp
from inventory.services.ending import Ended, end
from inventory.services.moving import Carry, move
from inventory.services.receiving import Arrival, receive

HANDS = 4
LOTS = ("L-1", "L-2")  # every action moves a piece of each, so that half of it would show
_CODE, _ONE = "KILL-1", 1000
_LONGEST_WORK_S = 0.4
_PATIENCE_S = 30


@dataclass(frozen=True, slots=True)
class Killed:
    """One program: actions it said were done, actions that are booked, and what is wrong ('' if nothing)."""

    said: int
    booked: int
    fault: str


def prepare() -> None:
    """The shelf and the bag between which the programs carry pieces."""
    depot = Depot.objects.create(depot="KILL")
    Item.objects.create(stock_code=_CODE, kind="bushing insert")
    Place.objects.create(depot=depot, code="shelf")
    Place.objects.create(depot=depot, code="bag", kind=BAG)


def work(run: str, say: Callable[[str], None]) -> None:
    """Receive, carry and install with several threads until killed; ``say`` each action number once it is booked."""
    with ThreadPoolExecutor(HANDS) as pool:
        for hand in range(HANDS):
            pool.submit(_work_on, f"{run}/{hand}", say)


def _work_on(name: str, say: Callable[[str], None]) -> None:
    depot = Depot.objects.get(depot="KILL")
    shelf, bag = Place.objects.get(depot=depot, code="shelf"), Place.objects.get(depot=depot, code="bag")
    shelf.depot = bag.depot = depot
    for number in count():
        stamp: Stamp = {"by": name, "at": datetime.now(UTC), "action": f"{name}/{number}"}
        with suppress(Refusal):  # another hand took the pieces
            if number % 3 == 0:
                arrivals = [Arrival(stock_code=_CODE, place=shelf, count=_ONE, lot=lot) for lot in LOTS]
                receive(depot=depot, arrivals=arrivals, **stamp)
            elif number % 3 == 1:
                move(carries=[Carry(lot=lot, quantity=_ONE, source=shelf, target=bag) for lot in _lots()], **stamp)
            else:
                pieces = [Ended(lot=lot, quantity=_ONE, source=bag, ending=INSTALLED) for lot in _lots()]
                end(pieces=pieces, **stamp)
            say(stamp["action"])


def _lots() -> list[Lot]:
    return [*Lot.objects.filter(item__stock_code=_CODE).select_related("item").order_by("number")]


def kill_and_look(run: str, chance: Random) -> Killed:
    """Let a program work on these books, kill it at a random moment, and look at what it left."""
    program = subprocess.Popen(  # noqa: S603 - our own command
        [sys.executable, "manage.py", "stress", "--work", run],
        cwd=settings.BASE_DIR,
        env={**os.environ, **_same_books()},
        stdout=subprocess.PIPE,
        text=True,
    )
    if program.stdout is None:
        raise RuntimeError("the program has no voice")
    with program.stdout as voice:
        first = voice.readline()
        time.sleep(chance.uniform(0, _LONGEST_WORK_S))
        program.send_signal(signal.SIGKILL)
        # The kill may cut the last line in the middle.
        said = [line.strip() for line in [first, *voice] if line.endswith("\n")]
    program.wait(_PATIENCE_S)
    _wait_for_the_server()
    return _look(run, said)


def _same_books() -> dict[str, str]:
    """The environment in which another program opens the books that this one has open."""
    name = str(connection.settings_dict["NAME"])
    if connection.vendor == "sqlite":
        return {"KITTING_DATA": str(Path(name).parent)}
    return {"DATABASE_URL": urlunsplit(urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}"))}


def _wait_for_the_server() -> None:
    """PostgreSQL may still be at the last statement of a client that is gone."""
    if connection.vendor == "sqlite":
        return
    others = (
        "SELECT count(*) FROM pg_stat_activity "
        "WHERE datname = current_database() AND pid <> pg_backend_pid() AND state <> 'idle'"
    )
    until = time.monotonic() + _PATIENCE_S
    with connection.cursor() as cursor:
        while time.monotonic() < until:
            cursor.execute(others)
            if cursor.fetchone() == (0,):
                return
            time.sleep(0.02)


def _look(run: str, said: list[str]) -> Killed:
    booked = dict(
        Action.objects.filter(number__startswith=f"{run}/")
        .annotate(lines=Count("movements"))
        .values_list("number", "lines")
    )
    item = Item.objects.get(stock_code=_CODE)
    faults = [f"said to be done, but not booked: {number}" for number in said if number not in booked]
    faults += [f"said twice: {number}" for number in set(said) if said.count(number) > 1]
    faults += [f"{number} has {lines} movements" for number, lines in booked.items() if lines != len(LOTS)]
    faults += [f"{one.name}: {one.stored} stored, {one.derived} moved" for one in unequal_balances()]
    faults += [f"{lot} has a gap" for lot in LOTS if trace(item=item, number=lot).gap]
    return Killed(len(said), len(booked), "; ".join(faults))
