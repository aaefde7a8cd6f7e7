"""Trucks of the depots, and one truck: its list, what is on it, restocking, turning in, use for a job."""

import re
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import BIN, TRUCK, Balance, Depot, Place
from kitting.documents.restock_slip import RestockSlip, restock_slip, restock_slip_csv, restock_slip_of
from kitting.errors import Refusal
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.bag_forms import Field, lot_of, place_scanned, quantity, read_piece
from kitting.pages.paper_pages import exported, file_response, printed
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, typed_place, typed_quantity
from kitting.roles import DO
from kitting.selectors.bag_contents import bare
from kitting.selectors.last_seen import seen_words
from kitting.selectors.trucks import Aboard, OnTruck, Restock, Truck, restock, truck_place, trucks
from kitting.services.other_lots import bring_in
from kitting.services.return_bags import OPENED, SEALED
from kitting.services.truck_stock import TRUCK_STOCK, WAREHOUSE, Load, keep_truck_line, load_truck, turn_in_from_truck

_TAKE = "take-"


def depot_of_truck(number: int) -> str:
    """The depot of a truck; '' where there is none of this number."""
    return Place.objects.filter(pk=number, kind=TRUCK).values_list("depot__depot", flat=True).first() or ""


def truck_list(asked: Asked) -> HttpResponse:
    """Every truck with what is wrong on it; name a new one by the first line of its list."""
    here = reverse("trucks")
    if asked.request.method == "POST":
        return attempt(asked, lambda: _kept(asked, asked.text("depot"), asked.text("truck")), here,
                       back=back_with_typed(asked, here))  # fmt: skip
    rows = [
        [
            link(one.place.code, "truck", one.place.pk, note=f"depot {one.place.depot}"),
            figure(sum(line.level is not None for line in one.lines)),
            Cell(", ".join(line.item.stock_code for line in one.below) or "–"),
            Cell(_named(one.to_take_off) or "–"), Cell(_named(one.unseen(asked.today)) or "–"),
        ]
        for one in trucks(today=asked.today)
    ]  # fmt: skip
    heads = ("Truck", "Items listed", "Below its least", "Take off", "Not seen for a week")
    table = Table("Trucks", heads, rows, "No truck is known: name one below, with the first item that it carries.")
    depots = [(one, f"depot {one}") for one in Depot.objects.order_by("depot").values_list("depot", flat=True)]
    own = asked.text("depot") or next(iter(sorted(asked.actor.depots)), "")
    fields = [
        Field("depot", "Depot", own, options=depots), Field("truck", "Truck, such as truck 14", asked.text("truck")),
        *_line_fields(asked),
    ]  # fmt: skip
    return page(asked, "trucks.html", {"table": table, "fields": fields, "acts": asked.actor.may(TRUCK_STOCK, DO)})


def _named(found: Sequence[Aboard]) -> str:
    return ", ".join(dict.fromkeys(one.balance.lot.item.stock_code for one in found))


def _line_fields(asked: Asked) -> list[Field]:
    return [
        Field("stock_code", "Stock code", asked.text("stock_code")),
        Field("least", "At least", asked.text("least"), "decimal"),
        Field("most", "At most", asked.text("most"), "decimal", note="0 takes it off the list"),
    ]


def _kept(asked: Asked, depot: str, truck: str) -> tuple[str, str]:
    code = asked.text("stock_code")
    least, most = (
        typed_quantity(asked.text(name), words) for name, words in (("least", "At least"), ("most", "At most"))
    )
    place = keep_truck_line(
        depot=depot, truck=truck, stock_code=code, minimum=least, maximum=most, confirmed=asked.confirmed,
        **asked.scan(),
    )  # fmt: skip
    return "KEPT", f"{place}: {bare(least)} to {bare(most)} {code}." if most else f"{place}: {code} is off its list."


def truck_page(asked: Asked, number: int) -> HttpResponse:
    """One truck; load it, turn in from it, book what was used of it, keep its list."""
    place, here = truck_place(number), reverse("truck", args=[number])
    if asked.request.method == "POST":
        deed = DEEDS.get(asked.text("do"), DEEDS["load"])
        return attempt(asked, lambda: deed(asked, place), here, back=back_with_typed(asked, here))
    found, needed = _stands(asked, place)
    depot = place.depot.depot
    lots = [(str(one.balance.pk), _lot_words(one)) for line in found.lines for one in line.aboard]
    context = {
        "truck": place, "table": _table(asked, found), "take": _TAKE, "do": asked.text("do"),
        "takes": [(one, asked.text(f"{_TAKE}{one.balance.pk}") or bare(one.quantity)) for one in needed.takes],
        "lacking": [f"{bare(pieces)} {item}" for item, pieces in needed.lacking],
        "off": [_lot_words(one) for one in found.to_take_off],
        "is_listed": any(line.level for line in found.lines),
        "acts": asked.actor.may(TRUCK_STOCK, DO, depot), "loads": asked.actor.may(WAREHOUSE, DO, depot),
        "counts": asked.actor.may("count", DO, depot), "uses": asked.actor.may("turn in", DO, depot) and lots,
        "scan_fields": _scan_fields(asked), "turn_in_fields": _turn_in_fields(asked, lots),
        "use_fields": _use_fields(asked, lots), "line_fields": _line_fields(asked), "lots": lots,
    }  # fmt: skip
    return page(asked, "truck.html", context)


def _stands(asked: Asked, place: Place) -> tuple[Truck, Restock]:
    (found,) = trucks(today=asked.today, numbers=[place.pk])
    return found, restock(found, asked.today)


def _table(asked: Asked, found: Truck) -> Table:
    heads = ("Item", "List", "Good on it", "Lots", "Seen")
    empty = "By the books it is empty, and its list names nothing yet."
    rows = [
        [
            link(one.item.stock_code, "item", one.item.stock_code, note=one.item.called),
            Cell(f"{bare(one.level.minimum)} to {bare(one.level.maximum)}" if one.level else "not on its list"),
            figure(bare(one.good), note=_stand_words(one)),
            Cell("; ".join(_lot_words(lot, with_item=False) for lot in one.aboard) or "–"),
            Cell("; ".join(dict.fromkeys(seen_words(lot.seen, asked.today, "seen") for lot in one.aboard)) or "–"),
        ]
        for one in found.lines
    ]
    return Table("What it is to carry, and what is on it", heads, rows, empty)


def _stand_words(one: OnTruck) -> str:
    if one.is_below:
        return f"BELOW ITS LEAST: {bare(one.lacking)} to take"
    return f"{bare(one.lacking)} to take" if one.lacking else ""


def _lot_words(one: Aboard, *, with_item: bool = True) -> str:
    lot, day = one.balance.lot, f", use by {one.balance.lot.use_by}" if one.balance.lot.use_by else ""
    named = f"{lot}" if with_item else f"lot {lot.number or 'unknown'}"
    return f"{bare(one.balance.quantity)} of {named}{day}{f': {one.wrong}' if one.wrong else ''}"


def _scan_fields(asked: Asked) -> list[Field]:
    return [
        Field("bin", "Scan the bin", asked.text("bin"), scans=True),
        Field("read", "Scan the carton, or type the stock code", asked.text("read"), scans=True),
        Field("lot", "Lot, where the carton doesn't say it", asked.text("lot"), required=False),
        Field("quantity", "How many go on it", asked.text("quantity") or "1", "decimal"),
    ]


def _turn_in_fields(asked: Asked, lots: Sequence[tuple[str, str]]) -> list[Field]:
    return [
        Field("balance", "What comes off", asked.text("balance"), options=lots),
        Field("pieces", "How many", asked.text("pieces"), "decimal"),
        Field(
            "condition", "Sealed or opened", asked.text("condition"), options=[(one, one) for one in (SEALED, OPENED)]
        ),
        Field("to", "Put at", asked.text("to"), note="a bin, or a place of the kind hold to be inspected", scans=True),
        Field("why", "Why", asked.text("why"), required=False),
    ]


def _use_fields(asked: Asked, lots: Sequence[tuple[str, str]]) -> list[Field]:
    return [
        Field("bag", "Scan the bag of the job", asked.text("bag"), scans=True),
        Field("used", "What was used", asked.text("used"), options=lots),
        Field("used_pieces", "How many", asked.text("used_pieces") or "1", "decimal"),
    ]


def _loaded(asked: Asked, place: Place) -> tuple[str, str]:
    """The slip as it was shown, with what was really taken."""
    numbers = [int(name.removeprefix(_TAKE)) for name in asked.request.POST if re.fullmatch(f"{_TAKE}[0-9]+", name)]
    taken = [(number, asked.text(f"{_TAKE}{number}")) for number in numbers]
    loads = [Load(number, typed_quantity(text, "Taken")) for number, text in taken if text not in ("", "0")]
    return _booked(asked, place, loads)


def _scanned(asked: Asked, place: Place) -> tuple[str, str]:
    piece = read_piece(asked.text("read"), asked.today)
    shelf = place_scanned(place.depot, asked.text("bin"), BIN)
    lying = Balance.objects.filter(place=shelf, lot__item=piece.item, quantity__gt=0).order_by("lot__use_by", "pk")
    lot = lot_of(piece, asked.text("lot"))
    found = [*(lying.filter(lot__number=lot) if lot else lying)]
    if len(found) != 1:
        what = f"{piece.item} lot {lot}" if lot else str(piece.item)
        message = f"{shelf} holds no {what}." if not found else f"{shelf} holds several lots of {what}: say which."
        raise Refusal("which-lot", message, {"place": str(shelf)})
    return _booked(asked, place, [Load(found[0].pk, quantity(asked.text("quantity")))])


def _booked(asked: Asked, place: Place, loads: Sequence[Load]) -> tuple[str, str]:
    load_truck(truck=place.pk, loads=loads, confirmed=asked.confirmed, **asked.scan())
    return "LOADED", f"{bare(sum(one.quantity for one in loads))} pieces are on {place}."


def _turned_in(asked: Asked, place: Place) -> tuple[str, str]:
    pieces, balance = quantity(asked.text("pieces")), _aboard(place, asked.text("balance"))
    to = typed_place(place.depot, asked.text("to").removeprefix(f"{place.depot.depot}/"))
    turn_in_from_truck(
        truck=place.pk, balance=balance.pk, quantity=pieces, condition=asked.text("condition"), to=to,
        why=asked.text("why"), **asked.scan(),
    )  # fmt: skip
    return "BACK", f"{bare(pieces)} of {balance.lot} from {place} at {to}."


def _used(asked: Asked, place: Place) -> tuple[str, str]:
    """What was used goes into the bag that is out with the crew; there its crew says on which end it is."""
    balance = _aboard(place, asked.text("used"))
    answer = bring_in(
        bag=asked.text("bag"), line="", stock_code=balance.lot.item.stock_code, lot=balance.lot.number,
        quantity=quantity(asked.text("used_pieces")), source=place, **asked.scan(),
    )  # fmt: skip
    return answer.word, f"{answer.sentence} Note on its page on which end it is."


def _aboard(place: Place, number: str) -> Balance:
    """What was chosen on a truck.

    Raises:
        Refusal: ``not-there``.
    """
    found = Balance.objects.filter(place=place, pk=int(number) if number.isdecimal() else 0).select_related("lot__item")
    for one in found:
        return one
    raise Refusal("not-there", f"The books have no such pieces on {place}: count it.", {"balance": number})


Deed = Callable[[Asked, Place], tuple[str, str]]
DEEDS: Mapping[str, Deed] = MappingProxyType(
    {
        "load": _loaded,
        "scan": _scanned,
        "turn-in": _turned_in,
        "use": _used,
        "list": lambda asked, place: _kept(asked, place.depot.depot, place.code),
    }
)


def slip_paper(asked: Asked, number: int) -> HttpResponse:
    """The restock slip to print; another print of the same says REPRINT."""
    slip = _slip(asked, number)
    about = printed(asked, "restock slip", f"{slip.depot}/{slip.truck}", slip)
    return file_response(f"restock-slip-{number}.pdf", restock_slip(slip, about))


def slip_file(asked: Asked, number: int) -> HttpResponse:
    """The restock slip as CSV."""
    slip = _slip(asked, number)
    about = f"{slip.depot}/{slip.truck}"
    return exported(asked, f"restock-slip-{number}.csv", "restock slip", about, restock_slip_csv(slip))


def _slip(asked: Asked, number: int) -> RestockSlip:
    return restock_slip_of(*_stands(asked, truck_place(number)))
