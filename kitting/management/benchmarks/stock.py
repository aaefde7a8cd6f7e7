"""The books timed: movements beside bare inserts of the same rows, a rebuild, a load, and planning from records."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
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


@dataclass(frozen=True, slots=True)
class Pace:
    """Movements a second: booked, and their rows alone inserted into tables without keys, and into those of the books.

    The rows are one of the action and one a movement. An action also locks and changes two balances a movement, which
    neither of the others does; tables without keys have no index, no constraint and no trigger either.
    """

    booked: float
    bare: float
    kept: float


def movements_a_second(made: Warehouse, actions: int, lines: int) -> Pace:
    """Book with one thread a bag, and insert the same rows with as many threads; the books are not in order after it.

    Args:
        made: the warehouse; each hand carries lots into its own bag.
        actions: how many times each hand does.
        lines: how many lots it carries at a time.
    """

    def book(hand: int, number: int, lots: Sequence[Lot]) -> None:
        carries = [Carry(lot=lot, quantity=PIECE, source=made.shelf, target=made.bags[hand]) for lot in lots]
        move(carries=carries, by="bench", at=AT, action=f"move {lines} {hand} {number}")

    def insert(tables: str, hand: int, number: int, lots: Sequence[Lot]) -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(
                f'INSERT INTO {tables}_action ("number", "use_case", "digest", "why", "paper", "by", "at") '  # noqa: S608
                "VALUES (%s, %s, %s, %s, %s, %s, %s) RETURNING id",
                (f"{tables} {lines} {hand} {number}", "move", "0" * 64, "", "", "bench", AT),
            )
            (action,) = cursor.fetchone()
            cursor.executemany(
                f"INSERT INTO {tables}_movement "  # noqa: S608 - our own names
                "(action_id, line, lot_id, quantity, from_place_id, origin, to_place_id, ending) "
                "VALUES (%s, %s, %s, %s, %s, %s, %s, %s)",
                [
                    (action, line, lot.pk, PIECE, made.shelf.pk, "", made.bags[hand].pk, "")
                    for line, lot in enumerate(lots, start=1)
                ],
            )

    with connection.cursor() as cursor:
        for table in ("action", "movement"):
            cursor.execute(f"DROP TABLE IF EXISTS bare_{table}")
            cursor.execute(f"CREATE TABLE bare_{table} AS SELECT * FROM inventory_{table} WHERE 1 = 0")  # noqa: S608
    moved = actions * len(made.bags) * lines
    deeds = (book, partial(insert, "bare"), partial(insert, "inventory"))
    return Pace(*(moved / _by_many(deed, made, actions, lines) for deed in deeds))


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
