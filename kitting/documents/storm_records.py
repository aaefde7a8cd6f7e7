"""What a storm used, from the records: its movements, where each lot came from, and by which paper."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime, tzinfo
from decimal import ROUND_HALF_UP, Decimal
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils import timezone

from inventory.models import BAG, FROM_SUPPLIER, INSTALLED, LOST, SCRAPPED, Action, Depot, Item, Movement, Place
from jobs.models import Job
from kitting.calculation.quantities import as_decimal
from kitting.documents.storm_use import (
    PURCHASE,
    STOCK,
    STOCK_OR_PURCHASE,
    SUPPLIERS,
    StormLine,
    StormUse,
    storm_use,
)
from kitting.models import Storm
from kitting.selectors.bag_contents import label_code

USED = (INSTALLED, SCRAPPED, LOST)
Arrivals = Mapping[int, list[Movement]]  # by lot: what brought its pieces into the books, the first first


def use_of_storm(storm: Storm) -> StormUse:
    """All that a storm used so far."""
    home = Job.objects.filter(job=storm.code).values_list("depot", flat=True).first()
    zone = Depot.objects.filter(depot=home).values_list("time_zone", flat=True).first()
    return storm_use_of(storm.code, storm.title, movements_of_event(storm.code), ZoneInfo(zone) if zone else None)


def movements_of_event(event: str) -> list[Movement]:
    """What was used under an event's code, which the paper of each action bears; reversals are among it."""
    actions = Action.objects.filter(paper=event)
    forth = Q(action__in=actions, reverses__isnull=True, ending__in=USED)
    back = Q(reverses__action__in=actions, origin__in=USED)
    found = Movement.objects.filter(forth | back).order_by("pk")
    return [
        *found.select_related(
            "action",
            "lot__item",
            "from_place__depot",
            "from_place__bag__job",
            "to_place__depot",
            "to_place__bag__job",
        )
    ]


def storm_use_of(event: str, title: str, movements: Iterable[Movement], zone: tzinfo | None = None) -> StormUse:
    """The use of an event; a reversal counts against it.

    What a supplier brought after the storm was opened was bought for it, all else is stock. Of a lot that came before
    and after, nobody knows which pieces were used.
    """
    moves = [*movements]
    opened_at = Storm.objects.filter(code=event).values_list("opened_at", flat=True).first()
    arrivals = _arrivals({move.lot_id for move in moves})
    local = zone or timezone.get_current_timezone()
    return storm_use(event, title, (_storm_line(move, local, arrivals, opened_at) for move in moves))


def _arrivals(lots: Iterable[int]) -> Arrivals:
    found: dict[int, list[Movement]] = defaultdict(list)
    came = Movement.objects.filter(lot__in=lots, from_place__isnull=True, reverses__isnull=True, reversed_by=None)
    for move in came.select_related("action", "order_line__order").order_by("pk"):
        found[move.lot_id].append(move)
    return found


def _storm_line(move: Movement, zone: tzinfo, arrivals: Arrivals, opened_at: datetime | None) -> StormLine:
    item, back = move.lot.item, move.reverses_id is not None
    place = move.to_place if back else move.from_place
    used = move.reverses_id or move.pk
    came = [one for one in arrivals.get(move.lot_id, ()) if one.pk < used]
    bought = [one for one in came if opened_at and one.origin == FROM_SUPPLIER and one.action.at >= opened_at]
    if move.lot.supplier_owned:
        source = SUPPLIERS
    elif bought:
        source = PURCHASE if len(bought) == len(came) else STOCK_OR_PURCHASE
    else:
        source = STOCK
    return StormLine(
        day=move.action.at.astimezone(zone).date(),
        place=_where_used(place),
        stock_code=item.stock_code,
        part=item.called,
        lot=move.lot.number,
        quantity=as_decimal(-move.quantity if back else move.quantity),
        unit=item.stock_unit,
        unit_price=None if move.lot.supplier_owned else _unit_price(item),
        source=source,
        paper=_papers(bought) if source == PURCHASE else _stock_paper(move, place),
        received=_papers(came),
        crew=_crew(place) or move.action.by,
    )


def _unit_price(item: Item) -> Decimal | None:
    """Price of one stock unit, to four places, from that of a purchase unit."""
    price: Decimal | None = item.price
    if price is None or not item.per_purchase_unit:
        return price
    return (price / as_decimal(item.per_purchase_unit)).quantize(Decimal("0.0001"), ROUND_HALF_UP).normalize()


def _papers(came: Iterable[Movement]) -> str:
    """Orders and delivery papers, or the origin of what came without them."""
    return "; ".join(dict.fromkeys(_paper(move) for move in came))


def _paper(move: Movement) -> str:
    order = f"order {move.order_line}" if move.order_line else ""
    told = ", ".join(filter(None, (order, move.action.paper)))
    return told or (move.action.number if move.origin == FROM_SUPPLIER else move.origin)


def _stock_paper(move: Movement, place: Place | None) -> str:
    """The number of the bag under which pieces left the stores, else that of the action."""
    bag = getattr(place, "bag", None) if place and place.kind == BAG else None
    return label_code(bag) if bag else move.action.number


def _where_used(place: Place | None) -> str:
    """The location of a bag, else the name of the place."""
    return (place.structure if place and place.kind == BAG else "") or str(place)


def _crew(place: Place | None) -> str:
    """The crew that has the bag at a place."""
    bag = getattr(place, "bag", None) if place and place.kind == BAG else None
    return bag.crew if bag else ""
