"""Storms: asked for, on, and closed; how one stands, the kits that are kept out of it, and what it used."""

from collections.abc import Callable, Sequence
from functools import wraps

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Depot
from kitting.documents.storm_records import use_of_storm
from kitting.documents.storm_use import FILES, NO_PRICE
from kitting.errors import Refusal
from kitting.models import ASKED, Storm
from kitting.models.storms import OPEN, PROTECTIONS
from kitting.pages.asked import Asked, View, attempt, page
from kitting.pages.paper_pages import printed, proven
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed
from kitting.roles import APPROVE, ASK, DO, SEE
from kitting.selectors.bag_contents import bare, is_out
from kitting.selectors.storm_burn import Burn, burn_of
from kitting.selectors.storms import (
    LONGEST_DAYS,
    Keepable,
    asked_at,
    bags_of,
    keeps_open,
    kits_to_keep,
    last_storms,
    left_on,
    open_storms,
    storm_by_code,
    storms_asked,
    to_finish,
)
from kitting.services.scans import BAGS
from kitting.services.storms import STORM, ask_storm, close_storm, keep_kit, open_storm, refuse_storm

PRICES = "prices"


def of_storm(view: Callable[[Asked, Storm], HttpResponse]) -> View:
    """A view of the storm whose code stands in the address; another code is not in these books."""

    @wraps(view)
    def found(asked: Asked, storm: str) -> HttpResponse:
        event = storm_by_code(storm)
        return view(asked, event)

    return found


def storms(asked: Asked) -> HttpResponse:
    """Storms that are on, asked for and closed; ask for one, or open one."""
    here = reverse("storms")
    if asked.request.method == "POST":
        code = asked.text("code")
        address = reverse("storm", args=[code]) if code and "/" not in code else here
        return attempt(asked, lambda: _begin(asked), address, back=back_with_typed(asked, here))
    late, asked_for = {one.pk for one in left_on(asked.at)}, storms_asked()
    on = [
        [link(one, "storm", one.code, note=one.title), Cell(_moment(asked, one.opened_at), note=f"by {one.opened_by}"),
         f"LEFT ON for more than {LONGEST_DAYS} days: close it" if one.pk in late else "on"]
        for one in open_storms()
    ]  # fmt: skip
    when = asked_at(asked_for)
    wishes = [
        [link(one, "storm", one.code, note=one.title), Cell(_moment(asked, when.get(one.code)), note=one.asked_by),
         "waits for the duty supervisor"]
        for one in asked_for
    ]  # fmt: skip
    over = [
        [link(one, "storm", one.code, note=one.title), _moment(asked, one.opened_at),
         Cell(_moment(asked, one.closed_at), note=f"by {one.closed_by}")]
        for one in last_storms()
    ]  # fmt: skip
    empty = "No storm is on: pieces go out in bags of planned jobs and of emergencies."
    tables = [
        Table("On now", ("Storm", "Since", "State"), on, empty),
        Table("Asked for", ("Storm", "Asked", "State"), wishes, "Nobody asks for one."),
        Table("Closed", ("Storm", "From", "To"), over, "None was closed yet; its use report stands here then."),
    ]
    context = {
        "tables": tables, "depots": _depots(), "code": asked.text("code"), "title": asked.text("title"),
        "may_open": asked.actor.may(STORM, APPROVE), "may_ask": asked.actor.may(STORM, ASK),
    }  # fmt: skip
    return page(asked, "storms.html", context)


def _depots() -> list[str]:
    return [*Depot.objects.order_by("depot").values_list("depot", flat=True)]


def _moment(asked: Asked, at: object) -> str:
    return f"{at.astimezone(asked.zone):%Y-%m-%d %H:%M}" if at else "–"  # type: ignore[attr-defined]


def _begin(asked: Asked) -> tuple[str, str]:
    code, title = asked.text("code"), asked.text("title")
    if asked.text("do") == "ask":
        event = ask_storm(storm=code, title=title, **asked.scan())
        return "ASKED", f"{event} waits for the duty supervisor."
    event = open_storm(storm=code, depot=asked.text("depot"), title=title, **asked.scan())
    return "STORM ON", f"{event}: its code is on everything that goes out for it from now on."


@of_storm
def storm(asked: Asked, event: Storm) -> HttpResponse:
    """How a storm stands: what keeps it open, how fast pieces go, kits kept out of it; open, keep, close."""
    here = reverse("storm", args=[event.code])
    if asked.request.method == "POST":
        after = reverse("storms") if asked.text("do") == "refuse" else here
        return attempt(asked, lambda: _decide(asked, event), after, back=back_with_typed(asked, here))
    may_keep = event.state == OPEN and (asked.actor.may(STORM, APPROVE) or asked.actor.may(STORM, ASK))
    context = {
        "storm": event, "is_late": event in left_on(asked.at), "longest": LONGEST_DAYS,
        "may_decide": asked.actor.may(STORM, APPROVE), "may_keep": may_keep, "depots": _depots(),
        "may_give": asked.actor.may(BAGS, DO), "protections": PROTECTIONS,
        "own": [one for one in _depots() if asked.actor.may(BAGS, DO, one)],
    }  # fmt: skip
    if event.state != ASKED:
        bags = bags_of(event)
        context |= {
            "lots": len(to_finish(event)),
            "out": sum(map(is_out, bags)),
            "left": len(keeps_open(event)),
            "burn": _burn(burn_of(event, asked.at)),
        }
        kits = kits_to_keep(event)
        context |= {"kept": _kept(kits), "kits": kits if may_keep else []}
    return page(asked, "storm.html", context)


def _decide(asked: Asked, event: Storm) -> tuple[str, str]:
    deed, scan = asked.text("do"), asked.scan()
    if deed == "open":
        open_storm(storm=event.code, depot=asked.text("depot"), **scan)
        return "STORM ON", f"{event}: its code is on everything that goes out for it from now on."
    if deed == "refuse":
        refuse_storm(storm=event.code, why=asked.text("why"), **scan)
        return "REFUSED", f"{event.asked_by} is told."
    if deed == "keep":
        kept = keep_kit(
            storm=event.code, job=asked.text("job"), protection=asked.text("protection"), why=asked.text("why"), **scan
        )
        return "KEPT", f"{kept}."
    ended = close_storm(storm=event.code, **scan)
    again = "; ".join(one.sentence for one in ended.refill) or "nothing"
    return "CLOSED", f"{event} is over. To be bought again: {again}."


def _burn(found: Sequence[Burn]) -> Table:
    rows = [
        [link(one.item, "item", one.item.stock_code, note=one.item.called), f"depot {one.depot}",
         figure(f"{one.rate} an hour", note=f"{bare(one.given)} in all"),
         Cell(bare(one.free), number=True, note=f"{bare(one.kits)} more in kits; {bare(one.promised)} promised"),
         Cell(_hours(one.hours), number=True, note=f"with the reserve {_hours(one.hours_with_reserve)}")]
        for one in found
    ]  # fmt: skip
    heads = ("Item", "Where", "Goes out", "Free there", "Lasts")
    empty = "Nothing has gone out yet: rates are shown from the first piece on."
    return Table("How fast pieces go, and for how long the rest lasts", heads, rows, empty)


def _hours(hours: int | None) -> str:
    return "–" if hours is None else f"{hours} h"


def _kept(kits: Sequence[Keepable]) -> Table:
    rows = [
        [link(one.job, "job-bags", one.job.job, note=one.job.title), one.job.cutover or "no date", figure(one.bags),
         *((one.kept.protection.upper(), Cell(one.kept.why, note=one.kept.by)) if one.kept
           else ("as ever", "nobody has said"))]
        for one in kits
    ]  # fmt: skip
    heads = ("Job", "Cutover", "Bags in store", "May be broken", "Why")
    return Table("Planned kits, and whether they may be broken", heads, rows, "No planned job has a bag in store.")


@of_storm
def storm_use(asked: Asked, event: Storm) -> HttpResponse:
    """What a storm used so far, with its papers; prices only for who may see them."""
    priced = asked.actor.may(PRICES, SEE)
    use = use_of_storm(event)
    rows = [
        [line.day, line.place, Cell(line.stock_code, note=f"{line.part}, lot {line.lot or 'unknown'}"),
         figure(f"{bare(int(line.quantity * 1000))} {line.unit}"),
         *([figure(NO_PRICE if line.value is None else f"{line.value.normalize():f}")] if priced else []),
         Cell(line.source, note=line.paper), line.crew]
        for line in use.lines
    ]  # fmt: skip
    heads = ("Date", "Place", "Item", "Pieces", *(["Value"] if priced else []), "Source", "Crew")
    empty = "Nothing is used yet: what is installed, scrapped or lost stands here; what came back does not."
    context = {
        "storm": event, "table": Table(f"Used in {event}", heads, rows, empty), "priced": priced,
        "sum": use.sum_words if priced else f"{len(use.lines)} lines", "endings": tuple(FILES),
    }  # fmt: skip
    return page(asked, "storm_use.html", context)


def storm_use_file(asked: Asked, storm: str, ending: str) -> HttpResponse:
    """The use report as a file, for a claim; a print is noted."""
    if ending not in FILES:
        raise Refusal("unknown-paper", f"The report is written as {', '.join(FILES)}, not as {ending}.", {})
    event = storm_by_code(storm)
    use = use_of_storm(event)
    document, name = f"storm use.{ending}", f"storm-use-{event.code}.{ending}"
    about = printed(asked, document, event.code, use)
    return proven(asked, name, document, event.code, about, FILES[ending](use, about))
