"""The only place that writes movements and balances, both in the transaction of the use case that calls.

Its statements are written by hand, because others wait for the balances meanwhile: one that makes balances, one that
locks and changes them, one that writes the movements.
"""
# ruff: noqa: S608 - nothing goes into a statement but our own words, days and numbers of records

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import connection

from inventory.errors import Refusal
from inventory.models import ENDINGS, ORIGINS, Action, Lot, Movement, OrderLine, Place
from inventory.selectors.last_pieces import Taker, last_takers
from inventory.selectors.locking import locked_balances
from inventory.selectors.words import quantity_text
from inventory.services.whole_pieces import PIECE, need_whole

Key = tuple[int, int]  # place, lot
_COLUMNS = "action_id, line, lot_id, quantity, from_place_id, to_place_id, order_line_id, reverses_id, origin, ending"
_WORDS = {word: f"'{word}'" for word in ("", *ORIGINS, *ENDINGS)}
Check = Callable[[], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Thousandths of a lot that go from a place or an origin to a place or an ending."""

    lot: Lot
    quantity: int
    source: Place | None = None
    origin: str = ""
    target: Place | None = None
    ending: str = ""
    order_line: OrderLine | None = None
    reverses: Movement | None = None


def book(
    action: Action, moves: Sequence[Move], *, check: Check | None = None, first_line: int = 1, in_parts: bool = False
) -> None:
    """Write the movements of an action, and what they change; the number of queries doesn't grow with the lines.

    Balances are locked in the order of their numbers before anything is decided, so that two actions that want the
    last piece come one after the other, and don't wait for each other.

    Args:
        action: stored in this transaction, which ends where this refuses.
        moves: what goes where.
        check: raises where the moves are not allowed; called when nobody else can change a balance they touch any more.
        first_line: of the action, where it is booked in several parts.
        in_parts: whether a part of a piece may move, because the books are put right where they hold one.

    Raises:
        Refusal: ``part-of-a-piece``; a movement that is taken back may be one.
        Refusal: ``not-enough``: a place holds fewer pieces of a lot than leave it; says who took the last ones.
        Refusal: ``moves-nothing``: a quantity is not above zero; ``same-place``: pieces would stay where they are.
    """
    if any(move.quantity <= 0 for move in moves):
        raise Refusal("moves-nothing", "A movement needs a quantity above zero.", {"action": action.number})
    for move in moves:
        if move.quantity % PIECE and not in_parts and move.reverses is None:
            need_whole(move.lot.item, move.quantity)
    stays = next((move.target for move in moves if move.target is not None and move.target == move.source), None)
    if stays is not None:
        message = f"The pieces are at {stays} already: name another place."
        raise Refusal("same-place", message, {"place": str(stays)})
    changes = _changes(moves)
    rows = _written(action, moves, first_line)  # before others have to wait
    ensure_balances((move.target, move.lot) for move in moves if move.target is not None)
    are_changed = _change(changes)
    if check is not None:
        check()
    if not are_changed:
        raise _not_there(moves, changes)
    _count_received(moves)
    if moves:
        _run(f"INSERT INTO inventory_movement ({_COLUMNS}) VALUES {rows}")


def ensure_balances(pairs: Iterable[tuple[Place, Lot]]) -> None:
    """Give every place and lot a balance, of nothing where there was none."""
    keys = sorted({(place.id, lot.id) for place, lot in pairs})
    if keys:
        rows = _rows((place, lot, 0) for place, lot in keys)
        _run(f"INSERT INTO inventory_balance (place_id, lot_id, quantity) VALUES {rows} ON CONFLICT DO NOTHING")


def note_counts(counted: Mapping[Key, date | None]) -> None:
    """Give each place and lot a balance, of nothing where there was none, and note when it was counted, if it was.

    Locks the balances in the order of these keys: for a transaction that holds all balances still.
    """
    if counted:
        rows = _rows((*key, 0, f"'{day}'" if day else "NULL") for key, day in counted.items())
        _run(
            f"INSERT INTO inventory_balance (place_id, lot_id, quantity, counted_on) VALUES {rows} "
            "ON CONFLICT (place_id, lot_id) DO UPDATE SET counted_on = excluded.counted_on "
            "WHERE excluded.counted_on IS NOT NULL"
        )


def _changes(moves: Sequence[Move]) -> Counter[Key]:
    """Thousandths that are more or less afterwards."""
    changes: Counter[Key] = Counter()
    for move in moves:
        if move.source is not None:
            changes[(move.source.id, move.lot.id)] -= move.quantity
        if move.target is not None:
            changes[(move.target.id, move.lot.id)] += move.quantity
    return changes


def _change(changes: Mapping[Key, int]) -> bool:
    """Lock all balances, then add to each; whether all are there and none goes below zero, else none is changed."""
    if not changes:
        return True
    lock = "FOR NO KEY UPDATE OF held" if connection.features.has_select_for_update else ""
    changed = _run(
        f"""
        WITH change (place, lot, quantity) AS (VALUES {_rows((*key, change) for key, change in changes.items())}),
        locked AS (
            SELECT held.id, held.quantity + change.quantity AS quantity
            FROM change JOIN inventory_balance AS held ON held.place_id = change.place AND held.lot_id = change.lot
            ORDER BY held.id {lock}
        )
        UPDATE inventory_balance SET quantity = locked.quantity FROM locked
        WHERE inventory_balance.id = locked.id AND (SELECT count(*) FROM locked WHERE quantity >= 0) = {len(changes)}
        RETURNING 1
        """
    )
    return len(changed) == len(changes)


def _not_there(moves: Sequence[Move], changes: Mapping[Key, int]) -> Refusal:
    """Why a change is not possible: what is missing where, and who took it."""
    balances = locked_balances(changes)
    there = {key: balances[key].quantity if key in balances else 0 for key in changes}
    missing = [key for key, change in changes.items() if there[key] + change < 0]
    named = {(move.source.id, move.lot.id): move for move in moves if move.source is not None}
    takers = last_takers(missing)
    facts = [_missing(named[key], -changes[key], there[key], takers.get(key)) for key in missing]
    return Refusal("not-enough", " ".join(str(fact["sentence"]) for fact in facts), {"missing": facts})


def _missing(move: Move, wanted: int, there: int, taker: Taker | None) -> dict[str, object]:
    unit = move.lot.item.stock_unit
    asked = f"{quantity_text(wanted, unit)} of {move.lot} asked for at {move.source}"
    gone = f"; {taker.sentence}" if taker else ""
    return {
        "place": str(move.source),
        "stock_code": move.lot.item.stock_code,
        "lot": move.lot.number,
        "wanted": wanted,
        "there": there,
        "taken_by": taker.by if taker else "",
        "taken_to": taker.to if taker else "",
        "sentence": f"{asked}, {quantity_text(there, unit)} there{gone}.",
    }


def _count_received(moves: Sequence[Move]) -> None:
    """Keep what has come of each order line; a reversal takes it back."""
    received: Counter[int] = Counter()
    for move in moves:
        if move.order_line is not None:
            received[move.order_line.id] += -move.quantity if move.reverses else move.quantity
    if received:
        _run(
            f"""
            WITH change (id, quantity) AS (VALUES {_rows(received.items())})
            UPDATE inventory_orderline SET received = received + change.quantity, version = version + 1
            FROM change WHERE inventory_orderline.id = change.id
            """
        )


def _written(action: Action, moves: Sequence[Move], first_line: int) -> str:
    """The rows of movements."""
    return _rows(
        (
            action.id,
            line,
            move.lot.id,
            move.quantity,
            move.source.id if move.source else "NULL",
            move.target.id if move.target else "NULL",
            move.order_line.id if move.order_line else "NULL",
            move.reverses.id if move.reverses else "NULL",
            _WORDS[move.origin],
            _WORDS[move.ending],
        )
        for line, move in enumerate(moves, first_line)
    )


def _rows(rows: Iterable[Iterable[object]]) -> str:
    """Rows as VALUES takes them: written into the statement, they cost a third of what parameters do."""
    return ", ".join([f"({', '.join(map(str, row))})" for row in rows])


def _run(statement: str) -> list[tuple[Any, ...]]:
    """Run a statement of our own words, days and numbers; what it returns."""
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return cursor.fetchall() if cursor.description else []
