"""Give what has come of orders to the promises that waited for it, in the order in which the jobs are served."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import F

from inventory.models import BIN, SUPPLIER_OWNED, Balance, Lot, LotHold
from inventory.selectors.finding import local_day
from inventory.selectors.locking import lock_balances_of
from inventory.services.actions import use_case
from kitting.calculation.promising.model import SHELF, TRANSFER
from kitting.calculation.quantities import as_decimal
from kitting.models import Promise
from kitting.selectors.orders import PIECES_CAME, landed
from kitting.selectors.policies import margin_days
from kitting.selectors.promises import in_turn, promised_at
from kitting.services.record_events import Happening, record_events
from kitting.services.release_promises import release


@dataclass(slots=True)
class _Came:
    """Pieces of an order line that lie free at a place: thousandths left for promises."""

    balance: Balance
    left: int


@use_case
def settle_deliveries(*, by: str, at: datetime, depots: Collection[str] = ()) -> int:
    """Turn promises of ordered pieces into promises of pieces that have come; returns how many promises got pieces.

    The first job in the order of service gets its pieces first, whoever asks first. It looks at what has come and is
    free, so that doing it again changes nothing, and a call that was cut off is made good by the next one. Pieces that
    are held, set aside, not in a bin or out of date for the job are left alone; what is still to come stays promised
    from the order.

    Args:
        by: who put the delivery away.
        at: the moment, with its zone.
        depots: only what is ordered for these; none named: all. Who gets what is no choice of anybody's.
    """
    waiting = _waiting(depots)
    came = _came(set(waiting))
    margin = margin_days()
    told: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    made: list[Promise] = []
    served: list[int] = []
    for line, promises in waiting.items():
        for promise in promises:
            lacking = promise.quantity
            for pieces, balance in _taken(promise, came.get(line, ()), margin):
                lacking -= pieces
                made.append(_again(promise, pieces, at, balance))
                told[promise.job.job, promise.depot][f"{promise.item.stock_code} of {promise.order_line}"] += pieces
            if lacking < promise.quantity:
                served.append(promise.pk)
                made += [_again(promise, lacking, at, None)] if lacking else []
    release(Promise.objects.filter(pk__in=served), why=PIECES_CAME, at=at)
    Promise.objects.bulk_create(made)
    record_events(_happenings(told), by=by, at=at)
    return len(served)


def _waiting(depots: Collection[str]) -> dict[int, list[Promise]]:
    """Open promises of ordered pieces by order line, in the order of service of the plan that made them."""
    found = Promise.objects.select_for_update(of=("self",)).filter(
        released_at__isnull=True, order_line__isnull=False, order_line__received__gt=0
    )
    if depots:
        found = found.filter(order_line__depot__depot__in=depots)
    by_line: dict[int, list[Promise]] = {}
    for promise in in_turn(found.select_related("job", "item", "order_line__order", "plan").order_by("pk")):
        by_line.setdefault(promise.order_line_id or 0, []).append(promise)
    return by_line


def _came(lines: set[int]) -> dict[int, list[_Came]]:
    """What has come of each order line and lies free in a bin, the first to expire first; locked."""
    came_to = landed(lines, (BIN, SUPPLIER_OWNED))
    lots = {lot for _, lot in came_to}
    lock_balances_of(Lot.objects.filter(pk__in=lots))
    held = set(LotHold.objects.filter(released_at__isnull=True).values_list("item_id", "lot_number"))
    promised = promised_at(lot__in=lots)
    found: dict[int, list[_Came]] = {}
    balances = Balance.objects.filter(lot__in=lots).select_related("lot__item", "place__depot")
    for balance in balances.order_by(F("lot__use_by").asc(nulls_last=True), "pk"):
        key = (balance.place_id, balance.lot_id)
        free = balance.quantity - promised[key]
        if (balance.lot.item_id, balance.lot.number) in held:
            continue
        for line, quantity in came_to.get(key, {}).items():
            pieces = min(free, quantity)
            if pieces > 0:
                found.setdefault(line, []).append(_Came(balance, pieces))
                free -= pieces
    return found


def _taken(promise: Promise, came: Sequence[_Came], margin: int) -> Iterator[tuple[int, Balance]]:
    """Pieces for a promise, and where they lie; what it still lacks stays promised from the order."""
    last = promise.job.cutover_end or promise.job.cutover
    needed = date.fromisoformat(last[:10]) + timedelta(margin)
    lacking = promise.quantity
    for one in came:
        lot = one.balance.lot
        is_good = lot.use_by >= needed if lot.use_by else lot.item.shelf_months is None
        stays = one.balance.place.kind == SUPPLIER_OWNED and one.balance.place.depot.depot != promise.depot
        pieces = min(one.left, lacking) if is_good and not stays else 0
        if pieces:
            one.left -= pieces
            lacking -= pieces
            yield pieces, one.balance


def _again(promise: Promise, pieces: int, at: datetime, balance: Balance | None) -> Promise:
    """A promise to the same line of so many pieces: of these, or of what is still to come."""
    is_here = balance is not None and balance.place.depot.depot == promise.depot
    return Promise(
        plan=promise.plan,
        job=promise.job,
        line=promise.line,
        item=promise.item,
        lot=balance.lot if balance else None,
        place=balance.place if balance else None,
        order_line=None if balance else promise.order_line,
        quantity=pieces,
        depot=promise.depot,
        source=SHELF if is_here else TRANSFER if balance else promise.source,
        ready_on=local_day(balance.place.depot, at) if balance and is_here else promise.ready_on,
        made_at=at,
        rule=promise.rule,
        rule_revision=promise.rule_revision,
    )


def _happenings(told: Mapping[tuple[str, str], Counter[str]]) -> Iterator[Happening]:
    for (job, depot), codes in told.items():
        given = {code: str(as_decimal(pieces)) for code, pieces in codes.items()}
        yield Happening("delivery promised", job, {"given": given}, addressed_to="storekeeper", depot=depot)
