"""One place: what lies there, and who may do what with it next."""

from collections.abc import Mapping

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import TRUCK, Balance, LotHold, Place
from inventory.selectors.finding import LotKey, open_holds
from inventory.selectors.words import quantity_text
from kitting.errors import Refusal
from kitting.pages.asked import Asked, page
from kitting.pages.stock_pages import lot_cell
from kitting.pages.tables import Cell, Table, figure, link
from kitting.roles import DO, SEE


def place(asked: Asked, number: int) -> HttpResponse:
    """What lies at a place, lot by lot."""
    found = Place.objects.select_related("depot").filter(pk=number).first()
    if found is None:
        raise Refusal("unknown-place", f"There is no place {number}.", {"place": number})
    lying = [*Balance.objects.filter(place=found, quantity__gt=0).select_related("lot__item")]
    lying.sort(key=lambda one: (one.lot.item.stock_code, one.lot.number))
    holds = open_holds(one.lot for one in lying)
    rows = [
        [
            link(one.lot.item.stock_code, "item", one.lot.item.stock_code, note=one.lot.item.description),
            lot_cell(one.lot.item.stock_code, one.lot.number, _held(one, holds)),
            Cell(one.lot.day_words),
            figure(quantity_text(one.quantity, one.lot.item.stock_unit)),
            Cell(one.counted_on or "never"),
        ]
        for one in lying
    ]
    table = Table("What lies there", ("Item", "Lot", "Use by", "Pieces", "Counted on"), rows, "By the books nothing.")
    may_count = asked.actor.may("count", DO, found.depot.depot)
    count = reverse("propose-count", args=[found.depot.depot]) if may_count else ""
    sees_trucks = found.kind == TRUCK and asked.actor.may("truck stock", SEE)
    truck = reverse("truck", args=[found.pk]) if sees_trucks else ""
    return page(asked, "place.html", {"place": found, "table": table, "count": count, "truck": truck})


def _held(one: Balance, holds: Mapping[LotKey, LotHold]) -> str:
    return "HELD" if (one.lot.item_id, one.lot.number) in holds else ""
