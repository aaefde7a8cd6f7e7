"""What a scanned or typed text is: a bag, a carton, a stock code, a lot, a reel, a place, a job, an order line."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Q, Sum

import inventory.errors
from inventory.models import STAGING, Balance, Item, Lot, OrderLine, Place
from inventory.selectors.finding import items_by_code, known_lots, open_holds
from inventory.selectors.words import near
from jobs.models import Job, Reel
from kitting.calculation.bag_states import IN_STORE, ON_HOLD
from kitting.calculation.carton_codes import Carton, is_carton, read_carton
from kitting.errors import Refusal
from kitting.models import Bag, Promise, Recipe
from kitting.selectors.bag_contents import (
    bag_of_label,
    bare,
    contents_of,
    facts_of,
    label_code,
    label_state,
    named_steps,
)
from kitting.selectors.inner_bags import inner_bag
from kitting.selectors.lot_names import lot_address
from kitting.selectors.planned_bags import not_listed, planned_job
from kitting.selectors.printed_papers import paper_of

BAG, CARTON, ITEM, LOT, REEL, PLACE = "bag", "carton", "stock code", "lot", "reel", "place"
INNER, RACK, JOB, ORDER = "inner bag", "rack place", "job", "order line"
PLANNED = "bag of the plan"


@dataclass(frozen=True, slots=True)
class Known:
    """What a text is: its kind, its name, and what there is to say of it, a sentence each.

    ``code`` is the number under which its page is found, '' where that is its name. ``warning`` is what is wrong with
    the print that was scanned, '' where nothing is.
    """

    kind: str
    name: str
    told: tuple[str, ...]
    code: str = ""
    warning: str = ""


def what_is(text: str, *, today: date) -> list[Known]:
    """Everything that a text may be; several where it names several things.

    Args:
        text: as scanned or typed.
        today: the day, for the dates of cartons.

    Raises:
        Refusal: ``not-ours``: nothing on these books has this code; or what is wrong with a carton's code.
    """
    asked = text.strip()
    if is_carton(asked):
        return [_carton(read_carton(asked, today=today))]
    inner = _inner(asked)
    bags = inner or _bag(asked)
    found = [*bags, *_item(asked), *_lots(asked), *_reel(asked), *_places(asked), *_racks(asked)]
    found += [*_jobs(asked), *_order_lines(asked)]
    found += [] if found else [*_paper(asked)] or _planned(asked)
    if not found:
        close = near(asked, Item.objects.values_list("stock_code", flat=True))
        raise Refusal(
            "not-ours",
            f"{asked!r} is not ours: no job, bag, stock code, lot, reel, place, order or paper{close}",
            {"read": asked},
        )
    return found


def carton_item(carton: Carton) -> Item:
    """The item in a carton: by our stock code on it, else by its number (kept as an old code) or the maker's code.

    Raises:
        Refusal: ``unknown-carton`` says under which numbers it was looked for.
    """
    numbers = [number for number in (carton.our_code, carton.gtin, carton.maker_code) if number]
    for number in numbers:
        try:
            return items_by_code([number])[number]
        except inventory.errors.Refusal:
            continue
    item = Item.objects.filter(supplier_code__in=[carton.maker_code]).exclude(supplier_code="").first()
    if item is None:
        looked = ", ".join(numbers) or "nothing"
        message = f"No item is known under {looked}: add the number to an item's old codes."
        raise Refusal("unknown-carton", message, {"numbers": numbers})
    return item


def carton_to_use(carton: Carton) -> Item:
    """The item in a carton of which pieces are to be used or counted.

    Raises:
        Refusal: ``two-dates``: the books have another date for its lot; as ``carton_item``.
    """
    item = carton_item(carton)
    for lot in item.lots.filter(number=carton.lot).select_related("item") if carton.lot and carton.use_by else ():
        if lot.use_by and lot.use_by != carton.use_by:
            message = (
                f"TWO DATES: the carton says use by {carton.use_by}, the books {lot.use_by} of {lot}: set it aside."
            )
            raise Refusal("two-dates", message, {"lot": lot.number, "known": lot.use_by, "read": carton.use_by})
    return item


def _carton(carton: Carton) -> Known:
    item = carton_item(carton)
    told = [f"lot {carton.lot or 'unknown'}"]
    told += [f"use by {carton.use_by}"] if carton.use_by else []
    told += [f"{carton.count} {item.stock_unit} in it"] if carton.count is not None else []
    lots = known_lots([(item, carton.lot)])[(item.pk, carton.lot)] if carton.lot else []
    told += [f"HELD: {hold.reason}" for hold in open_holds(lots).values()]
    told += [
        f"the books say use by {lot.use_by}: read the carton again"
        for lot in lots
        if carton.use_by and lot.use_by not in (None, carton.use_by)
    ]
    return Known(CARTON, str(item), tuple(told))


def _bag(text: str) -> list[Known]:
    try:
        bag, old = bag_of_label(text)
    except Refusal:
        return []
    contents = contents_of([bag])[bag.pk]
    facts = facts_of(contents)
    told = [label_state(contents), f"{bag.state}{f', {bag.whereabouts}' if bag.whereabouts else ''}"]
    told += [facts.superseded] if facts.superseded else []
    told += [facts.old_label] if facts.old_label and bag.state in IN_STORE else []
    told += [f"why: {bag.why}"] if bag.why else []
    steps = named_steps(bag, is_kit=Recipe.objects.filter(job=bag.job).exists())
    told.append(f"next: {', '.join(steps) or 'nothing more'}")
    return [Known(BAG, str(bag), tuple(told), label_code(bag), old.sentence if old else "")]


def _planned(text: str) -> list[Known]:
    planned = planned_job(text)
    if planned is None:
        return []
    return [Known(PLANNED, " ".join(planned).strip(), (), planned[0], not_listed(*planned))]


def _item(text: str) -> list[Known]:
    try:
        item = items_by_code([text])[text]
    except inventory.errors.Refusal:
        return []
    told = [item.called, *([f"old code {text}"] if text != item.stock_code else [])]
    there = Balance.objects.filter(lot__item=item, quantity__gt=0).select_related("place__depot", "lot__item")
    told += [f"{bare(one.quantity)} of lot {one.lot.number or 'unknown'} at {one.place} ({one.place.kind})"
             for one in there.order_by("place__depot__depot", "place__code", "pk")]  # fmt: skip
    wanted = Promise.objects.filter(item=item, released_at=None).values_list("job__job").annotate(Sum("quantity"))
    who = ", ".join(f"{bare(pieces)} to {job}" for job, pieces in wanted.order_by("job__cutover", "job__job"))
    told.append(f"promised: {who}" if who else "promised to nobody")
    return [Known(ITEM, item.stock_code, tuple(told))]


def _lots(text: str) -> list[Known]:
    """A lot number may be used by several makers, so of several items."""
    lots = [
        *Lot.objects.filter(number=text).exclude(number="").select_related("item").order_by("item__stock_code", "pk")
    ]
    holds = open_holds(lots) if lots else {}
    told = {}
    for lot in lots:
        hold = holds.get((lot.item_id, lot.number))
        facts = [lot.item.called, lot.date_words]
        facts += [f"HELD: {hold.reason}"] if hold else []
        told[str(lot)] = Known(LOT, str(lot), tuple(facts), lot_address(lot.item.stock_code, lot.number))
    return [*told.values()]


def _reel(text: str) -> list[Known]:
    reel = Reel.objects.filter(reel=text).select_related("cable_type").first()
    return [Known(REEL, reel.reel, (f"cable type {reel.cable_type.cable_type}",))] if reel else []


def _jobs(text: str) -> list[Known]:
    return [
        Known(JOB, job.job, (job.title, f"cutover {job.cutover or 'without a date'}", job.ended or "ahead"))
        for job in Job.objects.filter(job__iexact=text)
    ]


def _order_lines(text: str) -> list[Known]:
    """The lines of an order, or one of them as ``PO-1/2``."""
    order, _, line = text.rpartition("/")
    named = Q(order__number__iexact=text) | Q(order__number__iexact=order, line__iexact=line)
    return [
        Known(
            ORDER, str(one),
            (one.item.called, f"{bare(one.received)} of {bare(one.quantity)} have come",
             f"promised for {one.promised or 'no day'} at depot {one.depot}"), str(one.pk),
        )
        for one in OrderLine.objects.filter(named).select_related("order", "item", "depot").order_by("pk")
    ]  # fmt: skip


def _inner(text: str) -> list[Known]:
    inner = inner_bag(text)
    return (
        [Known(INNER, f"{inner[1]} of {inner[0]}", (f"of bag {label_code(inner[0])}",), label_code(inner[0]))]
        if inner
        else []
    )


def _paper(text: str) -> list[Known]:
    paper = paper_of(text)
    return [Known(paper.kind, paper.name, (), paper.code, paper.superseded)] if paper else []


def _racks(text: str) -> list[Known]:
    """Rack places under this code, with the bags that lie there, by depot."""
    depot, _, code = text.rpartition("/")
    at = {"depot__depot": depot} if depot else {}
    bags = Bag.objects.filter(whereabouts=code, state__in=(*IN_STORE, ON_HOLD), **at).select_related("job", "depot")
    lying: dict[str, list[str]] = {}
    for place in Place.objects.filter(code=code, kind=STAGING, **at).select_related("depot").order_by("depot__depot"):
        lying[place.depot.depot] = []
    for bag in bags.order_by("depot__depot", "job__job", "number"):
        lying.setdefault(bag.depot.depot, []).append(f"{bag}: {bag.state}")
    return [Known(RACK, f"{of}/{code}", tuple(told) or ("no bag lies there",), of) for of, told in lying.items()]


def _places(text: str) -> list[Known]:
    depot, _, code = text.rpartition("/")
    found = Place.objects.filter(code=code, **({"depot__depot": depot} if depot else {})).exclude(kind=STAGING)
    found = found.select_related("depot").order_by("depot__depot", "pk")
    bags = set(Bag.objects.filter(place__in=found).values_list("place", flat=True))
    return [
        Known(PLACE, str(place), (place.kind, *([f"kept for {place.job}"] if place.job else ())), str(place.pk))
        for place in found
        if place.pk not in bags
    ]
