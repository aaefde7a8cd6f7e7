"""What the books said of a depot's stock at a past moment."""

from django.http import HttpResponse

from inventory.selectors.stock_then import first_record, stock_then
from kitting.errors import Refusal
from kitting.pages.asked import Asked, page
from kitting.pages.stock_pages import lot_cell
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import depot_asked, typed_moment
from kitting.selectors.bag_contents import bare
from kitting.selectors.sight import depots_seen


def then(asked: Asked) -> HttpResponse:
    """A depot, a moment, and what lay there; a moment before the first record says so.

    Raises:
        Refusal: ``unknown-depot``; ``other-depot``: stores and crews look back at their own depots only.
    """
    depots, depot = depot_asked(asked)
    seen = depots_seen(asked.actor)
    if depot and seen and depot not in seen:
        named = ", ".join(sorted(seen))
        message = f"{asked.actor.name} sees the past of {named}, not of {depot}."
        raise Refusal("other-depot", message, {"depot": depot})
    depots = [one for one in depots if not seen or one in seen]
    code, problem, table, at = asked.text("code").upper(), "", None, None
    try:
        at = typed_moment(asked, asked.text("moment"))
    except Refusal as refusal:
        problem = refusal.message
    if at is not None:
        first = first_record(depot)
        if first is None or at < first:
            since = f"its first record is of {first.astimezone(asked.zone):%Y-%m-%d %H:%M}" if first else "it has none"
            problem = f"These books say nothing of depot {depot} then: {since}."
        else:
            rows = [
                [
                    link(one.lot.item.stock_code, "item", one.lot.item.stock_code),
                    Cell(one.place.code, note=one.place.kind),
                    lot_cell(one.lot.item.stock_code, one.lot.number, f"HELD: {one.hold}" if one.hold else ""),
                    figure(f"{bare(one.quantity)} {one.lot.item.stock_unit}"),
                ]
                for one in stock_then(depot=depot, at=at, stock_code=code)
            ]
            caption = f"Depot {depot} on {at.astimezone(asked.zone):%Y-%m-%d at %H:%M}"
            table = Table(caption, ("Stock code", "Place", "Lot", "Pieces"), rows, "Nothing of it lay there then.")
    context = {"depots": depots, "depot": depot, "moment": asked.text("moment"), "code": code, "problem": problem,
               "table": table}  # fmt: skip
    return page(asked, "stock_then.html", context)
