"""Forms with which one person asks what another decides: a stand-in, the reserve, a lot let go, a later date."""

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Depot, Item, LotHold
from inventory.selectors.words import quantity_text
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, page
from kitting.pages.tables import Table, figure
from kitting.pages.typed import back_with_typed, day_of, typed_quantity
from kitting.selectors.job_sheet import Line, line_of
from kitting.selectors.reserve import reserve_of
from kitting.services.lot_requests import ask_extension, ask_hold_release
from kitting.services.release_reserve import ask_reserve
from kitting.services.stand_in_requests import ask_stand_in

_WAITS = "It waits for another person on the page To approve."


def _line(asked: Asked) -> Line | None:
    """The line that the address names, where the plan applied last has it."""
    name = asked.text("line")
    try:
        return line_of(name.partition("/")[0], name) if name else None
    except ANY_REFUSAL:
        return None


def stand_in(asked: Asked) -> HttpResponse:
    """Ask to use one stock code instead of another, for a line or wherever it is taken."""
    if asked.request.method == "POST":

        def deed() -> tuple[str, str]:
            ask_stand_in(
                wanted=asked.text("wanted").upper(),
                stand_in=asked.text("stand_in").upper(),
                line=asked.text("line"),
                system=asked.text("system"),
                why=asked.text("why"),
                outage_running=bool(asked.text("outage_running")),
                actor=asked.actor,
                at=asked.at,
            )
            return "ASKED", _WAITS

        return attempt(asked, deed, reverse("to-approve"), back=back_with_typed(asked, reverse("ask-stand-in")))
    line = _line(asked)
    wanted = asked.text("wanted") or (line["stock_code"] if line else "")
    kind = line["kind"] if line else ""
    others = Item.objects.filter(kind=kind).exclude(stock_code=wanted).order_by("stock_code") if kind else ()
    context = {"line": asked.text("line"), "wanted": wanted, "others": others}
    return page(asked, "ask_stand_in.html", context)


def reserve(asked: Asked) -> HttpResponse:
    """Ask for pieces of a depot's emergency reserve for a line of a job."""
    if asked.request.method == "POST":
        line = asked.text("line")

        def deed() -> tuple[str, str]:
            ask_reserve(
                stock_code=asked.text("stock_code").upper(),
                depot=asked.text("depot"),
                quantity=typed_quantity(asked.text("pieces"), "Pieces"),
                job=line.partition("/")[0],
                line=line,
                why=asked.text("why"),
                actor=asked.actor,
                at=asked.at,
            )
            return "ASKED", _WAITS

        return attempt(asked, deed, reverse("to-approve"), back=back_with_typed(asked, reverse("ask-reserve")))
    found = _line(asked)
    code = asked.text("stock_code") or (found["stock_code"] if found else "")
    table = _reserves(asked, code)
    context = {
        "line": asked.text("line"),
        "code": code,
        "depots": Depot.objects.order_by("depot"),
        "chosen": asked.text("depot") or (next((str(row[0]) for row in table.rows[:1]), "") if table else ""),
        "table": table,
    }
    return page(asked, "ask_reserve.html", context)


def _reserves(asked: Asked, code: str) -> Table | None:
    item = Item.objects.filter(stock_code=code).first()
    if item is None:
        return None
    rows = []
    for depot in Depot.objects.order_by("depot"):
        there = reserve_of(item=item, depot=depot, at=asked.at)
        if there.total or there.floor:
            floor = "not set" if there.floor is None else quantity_text(there.floor, item.stock_unit)
            rows.append([depot.depot, figure(quantity_text(there.total, item.stock_unit)), figure(floor)])
    return Table(f"{code} in reserve", ("Depot", "Pieces", "Floor"), rows, f"No depot has {code} in reserve.")


def hold_release(asked: Asked) -> HttpResponse:
    """Sign first that a lot on hold may be let go."""
    if asked.request.method == "POST":

        def deed() -> tuple[str, str]:
            number = asked.text("hold")
            hold = int(number) if number.isascii() and number.isdigit() else 0
            ask_hold_release(hold=hold, reason=asked.text("reason"), actor=asked.actor, at=asked.at)
            return "SIGNED FIRST", _WAITS

        return attempt(asked, deed, reverse("to-approve"), back=back_with_typed(asked, reverse("ask-hold-release")))
    holds = LotHold.objects.filter(released_at__isnull=True).select_related("item").order_by("-placed_at")
    return page(asked, "ask_hold_release.html", {"holds": holds, "chosen": asked.text("hold")})


def extension(asked: Asked) -> HttpResponse:
    """Sign first that a lot was inspected and is good until a later date, by its certificate."""
    if asked.request.method == "POST":

        def deed() -> tuple[str, str]:
            ask_extension(
                stock_code=asked.text("stock_code").upper(),
                lot=asked.text("lot"),
                use_by=day_of(asked, "use_by"),
                certificate=asked.text("certificate"),
                reason=asked.text("reason"),
                actor=asked.actor,
                at=asked.at,
            )
            return "SIGNED FIRST", _WAITS

        return attempt(asked, deed, reverse("to-approve"), back=back_with_typed(asked, reverse("ask-extension")))
    context = {"code": asked.text("stock_code"), "lot": asked.text("lot")}
    return page(asked, "ask_extension.html", context)
