"""Change what is on order: another day, a part with a day of its own; who waits is promised what comes first."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Unpack

from inventory.models import Depot, OrderLine, Way
from inventory.selectors.finding import local_day, order_lines
from inventory.selectors.words import quantity_text
from inventory.services.actions import begin, use_case
from kitting.calculation.calendars import order_ready
from kitting.calculation.quantities import PER_UNIT
from kitting.errors import Refusal
from kitting.models import Promise
from kitting.roles import DO, Actor, require
from kitting.selectors.orders import free_part_name, in_purchase_units
from kitting.selectors.promises import in_turn
from kitting.selectors.working_days import closed_days
from kitting.services.record_events import Happening, record_events
from kitting.services.release_promises import release, rest_of
from kitting.services.scans import Scan, stamp_of
from kitting.services.two_persons import need_reason

ORDER_SHEET = "order sheet"
WHO_WAITS = "who waits"


@use_case
def redate_order(*, order: str, line: str, promised: date, why: str, **scan: Unpack[Scan]) -> OrderLine:
    """Note the day on which a supplier now promises a line, or a part of one; planner and buyer are told.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``; ``no-reason``; ``unknown-order-line``; ``received-already``:
            nothing of it is to come; ``past-date``.
    """
    actor, at = scan["actor"], scan["at"]
    found = own_line(order, line, actor)
    reason = need_reason(why, "A new day")
    content = {"order": order, "line": line, "promised": promised}
    _, repeated = begin("redate order", content, stamp_of(scan), reason)
    if repeated:
        return found
    need_to_come(found)
    _need_day_ahead(found, promised, at)
    before, found.promised = found.promised, promised
    found.version += 1
    found.save(update_fields=("promised", "version"))
    waits = promise_again(found, why=f"{found} comes on {promised}", at=at)
    told = {
        "before": before, "after": promised, "why": reason, "stock_code": found.item.stock_code, WHO_WAITS: waits,
    }  # fmt: skip
    happening = Happening("order re-dated", str(found), told, addressed_to="planner", depot=found.depot.depot)
    record_events([happening], by=actor.name, at=at)
    return found


@use_case
def split_order(
    *, order: str, line: str, units: int, promised: date, why: str, **scan: Unpack[Scan]
) -> OrderLine:  # fmt: skip
    """Give a part of what is to come of a line a day of its own; the sum of what was ordered stays.

    Args:
        order, line: an order line, or a part of one.
        units: thousandths of the item's purchase unit that come on that day.
        promised: the day.
        why: what the supplier said.
        scan: who, when, the number of the action.

    Returns the line, less the part.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``; ``no-reason``; ``unknown-order-line``; ``received-already``;
            ``no-quantity``; ``not-whole-units``; ``more-than-open``; ``all-of-it``: it is no part; ``same-day``;
            ``past-date``.
    """
    actor, at = scan["actor"], scan["at"]
    found = own_line(order, line, actor)
    reason = need_reason(why, "A part on a day of its own")
    content = {"order": order, "line": line, "units": units, "promised": promised}
    _, repeated = begin("split order", content, stamp_of(scan), reason)
    if repeated:
        return found
    pieces = part_of(found, units, promised, at)
    left = found.quantity - found.received
    found.quantity -= pieces
    found.version += 1
    found.save(update_fields=("quantity", "version"))
    part = OrderLine.objects.create(
        order=found.order, line=free_part_name(found), item=found.item, quantity=pieces, depot=found.depot,
        supplier=found.supplier, promised=promised, part_of=found.part_of or found,
    )  # fmt: skip
    waits = promise_again(found, why=f"{found} comes in parts", at=at)
    unit = found.item.stock_unit
    told = {
        "part": str(part), "pieces": quantity_text(pieces, unit), "left": quantity_text(left - pieces, unit),
        "before": found.promised, "after": promised, "why": reason, "stock_code": found.item.stock_code,
        WHO_WAITS: waits,
    }  # fmt: skip
    happening = Happening("order split", str(found), told, addressed_to="planner", depot=found.depot.depot)
    record_events([happening], by=actor.name, at=at)
    return found


def own_line(order: str, line: str, actor: Actor) -> OrderLine:
    """An order line, locked, for a buyer who may change what is ordered for its depot.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``; ``unknown-order-line``.
    """
    require(actor, ORDER_SHEET, DO)
    found = order_lines([(order, line)])[(order, line)]
    require(actor, ORDER_SHEET, DO, found.depot.depot)
    return found


def part_of(line: OrderLine, units: int, promised: date, at: datetime) -> int:
    """Thousandths of the stock unit in so many purchase units of a line that come on a day of their own.

    Raises:
        Refusal: as ``split_order``.
    """
    need_to_come(line)
    pieces = pieces_of(line, units)
    if pieces == line.quantity - line.received:
        message = f"That is all that is to come of {line}: note another day for the line instead."
        raise Refusal("all-of-it", message, {"order": line.order.number, "line": line.line})
    _need_day_ahead(line, promised, at)
    if promised == line.promised:
        message = f"{line} is promised for {promised} already: a part comes on another day."
        raise Refusal("same-day", message, {"promised": promised.isoformat()})
    return pieces


def need_to_come(line: OrderLine) -> None:
    """Refuse a line of which nothing is to come.

    Raises:
        Refusal: ``received-already``; ``cut-already``.
    """
    if line.received < line.quantity:
        return
    facts = {"order": line.order.number, "line": line.line}
    if line.cut and not line.received:
        raise Refusal("cut-already", f"{line} is cancelled: nothing of it is to come.", facts)
    raise Refusal("received-already", f"{line} has come already.", facts)


def pieces_of(line: OrderLine, units: int) -> int:
    """Thousandths of the stock unit in so many purchase units of what is to come of a line.

    Raises:
        Refusal: ``no-quantity``; ``not-whole-units``; ``more-than-open``.
    """
    item = line.item
    unit = in_purchase_units(line)
    if units <= 0:
        raise Refusal("no-quantity", f"Say how many {unit.name} of {line}: a number above nothing.", {"units": units})
    if units % PER_UNIT and unit.is_bought:
        message = f"{item} is sold by the {unit.name}{unit.holds}: {quantity_text(units, unit.name)} can't be ordered."
        raise Refusal("not-whole-units", message, {"units": units})
    pieces = units * unit.pieces // PER_UNIT
    left = line.quantity - line.received
    if pieces > left:
        asked, there = (quantity_text(one, item.stock_unit) for one in (pieces, left))
        message = f"{asked} are more than is to come of {line}: {there}."
        raise Refusal("more-than-open", message, {"asked": pieces, "open": left})
    return pieces


def _need_day_ahead(line: OrderLine, promised: date, at: datetime) -> None:
    today = local_day(line.depot, at)
    if promised < today:
        message = f"{promised} is past; today is {today}. What has come is received, not promised."
        raise Refusal("past-date", message, {"promised": promised.isoformat()})


def promise_again(line: OrderLine, *, why: str, at: datetime) -> dict[str, str]:
    """Promise what is to come of a line and its parts to the jobs that wait, inside the caller's transaction.

    Who is served first is promised what comes first. What is not to come any more is released from who is served last.

    Returns what changed by job, in words: how many nothing is promised for now, when the last of its pieces are there.
    """
    root = line.part_of_id or line.pk
    family = OrderLine.objects.select_for_update(of=("self",), no_key=True).select_related("order", "item", "depot")
    parts = sorted(
        [*family.filter(pk=root), *family.filter(part_of=root)], key=lambda one: (one.promised or date.max, one.pk)
    )
    found = Promise.objects.select_for_update(of=("self",)).filter(released_at__isnull=True, order_line__in=parts)
    promises = in_turn(found.select_related("job", "plan", "item").order_by("pk"))
    room = {one.pk: one.quantity - one.received for one in parts}
    arrivals = _Arrivals()
    gone, made = [], list[Promise]()
    lacks, there, moved = dict[str, int](), dict[str, date](), set[str]()
    for promise in promises:
        shares = [*_shares(promise.quantity, parts, room)]
        lacking = promise.quantity - sum(pieces for _, pieces in shares)
        days = [arrivals.there(one, promise) for one, _ in shares]
        job = promise.job.job
        there[job] = max([*days, there.get(job, date.min)])
        if [(one.pk, pieces) for one, pieces in shares] == [(promise.order_line_id, promise.quantity)] and days == [
            promise.ready_on
        ]:
            continue
        gone.append(promise.pk)
        if days and max(days) != promise.ready_on:
            moved.add(job)
        for (one, pieces), day in zip(shares, days, strict=True):
            again = rest_of(promise, pieces, at)
            again.order_line, again.ready_on = one, day
            made.append(again)
        if lacking:
            lacks[job] = lacks.get(job, 0) + lacking
    release(Promise.objects.filter(pk__in=gone), why=why, at=at)
    Promise.objects.bulk_create(made)
    unit = line.item.stock_unit
    told = [(job, f"{quantity_text(pieces, unit)} lacking") for job, pieces in lacks.items()]
    told += [(job, f"there on {there[job]}") for job in sorted(moved - lacks.keys())]
    return dict(told)


def _shares(wanted: int, parts: Sequence[OrderLine], room: dict[int, int]) -> Iterator[tuple[OrderLine, int]]:
    for one in parts:
        pieces = min(wanted, room[one.pk])
        if pieces > 0:
            room[one.pk] -= pieces
            wanted -= pieces
            yield one, pieces


class _Arrivals:
    """The day on which pieces of an order can be at the depot of a bag."""

    def __init__(self) -> None:
        self._depots = {depot.depot: depot for depot in Depot.objects.all()}
        ways = Way.objects.values_list("from_depot__depot", "to_depot__depot", "days")
        self._days = {(start, end): days for start, end, days in ways}

    def there(self, line: OrderLine, promise: Promise) -> date:
        """By the calendars of both depots; as it was where the line has no day or no way leads there."""
        here, target = line.depot.depot, promise.depot
        days = 0 if here == target else self._days.get((here, target))
        if line.promised is None or days is None or target not in self._depots:
            return promise.ready_on
        return order_ready(
            line.promised, receiving_days=line.depot.receiving_days or 0, closed=closed_days(line.depot),
            transfer_days=days, closed_at_destination=closed_days(self._depots[target]),
        )  # fmt: skip
