"""The books timed: movements beside bare inserts of the same rows, a rebuild, a load, and planning from records."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from random import Random
from time import perf_counter
from typing import TypeVar

from django.db import connection, transaction

from inventory.models import BAG, OPENING, Action, Depot, Item, Lot, Movement, Place
from inventory.services.moving import Carry, move
from inventory.services.opening import Opening, open_balances
from inventory.services.rebuilding import rebuild
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import RawBook
from kitting.management.benchmarks.main_job_data import AS_OF, made_up_book
from kitting.selectors.sheets import one_moment, sheets_from_records
from kitting.services.load_sheets import load_sheets

PIECE = 1_000  # thousandths
LOTS = 500
LINES = (10, 50)  # of one action: a small bag, a whole pick list
AT = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
_BATCH = 5_000
Made = TypeVar("Made")


@dataclass(frozen=True, slots=True)
class Warehouse:
    """A shelf with plenty of every lot, and a bag for each hand."""

    shelf: Place
    bags: list[Place]
    lots: list[Lot]


def warehouse(hands: int) -> Warehouse:
    """A depot with a shelf of 500 lots and a bag a hand."""
    depot = Depot.objects.create(depot="BENCH")
    shelf = Place.objects.create(depot=depot, code="shelf")
    bags = [Place.objects.create(depot=depot, code=f"bag {hand}", kind=BAG) for hand in range(hands)]
    items = Item.objects.bulk_create(Item(stock_code=f"CODE-{at}", kind="lug") for at in range(LOTS))
    action = Action.objects.create(number="opening", use_case="load", by="bench", at=AT)
    with transaction.atomic():
        open_balances(action, [Opening(item=item, place=shelf, quantity=10**9, lot="L-1") for item in items])
    return Warehouse(shelf, bags, list(Lot.objects.all()))


def movements_a_second(made: Warehouse, actions: int, lines: int) -> tuple[float, float]:
    """Movements booked a second by one thread a bag, and bare inserts of the same rows by as many threads.

    Args:
        made: the warehouse; each hand carries lots into its own bag.
        actions: how many times each hand does.
        lines: how many lots it carries at a time.
    """

    def book(hand: int, number: int, lots: Sequence[Lot]) -> None:
        carries = [Carry(lot=lot, quantity=PIECE, source=made.shelf, target=made.bags[hand]) for lot in lots]
        move(carries=carries, by="bench", at=AT, action=f"move {lines} {hand} {number}")

    def insert(hand: int, number: int, lots: Sequence[Lot]) -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(
                "INSERT INTO bare_action VALUES (%s, %s, %s, %s, %s, %s, %s)",
                [f"bare {hand} {number}", "move", "0" * 64, "", "", "bench", AT],
            )
            cursor.executemany(
                "INSERT INTO bare_movement VALUES (%s, %s, %s, %s, %s, %s, %s)",
                [
                    (line, lot.pk, PIECE, made.shelf.pk, "", made.bags[hand].pk, "")
                    for line, lot in enumerate(lots, start=1)
                ],
            )

    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE TABLE IF NOT EXISTS bare_action (number text, use_case text, digest text, why text, paper text, "
            "person text, moment timestamp with time zone)"
        )
        cursor.execute(
            "CREATE TABLE IF NOT EXISTS bare_movement (line integer, lot bigint, quantity bigint, from_place bigint, "
            "origin text, to_place bigint, ending text)"
        )
    hands = len(made.bags)
    moved = actions * hands * lines
    return moved / _by_many(book, made, actions, lines), moved / _by_many(insert, made, actions, lines)


def _by_many(deed: Callable[[int, int, Sequence[Lot]], None], made: Warehouse, actions: int, lines: int) -> float:
    """Seconds on the wall until every hand has done its actions."""

    def work(hand: int) -> None:
        chance = Random(hand)  # noqa: S311 - an example, no secret
        try:
            for number in range(actions):
                deed(hand, number, chance.sample(made.lots, lines))
        finally:
            connection.close()

    start = perf_counter()
    with ThreadPoolExecutor(len(made.bags)) as pool:
        for done in [pool.submit(work, hand) for hand in range(len(made.bags))]:
            done.result()
    return perf_counter() - start


def rebuild_seconds(made: Warehouse, movements: int) -> float:
    """Seconds to work the balances out again from so many movements, after writing them."""
    chance = Random(1)  # noqa: S311 - an example, no secret
    for first in range(0, movements, _BATCH):
        action = Action.objects.create(number=f"bulk {first}", use_case="receive", by="bench", at=AT)
        Movement.objects.bulk_create(
            Movement(
                action=action, line=line, lot=chance.choice(made.lots), quantity=PIECE, origin=OPENING,
                to_place=chance.choice(made.bags),
            )
            for line in range(min(_BATCH, movements - first))
        )  # fmt: skip
    start = perf_counter()
    rebuild()
    return perf_counter() - start


@dataclass(frozen=True, slots=True)
class Records:
    """Seconds on the wall: loading made-up sheets, loading them again, reading the records, and planning."""

    runs: int
    jobs: int
    load: float
    again: float
    read: float
    plan: float


def records_seconds(runs: int, *, lots: int = 50_000) -> Records:
    """Load a made-up book of so many runs and lots, twice, and plan it from the records."""
    raw = made_up_book(runs, lots=lots)
    load, again = (_timed(lambda: load_sheets(raw=raw, by="bench", at=AT, source="bench"))[0] for _ in range(2))

    def read_records() -> RawBook:
        with one_moment():
            return sheets_from_records()

    read, sheets = _timed(read_records)
    parse, book = _timed(lambda: read_book(sheets))
    planning, _ = _timed(lambda: plan(book, as_of=AS_OF))
    return Records(runs, len(book.frames["jobs"]), load, again, read + parse, planning)


def _timed(action: Callable[[], Made]) -> tuple[float, Made]:
    start = perf_counter()
    made = action()
    return perf_counter() - start, made
