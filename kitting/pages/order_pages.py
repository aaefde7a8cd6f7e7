"""What is on order: when it comes and who waits; another day is looked at before it is noted; deliveries in parts."""

from collections.abc import Iterable, Mapping

from django.http import HttpResponse
from django.urls import reverse

from kitting.documents.reorder_sheet import many
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.order_changes import act
from kitting.pages.tables import Cell, Table, figure, link
from kitting.roles import DO
from kitting.selectors.bag_contents import bare
from kitting.selectors.buying import Lead
from kitting.selectors.lateness import NEVER_CAME, Lateness, lateness
from kitting.selectors.orders import (
    SOON_DAYS,
    OnOrder,
    Waiting,
    came,
    came_for_nothing,
    family_of,
    given_out,
    got,
    in_purchase_units,
    last_event,
    lying_free,
    on_order,
    redated,
    sent_line_of,
    to_give_out,
)
from kitting.services.change_orders import ORDER_SHEET
from kitting.services.settle_deliveries import settle_deliveries

_HEADS = ("Order line", "What", "To come", "Promised for", "Who waits, first served first", "Deliver to")


def orders(asked: Asked) -> HttpResponse:
    """Open order lines, those first that jobs hang on and that are due soon; give out what has come."""
    if asked.request.method == "POST":
        return attempt(asked, lambda: _give_out(asked), reverse("orders"))
    found, late = on_order(), lateness(asked.today)
    pressing = [one for one in found if one.matters(asked.today)]
    others = [one for one in found if not one.matters(asked.today)]
    context = {
        "pressing": _table(
            asked,
            f"Chase these: a job waits, and they are due within {SOON_DAYS} days, overdue, or without a day; or a job "
            "lacks what comes too late",
            pressing,
            late,
            "No job hangs on an order that is due soon.",
        ),
        "others": _table(asked, "All others", others, late, "Nothing else is on order."),
        "to_give_out": to_give_out(asked.actor.depots),
        "for_nothing": _for_nothing(),
        "may_act": asked.actor.may(ORDER_SHEET, DO),
    }
    return page(asked, "orders.html", context)


def _table(asked: Asked, caption: str, lines: Iterable[OnOrder], late: Mapping[int, Lateness], empty: str) -> Table:
    rows = [
        [
            link(str(one.line), "order-line", one.line.pk, note=_supplier(one, late)),
            Cell(one.line.item.stock_code, note=one.line.item.description),
            figure(one.words(one.left), note=_of(one)),
            Cell(one.line.promised or "–", note=_day_note(asked, one)),
            Cell(_who(one.waiting) or "nobody", note=one.lacking or one.standing),
            Cell(one.line.depot.depot),
        ]
        for one in lines
    ]
    return Table(caption, _HEADS, rows, empty)


def _for_nothing() -> Table:
    rows = [
        [link(str(line), "order-line", line.pk), Cell(line.item.stock_code, note=line.item.description),
         Cell(line.supplier or "no supplier named"), Cell(line.depot)]
        for line in came_for_nothing()
    ]  # fmt: skip
    heads = ("Order line", "What", "From", "Depot")
    return Table("Came for a job that was cancelled: keep or send back?", heads, rows, "")


def _supplier(one: OnOrder, late: Mapping[int, Lateness]) -> str:
    supplier = one.line.supplier
    return f"{supplier.name}: {late.get(supplier.pk, NEVER_CAME).words}" if supplier else "no supplier named"


def _of(one: OnOrder) -> str:
    line = one.line
    return f"{one.words(line.received)} of {one.words(line.quantity)} have come" if line.received else ""


def _day_note(asked: Asked, one: OnOrder) -> str:
    if one.line.promised is None:
        return "DAY MISSING: it is promised to nobody until it has one"
    return "OVERDUE" if one.left and one.is_overdue(asked.today) else ""


def _who(waiting: Iterable[Waiting]) -> str:
    return "; ".join(f"{one.job} {bare(one.quantity)}" + (" LATE" if one.is_late else "") for one in waiting)


def _give_out(asked: Asked) -> tuple[str, str]:
    before = last_event()
    settle_deliveries(by=asked.actor.name, at=asked.at, depots=asked.actor.depots)
    told = [
        f"{job} gets {', '.join(f'{pieces} {code}' for code, pieces in given.items())}"
        for job, given in given_out(before)
    ]
    if not told:
        return "NOTHING NEW", "Nothing that has come is free for whoever waits for it."
    return "GIVEN OUT", f"{'; '.join(told)}. Who still waits keeps its pieces of the order."


def order_line(asked: Asked, number: str) -> HttpResponse:
    """An order line: who waits, what has come, who got it; what a later day would do; note a new day."""
    (one,) = on_order(int(number))
    if asked.request.method == "POST":
        return act(asked, one.line)
    unit = in_purchase_units(one.line)
    context = {
        "one": one,
        "left": one.words(one.left),
        "late": lateness(asked.today).get(one.line.supplier_id or 0, NEVER_CAME).words if one.line.supplier else "",
        "lead": Lead(one.line.item.lead_days, one.line.item.lead_date).words(asked.today),
        "ordered": one.words(one.line.quantity),
        "received": one.words(one.line.received),
        "cut": one.words(one.line.cut) if one.line.cut else "",
        "sent": sent_line_of(one.line),
        "unit": unit,
        "units": many(unit.name),
        "parts": _parts(asked, one),
        "free": [(each, one.words(each.quantity), bare(each.quantity)) for each in lying_free([one.line])[one.line.pk]],
        "may_send_back": asked.actor.may("warehouse", DO, one.line.depot.depot),
        "day_note": _day_note(asked, one),
        "waiting": _waiting(one),
        "redated": _redated(one),
        "came": _came(one),
        "got": _got(one),
        "may_act": asked.actor.may(ORDER_SHEET, DO, one.line.depot.depot),
    }
    return page(asked, "order_line.html", context)


def _waiting(one: OnOrder) -> Table:
    rows = [
        [link(who.job, "job", who.job), figure(one.words(who.quantity)), who.ready_on,
         Cell(who.staged_by or "–", note="LATE: its bag must be ready before" if who.is_late else "")]
        for who in one.waiting
    ]  # fmt: skip
    heads = ("Job", "Waits for", "There on", "Staged by")
    none = "The next plan promises its pieces." if one.is_new else "No job waits for pieces of it."
    return Table("Who waits, first served first", heads, rows, none)


def _parts(asked: Asked, one: OnOrder) -> Table | None:
    """The line and its parts, each with its day; None where it has none."""
    family = family_of(one.line)
    if len(family) == 1:
        return None
    rows = [
        [
            Cell(f"{each}: this one") if each.pk == one.line.pk else link(str(each), "order-line", each.pk),
            Cell(each.promised or "–", note="OVERDUE" if OnOrder(each, (), "").is_overdue(asked.today) else ""),
            figure(one.words(each.quantity - each.received)),
            figure(one.words(each.received)),
        ]
        for each in family
    ]
    return Table("It comes in parts", ("Part", "Promised for", "To come", "Has come"), rows, "")


def _redated(one: OnOrder) -> Table:
    rows = [[each.on, each.before or "–", each.after, each.why, each.by] for each in redated(one.line)]
    heads = ("Noted on", "Promised before", "Promised then", "Why", "By")
    return Table("Days that were promised", heads, rows, "Its day was not moved.")


def _came(one: OnOrder) -> Table:
    rows = [
        [each.on, figure(one.words(each.quantity)), each.lot, each.place, each.paper or "–", each.by]
        for each in came(one.line)
    ]
    heads = ("On", "Pieces", "Lot", "Put at", "Paper", "By")
    return Table("What has come", heads, rows, "Nothing of it has come yet.")


def _got(one: OnOrder) -> Table:
    rows = [[day, link(job, "job", job), figure(pieces)] for day, job, pieces in got(one.line)]
    return Table("Who got it", ("On", "Job", "Pieces"), rows, "Nothing of it was given out yet.")
