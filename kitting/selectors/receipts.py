"""What a delivery brought, and who gets its pieces."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from inventory.models import Action, LotHold, Movement, OrderLine
from inventory.selectors.finding import LotKey, open_holds
from kitting.errors import Refusal
from kitting.models import Promise
from kitting.selectors.policies import margin_days


@dataclass(frozen=True, slots=True)
class Receipt:
    """A booked delivery: its movements, open promises of its lots where they were put, and holds on its lots."""

    action: Action
    moves: Sequence[Movement]
    promises: Sequence[Promise]
    holds: Mapping[LotKey, LotHold]


def too_old_for(line: OrderLine, use_by: date) -> list[str]:
    """Jobs that still wait for pieces of an order line and need them good for longer than this day; two queries."""
    waiting = Promise.objects.filter(order_line=line, released_at__isnull=True)
    margin = timedelta(margin_days())
    found = waiting.values_list("job__job", "job__cutover", "job__cutover_end").order_by("job__cutover", "job__job")
    needed = {job: date.fromisoformat((end or start)[:10]) + margin for job, start, end in found}
    return [job for job, day in needed.items() if use_by < day]


def receipt(number: str) -> Receipt:
    """A delivery by the number of its action; four queries.

    Raises:
        Refusal: ``unknown-receipt``.
    """
    action = Action.objects.filter(number=number, use_case="receive").first()
    if action is None:
        raise Refusal("unknown-receipt", f"There is no receipt {number}.", {"receipt": number})
    moves = action.movements.select_related("lot__item", "to_place__depot", "order_line__order").order_by("line")
    there = {(move.to_place_id, move.lot_id) for move in moves}
    found = Promise.objects.filter(
        released_at__isnull=True, lot__in={lot for _, lot in there}, made_at__gte=action.at
    ).select_related("job", "item", "place__depot")
    promises = [one for one in found.order_by("pk") if (one.place_id, one.lot_id) in there]
    return Receipt(action, [*moves], promises, open_holds([move.lot for move in moves]))
