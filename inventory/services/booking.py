"""The only place that writes movements and balances, both in the transaction of the use case that calls."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db import connection
from django.db.models import F

from inventory.errors import Refusal
from inventory.models import Action, Balance, Lot, Movement, OrderLine, Place
from inventory.selectors.last_pieces import Taker, last_takers
from inventory.selectors.locking import locked_balances
from inventory.selectors.words import quantity_text

Key = tuple[int, int]  # place, lot
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


def book(action: Action, moves: Sequence[Move], *, check: Check | None = None, first_line: int = 1) -> None:
    """Write the movements of an action, and what they change; the number of queries doesn't grow with the lines.

    Balances are locked in the order of their numbers before anything is decided, so that two actions that want the
    last piece come one after the other, and don't wait for each other.

    Args:
        action: stored in this transaction.
        moves: what goes where.
        check: raises where the moves are not allowed; called when no balance they touch can change any more.
        first_line: of the action, where it is booked in several parts.

    Raises:
        Refusal: ``not-enough``: a place holds fewer pieces of a lot than leave it; says who took the last ones.
        Refusal: ``moves-nothing``: a quantity is not above zero.
    """
    if any(move.quantity <= 0 for move in moves):
        raise Refusal("moves-nothing", "A movement needs a quantity above zero.", {"action": action.number})
    changes: Counter[Key] = Counter()
    for move in moves:
        if move.source is not None:
            changes[(move.source.pk, move.lot.pk)] -= move.quantity
        if move.target is not None:
            changes[(move.target.pk, move.lot.pk)] += move.quantity
    ensure_balances((move.target, move.lot) for move in moves if move.target is not None)
    balances = locked_balances(changes)
    if check is not None:
        check()
    _refuse_what_is_not_there(moves, changes, balances)
    _add("inventory_balance", "quantity", {balances[key].pk: change for key, change in changes.items() if change})
    _count_received(moves)
    Movement.objects.bulk_create(_row(action, line, move) for line, move in enumerate(moves, first_line))


def ensure_balances(pairs: Iterable[tuple[Place, Lot]]) -> None:
    """Give every place and lot a balance, of nothing where there was none."""
    keys = sorted({(place.pk, lot.pk) for place, lot in pairs})
    Balance.objects.bulk_create((Balance(place_id=place, lot_id=lot) for place, lot in keys), ignore_conflicts=True)


def _add(table: str, column: str, changes: Mapping[int, int]) -> None:
    """Add to a quantity of each record by its number, in one statement; the database refuses to go below zero."""
    if not changes:
        return
    # PostgreSQL takes the type of a column of VALUES from its first row.
    rows = ", ".join(["(CAST(%s AS bigint), CAST(%s AS bigint))"] * len(changes))
    statement = (
        f"WITH change (id, quantity) AS (VALUES {rows}) "  # noqa: S608 - our own names, and marks for values
        f"UPDATE {table} SET {column} = {table}.{column} + change.quantity FROM change WHERE {table}.id = change.id"
    )
    with connection.cursor() as cursor:
        cursor.execute(statement, [number for pair in changes.items() for number in pair])


def _refuse_what_is_not_there(
    moves: Sequence[Move], changes: Mapping[Key, int], balances: Mapping[Key, Balance]
) -> None:
    there = {key: balances[key].quantity if key in balances else 0 for key in changes}
    missing = [key for key, change in changes.items() if there[key] + change < 0]
    if not missing:
        return
    named = {(move.source.pk, move.lot.pk): move for move in moves if move.source is not None}
    takers = last_takers(missing)
    facts = [_missing(named[key], -changes[key], there[key], takers.get(key)) for key in missing]
    raise Refusal("not-enough", " ".join(str(fact["sentence"]) for fact in facts), {"missing": facts})


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
            received[move.order_line.pk] += -move.quantity if move.reverses else move.quantity
    if received:
        _add("inventory_orderline", "received", received)
        OrderLine.objects.filter(pk__in=received).update(version=F("version") + 1)


def _row(action: Action, line: int, move: Move) -> Movement:
    return Movement(
        action=action,
        line=line,
        lot=move.lot,
        quantity=move.quantity,
        from_place=move.source,
        origin=move.origin,
        to_place=move.target,
        ending=move.ending,
        order_line=move.order_line,
        reverses=move.reverses,
    )
