"""Let promises follow their pieces between depots: from the bin on to the van, and from the van to where it is put."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import datetime

from django.db.models import F, Q

from inventory.models import VAN, Balance, Difference, Lot, Movement, Place
from inventory.selectors.finding import local_day
from inventory.selectors.locking import lock_balances_of
from inventory.services.actions import use_case
from kitting.calculation.promising.model import SHELF, TRANSFER
from kitting.models import Event, Promise
from kitting.roles import STOREKEEPER
from kitting.selectors.bag_contents import bare
from kitting.selectors.promises import service_turns
from kitting.services.record_events import Happening, lock_chain, record_events
from kitting.services.release_promises import let_go, release

Key = tuple[int, int]  # place, lot
_DIFFERS = "transfer differs"


@use_case
def settle_transfers(*, by: str, at: datetime) -> int:
    """Move promises after the pieces that vans took and brought; returns how many promises moved.

    Aboard a van the pieces are for bags at the depot it goes to, the first job in the order of service first. It looks
    at what lies where, so that doing it again changes nothing, and a call that was cut off is made good by the next
    one. What is missing at the end of the road stays promised from the van, until it is settled. Who was promised
    pieces that went elsewhere is promised them no more, and planners hear of it. What was counted differently is told
    once to the stores of both depots.

    Args:
        by: who loaded, counted or settled.
        at: the moment, with its zone.
    """
    promises = _open_promises()
    lots = {lot for _, lot in promises}
    lock_balances_of(Lot.objects.filter(pk__in=lots))
    free = Counter[Key]()
    for place, lot, quantity in Balance.objects.filter(lot__in=lots).values_list("place", "lot", "quantity"):
        free[place, lot] += quantity
    for key, waiting in promises.items():
        free[key] -= sum(one.quantity for one in waiting)
    made, moved = [], []
    for source, target, lot in _ways(lots):
        here, there = (source.pk, lot), (target.pk, lot)
        for promise, pieces in _following(promises[here], source, target, -free[here], free[there]):
            free[here] += pieces
            free[there] -= pieces
            promises[here].remove(promise)
            moved.append(promise.pk)
            parts = [_again(promise, pieces, at, target)]
            promises[there].append(parts[0])
            if promise.quantity > pieces:
                parts.append(_again(promise, promise.quantity - pieces, at, source))
                promises[here].append(parts[1])
            made += parts
    release(Promise.objects.filter(pk__in=[number for number in moved if number]), why="its pieces have moved", at=at)
    still = {id(one) for waiting in promises.values() for one in waiting}
    Promise.objects.bulk_create(one for one in made if id(one) in still)
    let_go({*promises}, why="went elsewhere by van, or was lost on the road", by=by, at=at)
    _tell_differences(by=by, at=at)
    return len(moved)


def _tell_differences(*, by: str, at: datetime) -> None:
    """Tell both depots of each open difference that they have not heard of."""
    found = Difference.objects.filter(settled__isnull=True).order_by("pk")
    found = found.select_related("transfer__from_depot", "transfer__to_depot", "lot__item")
    if not found:
        return
    lock_chain()
    told = {
        (subject, data["sent"], data["counted"])
        for subject, data in Event.objects.filter(name=_DIFFERS, subject__in=map(str, found)).values_list(
            "subject", "data"
        )
    }
    happenings = [
        Happening(
            _DIFFERS, str(one), {"sent": bare(one.sent), "counted": bare(one.counted)}, addressed_to=STOREKEEPER,
            depot=depot.depot,
        )
        for one in found
        if (str(one), bare(one.sent), bare(one.counted)) not in told
        for depot in (one.transfer.from_depot, one.transfer.to_depot)
    ]  # fmt: skip
    if happenings:
        record_events(happenings, by=by, at=at)


def _open_promises() -> defaultdict[Key, list[Promise]]:
    """Open promises of lots that a van carries or carried, by place and lot, in the order of service; locked."""
    carried = Movement.objects.filter(Q(from_place__kind=VAN) | Q(to_place__kind=VAN)).values("lot")
    found = Promise.objects.select_for_update(of=("self",)).filter(released_at__isnull=True, lot__in=carried)
    rows = [*found.select_related("job", "plan", "place").order_by("pk")]
    order = {plan.pk: service_turns(plan) for plan in {row.plan for row in rows}}
    rows.sort(key=lambda row: order[row.plan_id].get(row.job.job, len(order[row.plan_id])))
    by_key: defaultdict[Key, list[Promise]] = defaultdict(list)
    for row in rows:
        by_key[row.place_id or 0, row.lot_id or 0].append(row)
    return by_key


def _ways(lots: set[int]) -> Iterator[tuple[Place, Place, int]]:
    """Where vans not yet counted out were loaded, and where all were unloaded, in the order in which it was booked.

    What was unloaded came also from where the van was loaded, in case nobody looked while it was on the road.
    """
    moves = Movement.objects.filter(
        Q(from_place__kind=VAN) | Q(to_place__kind=VAN), lot__in=lots, from_place__isnull=False, to_place__isnull=False
    ).select_related("from_place__depot", "to_place__depot")
    loaded: defaultdict[Key, list[Place]] = defaultdict(list)
    for move in moves.annotate(counted_out=F("to_place__transfer__received")).order_by("pk"):
        source, target = move.from_place, move.to_place
        if source is None or target is None:
            continue
        if target.kind == VAN:
            loaded[target.pk, move.lot_id].append(source)
        if move.counted_out is None:
            yield source, target, move.lot_id
        for origin in loaded[source.pk, move.lot_id]:
            yield origin, target, move.lot_id


def _following(
    waiting: list[Promise], source: Place, target: Place, lacking: int, room: int
) -> Iterator[tuple[Promise, int]]:
    """Promises that go along, and with how many pieces: aboard those for the van's depot, off it what came.

    Of what a van has brought nobody waits for what is missing: it is promised from there first.
    """
    left = room if VAN in (source.kind, target.kind) else min(room, lacking)
    for promise in [*waiting]:
        goes = source.kind == VAN or (promise.source == TRANSFER and promise.depot == target.depot.depot)
        pieces = min(promise.quantity, left) if goes else 0
        if pieces > 0:
            left -= pieces
            yield promise, pieces


def _again(promise: Promise, pieces: int, at: datetime, place: Place) -> Promise:
    """The same promise of so many pieces, at that place."""
    arrived = place.kind != VAN and place.depot.depot == promise.depot
    return Promise(
        plan=promise.plan,
        job=promise.job,
        line=promise.line,
        item_id=promise.item_id,
        lot_id=promise.lot_id,
        place=place,
        quantity=pieces,
        depot=promise.depot,
        source=SHELF if arrived else TRANSFER,
        ready_on=local_day(place.depot, at) if arrived else promise.ready_on,
        made_at=at,
        rule=promise.rule,
        rule_revision=promise.rule_revision,
    )
