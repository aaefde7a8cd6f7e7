"""One transfer: its load, its slip, counted out at the other depot, and differences explained."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from types import MappingProxyType

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import BIN, Balance, Difference, Lot, Place, Transfer
from inventory.selectors.finding import items_by_code, lots_by_number
from inventory.services.transferring import (
    ARRIVED,
    FOUND_THERE,
    LOST_ON_THE_ROAD,
    SENT_TOO,
    STAYED,
    Unload,
    receive_transfer,
    settle_difference,
)
from kitting.documents.box_label import box_label
from kitting.documents.from_records import transfer_slip_of
from kitting.documents.record_papers import Printed
from kitting.documents.transfer_slip import TransferSlip, transfer_slip
from kitting.errors import Refusal
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, page, refused
from kitting.pages.bag_forms import Field
from kitting.pages.paper_pages import file_response, printed
from kitting.pages.tables import Cell, Table, figure
from kitting.pages.transfer_pages import WAREHOUSE
from kitting.pages.typed import back_with_typed, place_names, rows_to_type, typed_place, typed_quantity
from kitting.roles import DO, require
from kitting.selectors.bag_contents import bare, label_code
from kitting.services.settle_transfers import settle_transfers

_COUNTED = re.compile(r"counted-\d+")
_MORE_ROWS = (1, 2)
_MORE_FIELDS = MappingProxyType({"code": "Stock code", "lot": "Lot", "quantity": "Counted", "target": "Put at"})
_MISSING = (ARRIVED, STAYED, LOST_ON_THE_ROAD)
_TOO_MANY = (FOUND_THERE, SENT_TOO)


def receiver(number: int) -> str:
    """The depot that counts a transfer out; '' where there is none of this number."""
    return Transfer.objects.filter(pk=number).values_list("to_depot__depot", flat=True).first() or ""


def transfer_page(asked: Asked, number: int) -> HttpResponse:
    """A transfer: what it holds; the receiver counts every lot of it."""
    van = _transfer(number)
    if asked.request.method == "POST":
        return _count_out(asked, van)
    slip = transfer_slip_of(van, asked.zone)
    aboard = _aboard(van)
    places = place_names([*Place.objects.filter(depot=van.to_depot, job="").order_by("code", "pk")])
    usual = _usual(van, aboard)
    bag = van.bags.select_related("job").first()
    open_ones = van.differences.filter(settled__isnull=True).select_related("lot__item").order_by("pk")
    context = {
        "van": van, "slip": slip, "table": _lines(slip), "put_at": [*places],
        "rows": rows_to_type(asked, _MORE_ROWS, _MORE_FIELDS),
        "aboard": [
            (one.lot, bare(one.quantity), asked.text(f"counted-{one.lot_id}"),
             asked.text(f"place-{one.lot_id}") or usual.get(one.lot.item_id, ""))
            for one in aboard
        ],
        "bag": (bag, label_code(bag)) if bag else (),
        "to_scan": [Field(f"place-{one.lot_id}", f"Put at: {one.lot}", scans=True) for one in aboard],
        "may_count": _waits(van) and asked.actor.may(WAREHOUSE, DO, van.to_depot.depot),
        "differences": [(one, bare(one.sent), bare(one.counted), _hows(one)) for one in open_ones],
        "may_settle": _may_settle(asked, van),
    }  # fmt: skip
    return page(asked, "transfer.html", context)


def _waits(van: Transfer) -> bool:
    """Whether its pieces wait to be counted out."""
    return van.received is None and van.taken_back is None and not van.place.job


def _transfer(number: int) -> Transfer:
    found = Transfer.objects.filter(pk=number).select_related(
        "from_depot", "to_depot", "place", "sent", "received", "taken_back"
    )
    for one in found:
        return one
    raise Refusal("unknown-transfer", f"There is no transfer {number}.", {"transfer": number})


def _lines(slip: TransferSlip) -> Table:
    rows = [
        [
            Cell(one.stock_code, note=one.part), Cell(one.lot or "unknown"), figure(f"{one.sent} {one.unit}"),
            Cell("not yet") if one.counted is None else figure(one.counted), Cell(one.difference or "–"),
        ]
        for one in slip.lines
    ]  # fmt: skip
    return Table("Load", ("Stock code", "Lot", "Sent", "Counted", "Difference"), rows, "It is empty.")


def _aboard(van: Transfer) -> list[Balance]:
    found = van.place.balances.filter(quantity__gt=0).select_related("lot__item")
    return [*found.order_by("lot__item__stock_code", "lot__number", "pk")]


def _usual(van: Transfer, aboard: Sequence[Balance]) -> Mapping[int, str]:
    """The bin of the receiver in which each item lies already."""
    items = {one.lot.item_id for one in aboard}
    found = Balance.objects.filter(place__depot=van.to_depot, place__kind=BIN, lot__item__in=items).order_by("pk")
    return dict(found.values_list("lot__item", "place__code"))


def _count_out(asked: Asked, van: Transfer) -> HttpResponse:
    here = reverse("transfer", args=[van.pk])

    def deed() -> tuple[str, str]:
        unloads = [*_unloads(asked, van), *_more_unloads(asked, van)]
        receive_transfer(transfer=van.number, unloads=unloads, **asked.stamp())
        settle_transfers(by=asked.actor.name, at=asked.at)
        differing = van.differences.count()
        if differing:
            lots = "1 lot differs" if differing == 1 else f"{differing} lots differ"
            return "DIFFERENCE", f"Transfer {van}: {lots}; both depots see it until it is explained."
        return "RECEIVED", f"Transfer {van} is complete."

    return attempt(asked, deed, here, back=back_with_typed(asked, here))


def _unloads(asked: Asked, van: Transfer) -> Iterator[Unload]:
    """Every lot that the form names, as counted, whatever lies in the van meanwhile.

    Raises:
        Refusal: ``not-counted``: a field is blank; 0 is for what did not come.
    """
    names = [name for name in asked.request.POST if _COUNTED.fullmatch(name)]
    lots = Lot.objects.select_related("item").in_bulk([int(name.split("-")[1]) for name in names])
    for number, lot in sorted(lots.items()):
        text = asked.text(f"counted-{number}")
        if not text:
            raise Refusal("not-counted", f"{lot} is not counted: write 0 where nothing came.", {"lot": str(lot)})
        target = typed_place(van.to_depot, asked.text(f"place-{number}"))
        yield Unload(lot=lot, counted=typed_quantity(text, str(lot)), target=target)


def _more_unloads(asked: Asked, van: Transfer) -> Iterator[Unload]:
    """What came and is not on the slip."""
    for row in _MORE_ROWS:
        code = asked.text(f"code-{row}")
        if code:
            lots = lots_by_number(item=items_by_code([code])[code], number=asked.text(f"lot-{row}"))
            counted = typed_quantity(asked.text(f"quantity-{row}"), f"Pieces of {code}")
            yield Unload(lot=lots[0], counted=counted, target=typed_place(van.to_depot, asked.text(f"target-{row}")))


def _hows(one: Difference) -> Sequence[str]:
    return _MISSING if one.sent > one.counted else _TOO_MANY


def _may_settle(asked: Asked, van: Transfer) -> bool:
    return any(asked.actor.may(WAREHOUSE, DO, depot.depot) for depot in (van.from_depot, van.to_depot))


def difference(asked: Asked, number: int) -> HttpResponse:
    """Explain a difference; either depot may."""
    one = Difference.objects.filter(pk=number).select_related("transfer__from_depot", "transfer__to_depot").first()
    if one is None:
        raise Refusal("no-open-difference", f"There is no difference {number}.", {})
    van, here = one.transfer, reverse("transfer", args=[one.transfer_id])

    def deed() -> tuple[str, str]:
        if not _may_settle(asked, van):
            require(asked.actor, WAREHOUSE, DO, van.to_depot.depot)
        how = asked.text("how")
        source = typed_place(van.from_depot, asked.text("source")) if how == SENT_TOO else None
        depot = van.from_depot if how == STAYED else van.to_depot
        target = None if how == LOST_ON_THE_ROAD else typed_place(depot, asked.text("target"))
        settle_difference(
            difference=number, how=how, why=asked.text("why"), source=source, target=target, **asked.stamp()
        )
        settle_transfers(by=asked.actor.name, at=asked.at)
        return "EXPLAINED", f"{one.lot} of transfer {van}: {how}."

    return attempt(asked, deed, here, back=back_with_typed(asked, here))


def slip_paper(asked: Asked, number: int) -> HttpResponse:
    """The slip that travels with the pieces."""
    return _paper(asked, number, "transfer slip", transfer_slip)


def box_paper(asked: Asked, number: int) -> HttpResponse:
    """The label on its box."""
    return _paper(asked, number, "box label", box_label)


def _paper(asked: Asked, number: int, name: str, as_pdf: Callable[[TransferSlip, Printed], bytes]) -> HttpResponse:
    try:
        content = transfer_slip_of(_transfer(number), asked.zone)
        about = printed(asked, name, content.number, content)
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, reverse("transfers"))
    return file_response(f"{name.replace(' ', '-')}-{number}.pdf", as_pdf(content, about))
