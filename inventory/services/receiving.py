"""Receive what a supplier brings: count, units, lots and dates, against the lines of orders."""

from calendar import monthrange
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Unpack

from django.db.models import F, Q

from inventory.errors import Refusal
from inventory.models import FROM_SUPPLIER, HOLD, SUPPLIER_OWNED, Action, Depot, Item, Lot, OrderLine, Place
from inventory.selectors.finding import items_by_code, local_day, order_lines
from inventory.selectors.words import quantity_text
from inventory.services.actions import Stamp, begin, use_case
from inventory.services.booking import Move, book
from inventory.services.doubts import Doubts
from inventory.services.lots import Label, lot_number, lots_of
from inventory.services.rules import check, refuse_the_road

_ONE = 1000  # thousandths
HOLD_SHELF = "hold"  # made where a depot has no place of this kind when expired pieces come


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """A line of a delivery as counted.

    Args:
        stock_code: of today or of former times.
        place: where the pieces are put.
        count: thousandths of ``unit``.
        unit: the item's stock unit (also '') or its purchase unit.
        lot: as on the carton; ``?`` and the like mean unknown.
        use_by: as on the carton.
        made_on: gives use_by where only this is printed and the item's shelf life is known.
        order, line: the order line it answers, if any.
    """

    stock_code: str
    place: Place
    count: int
    unit: str = ""
    lot: str = ""
    use_by: date | None = None
    made_on: date | None = None
    order: str = ""
    line: str = ""


@use_case
def receive(
    *, depot: Depot, arrivals: Sequence[Arrival], confirmed: Collection[str] = (), **stamp: Unpack[Stamp]
) -> Action:
    """Book a delivery; pieces that are out of date on arrival go to the depot's hold place instead.

    Args:
        depot: where it arrives.
        arrivals: its lines.
        confirmed: keys of the questions that are answered with yes.
        stamp: who, when, the number of the action; ``paper`` is the receipt.

    Raises:
        Doubt: ``each-or-kit``: the count is what was ordered times or through what a purchase unit holds;
            ``more-than-ordered``; ``same-lot``: only one of carton and books has a date.
        Refusal: something unknown, or that does not belong together, or a held lot would go to a job at once.
    """
    content = {"depot": depot.pk, "arrivals": [_as_asked(arrival) for arrival in arrivals]}
    action, repeated = begin("receive", content, stamp)
    if repeated:
        return action
    refuse_the_road([arrival.place for arrival in arrivals])
    doubts = Doubts(confirmed)
    items = items_by_code(arrival.stock_code for arrival in arrivals)
    ordered = order_lines((one.order, one.line) for one in arrivals if one.order)
    quantities = [_in_stock_units(one, items[one.stock_code]) for one in arrivals]
    _check_orders(arrivals, quantities, ordered, depot=depot, items=items, doubts=doubts)
    labels = [_label(number, one, items[one.stock_code], depot) for number, one in enumerate(arrivals, 1)]
    lots = lots_of(labels, doubts)
    doubts.settle()
    places = _places(arrivals, lots, local_day(depot, action.at), depot)
    moves = [
        Move(
            lot=lot,
            quantity=quantity,
            origin=FROM_SUPPLIER,
            target=place,
            order_line=ordered.get((one.order, one.line)),
        )
        for one, lot, quantity, place in zip(arrivals, lots, quantities, places, strict=True)
    ]
    book(action, moves, check=lambda: check(moves, ""))
    return action


def _as_asked(one: Arrival) -> list[object]:
    return [one.stock_code, one.place.pk, one.count, one.unit, one.lot, one.use_by, one.made_on, one.order, one.line]


def _in_stock_units(arrival: Arrival, item: Item) -> int:
    """Thousandths of the stock unit."""
    if arrival.unit in ("", item.stock_unit):
        return arrival.count
    if arrival.unit != item.purchase_unit or not item.per_purchase_unit:
        units = f"{item.stock_unit} or {item.purchase_unit}" if item.per_purchase_unit else item.stock_unit
        raise Refusal(
            "unknown-unit",
            f"{item} is counted in {units}, not in {arrival.unit}.",
            {"stock_code": item.stock_code, "unit": arrival.unit},
        )
    quantity, rest = divmod(arrival.count * item.per_purchase_unit, _ONE)
    if rest:
        raise Refusal(
            "finer-than-a-thousandth", f"{item}: this count is finer than a thousandth {item.stock_unit}.", {}
        )
    return quantity


def _check_orders(
    arrivals: Sequence[Arrival],
    quantities: Sequence[int],
    ordered: Mapping[tuple[str, str], OrderLine],
    *,
    depot: Depot,
    items: Mapping[str, Item],
    doubts: Doubts,
) -> None:
    """What comes is what was ordered, to where it was ordered, and not more; else ask or refuse.

    Several lots may answer one order line: it is asked about once, at the first of them, over the sum.
    """
    coming: Counter[OrderLine] = Counter()
    first: dict[OrderLine, int] = {}
    for number, (arrival, quantity) in enumerate(zip(arrivals, quantities, strict=True), 1):
        if not arrival.order:
            continue
        line = ordered[(arrival.order, arrival.line)]
        if line.item != items[arrival.stock_code] or line.depot != depot:
            raise Refusal(
                "not-what-was-ordered",
                f"Order line {line} is {line.item} for {line.depot}, not {arrival.stock_code} for {depot}.",
                {"order": arrival.order, "line": arrival.line, "stock_code": arrival.stock_code},
            )
        coming[line] += quantity
        first.setdefault(line, number)
    for line, quantity in coming.items():
        _ask_each_or_kit(first[line], line, quantity, doubts)
        _ask_too_many(first[line], line, quantity, doubts)


def _ask_each_or_kit(number: int, line: OrderLine, quantity: int, doubts: Doubts) -> None:
    factor = line.item.per_purchase_unit
    if not factor or factor == _ONE:
        return
    for expected in (line.quantity, line.quantity - line.received):
        if expected > 0 and (quantity * _ONE == expected * factor or quantity * factor == expected * _ONE):
            unit, kit = line.item.stock_unit, line.item.purchase_unit or "purchase unit"
            doubts.ask(
                "each-or-kit",
                number,
                f"{line.item}: {quantity_text(quantity, unit)} counted, {quantity_text(expected, unit)} expected: "
                f"each ({unit}) or {kit} of {quantity_text(factor, unit)}? Count one carton.",
            )
            return


def _ask_too_many(number: int, line: OrderLine, quantity: int, doubts: Doubts) -> None:
    over = line.received + quantity - line.quantity
    if over > 0:
        wanted, before, more = (quantity_text(q, line.item.stock_unit) for q in (line.quantity, line.received, over))
        question = f"{wanted} ordered, {before} came before; {more} more than ordered: take them?{_other_parts(line)}"
        doubts.ask("more-than-ordered", number, f"Order line {line}: {question}")


def _other_parts(line: OrderLine) -> str:
    """The parts of a line that are still to come, as the end of a question: what comes early is counted there."""
    root = line.part_of_id or line.pk
    family = OrderLine.objects.filter(Q(pk=root) | Q(part_of=root), quantity__gt=F("received")).exclude(pk=line.pk)
    named = [
        f"{one} ({quantity_text(one.quantity - one.received, line.item.stock_unit)})"
        for one in family.select_related("order").order_by("promised", "pk")
    ]
    return f" Or are they of {', '.join(named)}, earlier than promised? Then count them there." if named else ""


def _label(number: int, arrival: Arrival, item: Item, depot: Depot) -> Label:
    if arrival.place.depot_id != depot.pk:
        raise Refusal("other-depot", f"{arrival.place} is not a place of {depot}.", {"place": arrival.place.code})
    use_by = arrival.use_by
    if arrival.made_on and use_by is None and item.shelf_months:
        use_by = months_after(arrival.made_on, item.shelf_months)
    if arrival.made_on and use_by and use_by < arrival.made_on:
        raise Refusal(
            "dates-reversed", f"{item}: use by {use_by} lies before it was made, {arrival.made_on}.", {"line": number}
        )
    return Label(number, item, lot_number(arrival.lot), use_by, arrival.place.kind == SUPPLIER_OWNED)


def months_after(day: date, months: int) -> date:
    """The same day that many months later, or the last one of a shorter month."""
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _places(arrivals: Sequence[Arrival], lots: Sequence[Lot], today: date, depot: Depot) -> list[Place]:
    """Where each line is put: a lot is good through its date, after it on hold."""
    expired = {lot for lot in lots if lot.use_by and lot.use_by < today}
    shelf = _hold_shelf(depot) if expired else None
    return [
        shelf if shelf and lot in expired and arrival.place.kind != HOLD else arrival.place
        for arrival, lot in zip(arrivals, lots, strict=True)
    ]


def _hold_shelf(depot: Depot) -> Place:
    found = Place.objects.filter(depot=depot, kind=HOLD).order_by("code", "pk").first()
    return found or Place.objects.get_or_create(depot=depot, code=HOLD_SHELF, kind=HOLD, job="", structure="")[0]
