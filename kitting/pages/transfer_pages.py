"""Pieces between depots: what waits, one van loaded in one go, and what depots ask of each other."""

import re
from collections.abc import Iterator, Sequence
from itertools import count
from types import MappingProxyType

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Balance, Depot, Lot, Place, Transfer
from inventory.selectors.finding import depot_named, items_by_code
from inventory.services.transferring import Load, send_transfer
from kitting.calculation.quantities import quantity_text
from kitting.errors import Refusal
from kitting.pages.asked import Asked, attempt, go_to, page
from kitting.pages.bag_forms import Field
from kitting.pages.stock_pages import lot_cell
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, rows_to_type, typed_place, typed_quantity
from kitting.roles import DO
from kitting.selectors.bag_contents import bare
from kitting.selectors.transfer_asks import Ask, open_asks
from kitting.selectors.vans import ToLoad, Van, differences_open, transfers_open, vans_wanted
from kitting.services.ask_transfers import answer_ask, ask_transfer
from kitting.services.settle_transfers import settle_transfers

WAREHOUSE = "warehouse"
MORE_ROWS = (1, 2, 3)  # lines for what is not on the list
_FIELD = re.compile(r"q-\d+-\d+")  # pieces of a lot at a place
_MORE_FIELDS = MappingProxyType({"code": "Stock code", "lot": "Lot", "place": "From place", "quantity": "Pieces"})


def depot_code(source: int, **_others: int) -> str:
    """The depot at which a van is loaded; '' where there is none of this number."""
    return Depot.objects.filter(pk=source).values_list("depot", flat=True).first() or ""


def transfers(asked: Asked) -> HttpResponse:
    """What is to load, on the road, asked, and counted differently; a form chooses two depots or asks for pieces."""
    if asked.request.method == "POST":
        return _ask(asked)
    depots = asked.actor.depots
    if asked.text("source") and asked.text("target"):
        chosen = {one.depot: one.pk for one in Depot.objects.all()}
        try:
            return go_to(reverse("load-van", args=[chosen[asked.text("source")], chosen[asked.text("target")]]))
        except KeyError:
            raise Refusal("unknown-depot", "There is no such depot.", {}) from None
    context = {
        "tables": [_to_load(vans_wanted(depots)), _on_the_road(asked, transfers_open(depots)),
                   _differences(depots)],
        "asks": [(one, _may_answer(asked, one)) for one in open_asks(depots)],
        "depots": [*Depot.objects.order_by("depot").values_list("depot", flat=True)],
        "may_act": asked.actor.may(WAREHOUSE, DO),
    }  # fmt: skip
    return page(asked, "transfers.html", context)


def _may_answer(asked: Asked, one: Ask) -> bool:
    return any(asked.actor.may(WAREHOUSE, DO, depot) for depot in (one.source, one.target))


def _to_load(vans: Sequence[Van]) -> Table:
    rows = [
        [
            link(f"{van.source} to {van.target}", "load-van", van.source.pk, van.target.pk),
            figure(len(van.loads)),
            Cell(", ".join(van.jobs)),
            Cell(min(one.needed for one in van.loads)),
        ]
        for van in vans
    ]
    heads = ("From, to", "Lots", "Jobs", "There by")
    return Table("To load, by the plan", heads, rows, "The plan applied last wants nothing brought that is not loaded.")


def _on_the_road(asked: Asked, found: Sequence[Transfer]) -> Table:
    rows = [
        [
            link(one.number, "transfer", one.pk),
            Cell(f"{one.from_depot} to {one.to_depot}"),
            Cell(f"{one.sent.at.astimezone(asked.zone):%Y-%m-%d %H:%M}", note=one.sent.by),
        ]
        for one in found
    ]
    return Table("On the road", ("Transfer", "From, to", "Sent"), rows, "Nothing is on the road.")


def _differences(depots: Sequence[str] | frozenset[str]) -> Table:
    rows = [
        [
            link(one.transfer.number, "transfer", one.transfer_id),
            Cell(f"{one.transfer.from_depot} to {one.transfer.to_depot}"),
            Cell(one.lot),
            figure(bare(one.sent)),
            figure(bare(one.counted)),
        ]
        for one in differences_open(depots)
    ]
    heads = ("Transfer", "From, to", "Lot", "Sent", "Counted")
    return Table("Counted differently", heads, rows, "Whatever was sent has arrived, or is explained.")


def _ask(asked: Asked) -> HttpResponse:
    """Ask a depot for pieces, or answer what was asked."""

    def deed() -> tuple[str, str]:
        if asked.text("ask"):
            answer_ask(number=asked.number("ask"), answer=asked.text("answer"), **asked.scan())
            return "ANSWERED", "The stores that asked are told."
        code, quantity = asked.text("stock_code"), typed_quantity(asked.text("quantity"), "Pieces")
        source, target = depot_named(asked.text("from")), depot_named(asked.text("to"))
        ask_transfer(
            stock_code=code, quantity=quantity, source=source, target=target, why=asked.text("why"), **asked.scan()
        )
        return "ASKED", f"The stores of {source} are told."

    return attempt(asked, deed, reverse("transfers"), back=back_with_typed(asked, reverse("transfers")))


def load_van(asked: Asked, source: int, target: int) -> HttpResponse:
    """What a van takes from one depot to another, all in one go."""
    ends = Depot.objects.in_bulk([source, target])
    if len(ends) < 2:
        raise Refusal("unknown-depot", "These are not two depots.", {})
    here, there = ends[source], ends[target]
    van = next((one for one in vans_wanted() if (one.source, one.target) == (here, there)), Van(here, there, ()))
    asks = [one for one in open_asks() if (one.source, one.target) == (here.depot, there.depot)]
    if asked.request.method == "POST":
        return _send(asked, van, asks)
    loads = [
        (
            one,
            _field(one),
            bare(one.quantity),
            asked.text(_field(one)) or bare(one.quantity),
            lot_cell(one.lot.item.stock_code, one.lot.number),
        )
        for one in van.loads
    ]
    context = {
        "van": van, "loads": loads, "asks": [(one, bare(one.quantity)) for one in asks],
        "rows": rows_to_type(asked, MORE_ROWS, _MORE_FIELDS), "why": asked.text("why"),
        "to_scan": [Field(f"place-{row}", f"From place, line {row}", scans=True) for row in MORE_ROWS],
        "number": asked.text("number") or _free_number(asked, van),
        "may_act": asked.actor.may(WAREHOUSE, DO, here.depot),
    }  # fmt: skip
    return page(asked, "load_van.html", context)


def _field(one: ToLoad) -> str:
    return f"q-{one.place.pk}-{one.lot.pk}"


def _free_number(asked: Asked, van: Van) -> str:
    """A number that no transfer has yet: depots and day, and a letter for the second of a day."""
    stem = f"{van.source}-{van.target}-{asked.today:%m%d}"
    used = set(Transfer.objects.filter(number__startswith=stem).values_list("number", flat=True))
    return next(name for name in (stem, *(f"{stem}-{at}" for at in range(2, len(used) + 3))) if name not in used)


def _send(asked: Asked, van: Van, asks: Sequence[Ask]) -> HttpResponse:
    here, stamp = reverse("load-van", args=[van.source.pk, van.target.pk]), asked.stamp()

    def deed() -> tuple[str, str]:
        number = asked.text("number")
        if not number:
            raise Refusal("no-number", "Give the transfer a number, as on its slip.", {})
        loads = [*_wanted_loads(asked), *_more_loads(asked, van.source)]
        send_transfer(
            transfer=number, to_depot=van.target, loads=loads, why=asked.text("why"),
            owner_agrees="owner-agrees" in asked.confirmed, **stamp,
        )  # fmt: skip
        settle_transfers(by=asked.actor.name, at=asked.at)
        answered = [one for one in asks if asked.text(f"ask-{one.number}")]
        for one, step in zip(answered, count(1), strict=False):
            scan = asked.scan()
            scan["action"] = f"{stamp['action']}/{step}"
            answer_ask(number=one.number, answer=f"on transfer {number}", **scan)
        return "ON THE ROAD", f"Transfer {number} is loaded with {len(loads)} lots: print its slip."

    return attempt(asked, deed, reverse("transfers"), back=back_with_typed(asked, here))


def _wanted_loads(asked: Asked) -> Iterator[Load]:
    """What the form names, whatever the plan wants meanwhile: so that a form sent twice asks for the same."""
    texts = {name: asked.text(name) for name in asked.request.POST if _FIELD.fullmatch(name)}
    keys = {name: tuple(map(int, name.split("-")[1:])) for name in texts}
    places = Place.objects.select_related("depot").in_bulk({place for place, _ in keys.values()})
    lots = Lot.objects.select_related("item").in_bulk({lot for _, lot in keys.values()})
    for name, (place, lot) in keys.items():
        if place in places and lot in lots and texts[name]:
            quantity = typed_quantity(texts[name], str(lots[lot]))
            if quantity:
                yield Load(lot=lots[lot], quantity=quantity, source=places[place])


def _more_loads(asked: Asked, depot: Depot) -> Iterator[Load]:
    """What is typed beside the list: stock code, lot, place and pieces."""
    for row in MORE_ROWS:
        code = asked.text(f"code-{row}")
        if not code:
            continue
        item, place = items_by_code([code])[code], typed_place(depot, asked.text(f"place-{row}"))
        number = asked.text(f"lot-{row}")
        found = Balance.objects.filter(place=place, lot__item=item, quantity__gt=0).select_related("lot__item")
        there = [one for one in found if not number or one.lot.number == number]
        if len(there) != 1:
            lies = "; ".join(f"{quantity_text(one.quantity, item.stock_unit)} of {one.lot}" for one in found)
            message = f"At {place} lies {lies or f'no {item}'}: say which lot is loaded."
            raise Refusal("which-lot", message, {"place": str(place), "stock_code": code})
        quantity = typed_quantity(asked.text(f"quantity-{row}"), f"Pieces of {code}")
        yield Load(lot=there[0].lot, quantity=quantity, source=place)
