"""The counter in a storm: a kit by one scan, cartons in one go, lots that are named later, and the returns door."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import BIN, RESERVE, SUPPLIER_OWNED, Depot, Place
from inventory.selectors.finding import depot_named
from kitting.calculation.bag_states import CLOSED
from kitting.calculation.carton_codes import is_carton
from kitting.errors import Refusal
from kitting.models import Bag, Storm
from kitting.models.storms import OPEN
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, go_to, loud, page
from kitting.pages.bag_forms import Field, lot_of, place_scanned, quantity, read_piece
from kitting.pages.storm_pages import of_storm
from kitting.pages.tables import Cell, Table, link
from kitting.roles import DO
from kitting.selectors.bag_contents import bag_by_code, bare, contents_of, is_out, label_code
from kitting.selectors.premade_kits import kits
from kitting.selectors.storms import bags_of, storm_by_code, to_finish
from kitting.services.premade_kits import give_kit
from kitting.services.storm_issues import Handful, finish_lot, issue_to_storm

_CREW = ("crew", "company", "where")


def _crew_fields(asked: Asked) -> list[Field]:
    labels = ("Crew, as they say it", "Their company", "Where they will use it")
    return [Field(name, label, asked.text(name)) for name, label in zip(_CREW, labels, strict=True)]


def _crew(asked: Asked, here: str) -> dict[str, object]:
    """Who takes the pieces and where to, as a page of the counter asks for it first and then shows it."""
    return {
        "fields": _crew_fields(asked), "crew": _crew_kept(asked), "who": [asked.text(name) for name in _CREW],
        "known": all(asked.text(name) for name in _CREW), "another": here,
    }  # fmt: skip


def _crew_kept(asked: Asked) -> list[tuple[str, str]]:
    return [(name, asked.text(name)) for name in _CREW if asked.text(name)]


def _need_open(event: Storm) -> None:
    storm_by_code(event.code, OPEN)


@of_storm
def storm_kit(asked: Asked, event: Storm) -> HttpResponse:
    """Scan a pre-made kit, and it is the crew's; crew and place stay for the next one."""
    counter = reverse("storm-kit", args=[event.code])
    here = f"{counter}?{urlencode(_crew_kept(asked))}"
    if asked.request.method == "POST":

        def deed() -> tuple[str, str]:
            given = {name: asked.text(name) for name in _CREW}
            bag = give_kit(kit=asked.text("kit"), storm=event.code, **given, **asked.scan())
            return "OUT", f"{bag} is with {bag.crew}; its number is {label_code(bag)}."

        return attempt(asked, deed, here)
    _need_open(event)
    found = [one for one in kits(on=asked.today) if not asked.actor.depots or one.bag.depot.depot in asked.actor.depots]
    rows = [
        [link(one.bag, "bag", one.code, note=one.code), Cell(one.recipe.location, note=f"depot {one.bag.depot}"),
         Cell(one.bag.whereabouts or one.bag.state, note="; ".join(one.soon)), str(one.use_by or "no date"),
         Cell("Take this one", f"{counter}?{urlencode([*_crew_kept(asked), ('kit', one.code)])}")]
        for one in found
        if one.is_ready
    ]  # fmt: skip
    heads = ("Kit", "For", "Where", "Use by", "By hand")
    empty = "No kit is ready: build and check some on the page Pre-made kits, or issue cartons."
    context = {
        "storm": event, "waiting": sum(not one.is_ready for one in found), **_crew(asked, counter),
        "scans": [Field("kit", "Scan the kit's label", asked.text("kit"), focus=True, scans=True)],
        "table": Table("Ready to be given, the first to expire first", heads, rows, empty),
    }  # fmt: skip
    return page(asked, "storm_kit.html", context)


@dataclass(frozen=True, slots=True)
class Line:
    """Something that was scanned for a crew: place, stock code, lot ('' where nobody read it), and how many."""

    place: str
    stock_code: str
    lot: str
    pieces: str

    @property
    def text(self) -> str:
        """As it is carried from scan to scan."""
        return json.dumps([self.place, self.stock_code, self.lot, self.pieces])


def _lines(texts: Sequence[str]) -> list[Line]:
    try:
        return [Line(*map(str, json.loads(text))) for text in texts]
    except (TypeError, ValueError):
        raise Refusal("not-a-line", "READ AGAIN: begin this issue again and scan each carton.", {}) from None


def storm_issue(asked: Asked, storm: str, depot: str) -> HttpResponse:
    """Scan place and carton, as many as the crew takes, then all goes out at once under the storm's code."""
    event, home = storm_by_code(storm), depot_named(depot)
    here = reverse("storm-issue", args=[event.code, depot])
    if asked.request.method == "POST":
        back = [*_crew_kept(asked), *(("line", text) for text in asked.request.POST.getlist("line"))]
        kept = [pair for pair in _crew_kept(asked) if pair[0] != "where"]
        return attempt(
            asked, lambda: _out(asked, event, home), f"{here}?{urlencode(kept)}", back=f"{here}?{urlencode(back)}"
        )
    _need_open(event)
    problem = None
    try:
        lines = _lines(asked.request.GET.getlist("line"))
    except ANY_REFUSAL as refusal:
        lines, problem = [], loud(refusal)
    if asked.text("scan") and problem is None:
        try:
            lines.append(_read(asked, home))
        except ANY_REFUSAL as refusal:
            problem = loud(refusal)
        else:
            carried = [*_crew_kept(asked), ("place", asked.text("place")), *(("line", one.text) for one in lines)]
            return go_to(f"{here}?{urlencode(carried)}")
    context = {
        "storm": event, "depot": depot, "lines": lines, "problem": problem, "place": asked.text("place"),
        "other_place": f"{here}?{urlencode([*_crew_kept(asked), *(('line', one.text) for one in lines)])}",
        "scans": _scan_fields(asked), **_crew(asked, here),
    }  # fmt: skip
    return page(asked, "storm_issue.html", context)


def _scan_fields(asked: Asked) -> list[Field]:
    if not asked.text("place"):
        return [Field("place", "Scan the place", focus=True, scans=True)]
    return [
        Field("scan", "Scan the carton, or type the stock code", asked.text("scan"), focus=True, scans=True),
        Field("pieces", "How many", asked.text("pieces"), "decimal", required=False,
              note="blank: as many as the carton says"),
        Field("lot", "Lot", asked.text("lot"), required=False,
              note="only where the carton does not say it; blank: named later"),
    ]  # fmt: skip


def _read(asked: Asked, home: Depot) -> Line:
    place = _place(home, asked.text("place"))
    piece = read_piece(asked.text("scan"), asked.today)
    count = asked.text("pieces") or (str(piece.count) if piece.count is not None else "")
    if not count:
        raise Refusal("not-a-quantity", f"HOW MANY: the carton of {piece.item} does not say it; type it.", {})
    lot = lot_of(piece, asked.text("lot"))
    return Line(place.code, piece.item.stock_code, lot, bare(quantity(count)))


def _place(home: Depot, text: str) -> Place:
    return place_scanned(home, text, BIN, SUPPLIER_OWNED, RESERVE)


def _out(asked: Asked, event: Storm, home: Depot) -> tuple[str, str]:
    pieces = [
        Handful(place=_place(home, one.place), quantity=quantity(one.pieces), stock_code=one.stock_code, lot=one.lot)
        for one in _lines(asked.request.POST.getlist("line"))
    ]
    given = {name: asked.text(name) for name in _CREW}
    done = issue_to_storm(
        storm=event.code, depot=home.depot, pieces=pieces, confirmed=asked.confirmed, **given, **asked.scan()
    )
    more = f" {len(done.to_finish)} lots are still to be named." if done.to_finish else ""
    return "OUT", f"{done.bag} is with {done.bag.crew}; its number is {label_code(done.bag)}.{more}"


@of_storm
def storm_lots(asked: Asked, event: Storm) -> HttpResponse:
    """Lots that nobody read when pieces went out: named one after the other, until none is left."""
    here = reverse("storm-lots", args=[event.code])
    if asked.request.method == "POST":

        def deed() -> tuple[str, str]:
            read, number = asked.text("read"), asked.text("number")
            named = {"carton": read} if is_carton(read) else {"lot": read}
            one = finish_lot(number=int(number) if number.isdecimal() else 0, **named, **asked.scan())
            left = len(to_finish(event))
            return "NAMED", f"{one.named} for {one.line.bag}; {left or 'none'} left to name."

        return attempt(asked, deed, here, back=f"{here}?{urlencode({'number': asked.text('number')})}")
    waiting = to_finish(event)
    chosen = next((one for one in waiting if str(one.pk) == asked.text("number")), next(iter(waiting), None))
    rows = [
        [Cell(f"{bare(one.quantity)} {one.lot.item}", f"{here}?number={one.pk}"), one.line.bag, one.line.bag.crew,
         one.place, f"lot {one.lot.number or 'unknown'}"]
        for one in waiting
        if one != chosen
    ]  # fmt: skip
    heads = ("Pieces", "Bag", "Crew", "Taken from", "The books took")
    context = {
        "storm": event, "one": chosen, "pieces": bare(chosen.quantity) if chosen else "", "left": len(waiting),
        "named": event.lots_to_finish.filter(named__isnull=False).count(),
        "table": Table("To name after it", heads, rows, "No other lot waits."),
        "acts": chosen is not None and asked.actor.may("bags", DO, chosen.line.bag.depot.depot),
    }  # fmt: skip
    return page(asked, "storm_lots.html", context)


@of_storm
def storm_returns(asked: Asked, event: Storm) -> HttpResponse:
    """The returns door: scan what a crew brings, and turn it in; bags that are balanced are closed."""
    problem = None
    if asked.text("bag"):
        try:
            bag = bag_by_code(asked.text("bag"))
            if bag.pk not in {one.pk for one in bags_of(event)}:
                raise Refusal("other-storm", f"NOT OF {event}: {bag} is no bag of this storm.", {"bag": str(bag)})
            return go_to(reverse("turn-in", args=[label_code(bag)]))
        except ANY_REFUSAL as refusal:
            problem = loud(refusal)
    bags = [bag for bag in bags_of(event) if bag.state != CLOSED]
    contents = contents_of(bags)
    rows = [_not_closed(bag, ", ".join(contents[bag.pk].open())) for bag in bags]
    heads = ("Bag", "Crew", "State", "Still open", "Then")
    empty = "Every bag of this storm is closed."
    context = {"storm": event, "problem": problem, "table": Table("Bags that are not closed", heads, rows, empty)}
    return page(asked, "storm_returns.html", context)


def _not_closed(bag: Bag, left: str) -> list[Cell]:
    """A bag of a storm: what of it is still open, and what comes next."""
    code = label_code(bag)
    own = link("Its page", "bag", code)
    if not is_out(bag):
        return [link(bag, "bag", code, note=code), Cell("–"), Cell(bag.state), Cell("it is in store"), own]
    balanced = Cell("BALANCED", note="nothing of it is open")
    return [
        link(bag, "turn-in", code, note=code), Cell(bag.crew or "nobody"), Cell(bag.state),
        Cell(left) if left else balanced, own if left else link("Close it", "close", code),
    ]  # fmt: skip
