"""Counts of a depot: open lists, what is worth counting and why, one list line by line, its sheet, and accuracy."""

from collections.abc import Callable
from datetime import date, datetime, time
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Depot
from inventory.selectors.finding import depot_named
from kitting.documents.count_sheet import count_sheet, count_sheet_csv
from kitting.documents.from_records import count_sheet_of
from kitting.errors import Refusal
from kitting.models import COUNTED, CountLine, CountList
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, go_to, page, refused
from kitting.pages.paper_pages import exported, file_response, printed
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, depot_asked, typed_day, typed_moment, typed_place, typed_quantity
from kitting.roles import DO
from kitting.selectors.count_lists import ToCount, at_places, propose
from kitting.selectors.counting import FEW, accuracy, bags_to_find, blinded, count_list, sheet_revision
from kitting.selectors.open_counts import COUNT, FIND, RECOUNT, ListState, difference_text, list_state, list_states
from kitting.services.count_places import COUNT as RIGHT
from kitting.services.count_places import enter_sheet, list_count, want_spot_count
from kitting.services.scans import Scan
from kitting.services.settle_counts import post_count

_CLOSED = 10
_MOST = 12  # a walk before lunch: six to twelve bins that matter, not all of them on the last day of the year


def depot_of_count(number: int) -> str:
    """The depot of a list; '' where there is none of this number."""
    return CountList.objects.filter(number=number).values_list("depot__depot", flat=True).first() or ""


def with_list(view: Callable[[Asked, CountList], HttpResponse]) -> Callable[[Asked, int], HttpResponse]:
    """A view of the list whose number stands in the address; another number is not in these books."""

    def found(asked: Asked, number: int) -> HttpResponse:
        counted = count_list(number)
        return view(asked, counted)

    return found


def counts(asked: Asked) -> HttpResponse:
    """Lists of a depot: those that are open with what each waits for, the last ones that were posted."""
    depots, depot = depot_asked(asked)
    found = list_states(depots=[depot], closed=_CLOSED)
    rows = [[link(str(one.counted), "count-lines", one.counted.number), *_row(asked, one)] for one in found
            if one.counted.posted_id is None]  # fmt: skip
    closed = [[link(str(one.counted), "count-lines", one.counted.number), figure(len(one.lines)),
               figure(sum(line.difference != 0 for line, _ in one.lines)), one.counted.posted.by,
               _moment(asked, one.counted.posted.at)] for one in found if one.counted.posted]  # fmt: skip
    heads = ("List", "Lines", "Waits for", "Listed")
    empty = "No list is open. Look at what is worth counting, and list it; a walk past a few bins a day is enough."
    tables = [
        Table("Open lists", heads, rows, empty),
        _to_find(depot),
        Table("Posted last", ("List", "Lines", "Differed", "Posted by", "When"), closed, "Nothing is posted yet."),
    ]
    acts = asked.actor.may(RIGHT, DO, depot)
    return page(asked, "counts.html", {"depot": depot, "depots": depots, "tables": tables, "acts": acts})


def _row(asked: Asked, one: ListState) -> list[Cell]:
    listed = one.counted.listed
    return [
        figure(len(one.lines)),
        Cell(one.waits_text or "nothing: post it"),
        Cell(_moment(asked, listed.at), note=f"by {listed.by}"),
    ]


def _moment(asked: Asked, at: datetime) -> str:
    return f"{at.astimezone(asked.zone):%Y-%m-%d %H:%M}"


def _to_find(depot: str) -> Table:
    lines = [one for one in bags_to_find() if one.place.depot.depot == depot]
    rows = [
        [link(blind.bag, "count-difference", line.pk), blind.place, str(line.count_list), line.counted_by]
        for line, blind in zip(lines, blinded(lines), strict=True)
    ]
    empty = "Every bag that was looked for stood in its rack place, or was found."
    return Table("Bags to be found", ("Bag", "Should stand at", "List", "Missed by"), rows, empty)


def propose_count(asked: Asked, depot: str) -> HttpResponse:
    """What is worth counting with the reasons of each place; list it, list places of one's choice, or ask for one."""
    found = depot_named(depot)
    if asked.request.method == "POST":
        return _listed(asked, found)
    try:
        most = typed_quantity(asked.text("most"), "At most") // 1000 if asked.text("most") else _MOST
        proposed = propose(depot=found, today=asked.today, most=most)
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, reverse("propose-count", args=[depot]))
    context = {
        "depot": found, "most": most, "proposed": [(key_of(one), one) for one in proposed],
        "acts": asked.actor.may(RIGHT, DO, depot), "codes": asked.text("codes"), "place": asked.text("place"),
        "why": asked.text("why"),
    }  # fmt: skip
    return page(asked, "count_propose.html", context)


def key_of(one: ToCount) -> str:
    """What tells one thing to count from the others: place and lot."""
    return f"{one.place.pk}-{one.lot.pk if one.lot else ''}"


def _listed(asked: Asked, depot: Depot) -> HttpResponse:
    here = reverse("propose-count", args=[depot.depot])
    if asked.text("do") == "want":
        return attempt(asked, lambda: _want(asked, depot), here, back=back_with_typed(asked, here))
    made = CountList.objects.filter(listed__number=asked.action).first()
    try:
        made = made or list_count(depot=depot, to_count=_chosen(asked, depot), **asked.scan())
    except ANY_REFUSAL as refusal:
        kept = f"?{urlencode({'codes': asked.text('codes')})}" if asked.text("codes") else ""
        return refused(asked, refusal, f"{here}{kept}")
    return go_to(reverse("count", args=[made.number]))


def _want(asked: Asked, depot: Depot) -> tuple[str, str]:
    place = typed_place(depot, asked.text("place").removeprefix(f"{depot.depot}/"), never=())
    want_spot_count(place=place, why=asked.text("why"), **asked.scan())
    return "NOTED", f"{place} is proposed first, until somebody has counted it."


def _chosen(asked: Asked, depot: Depot) -> list[ToCount]:
    """The places that were typed, or those of the proposal that were chosen.

    Raises:
        Refusal: ``proposal-changed``: something is not proposed any more; as ``at_places``.
    """
    if asked.text("do") == "places":
        typed = (code.strip().removeprefix(f"{depot.depot}/") for code in asked.text("codes").split(","))
        return at_places(depot=depot, codes={code for code in typed if code})
    wanted = {*asked.request.POST.getlist("what")}
    found = [one for one in propose(depot=depot, today=asked.today) if key_of(one) in wanted]
    if len(found) < len(wanted):
        message = "CHANGED: somebody has listed or counted some of it meanwhile; this is what is left."
        raise Refusal("proposal-changed", message, {})
    return found


def is_open_to_see(line: CountLine) -> bool:
    """Whether the figures of a line may be read: two persons have counted, and nobody is asked to count again."""
    return line.recount is not None and line.state != COUNTED


@with_list
def count_lines(asked: Asked, counted: CountList) -> HttpResponse:
    """A list line by line: how far each is, never a figure that its next counter must not know; post it."""
    here = reverse("count-lines", args=[counted.number])
    if asked.request.method == "POST":
        return attempt(asked, lambda: _post(asked, counted), here)
    state = list_state(counted)
    rows = [
        [figure(line.position), blind.place, _what(line, blind.bag), _state_cell(line, waits), line.counted_by or "–",
         line.recounted_by or "–", ", ".join(line.reasons) or "chosen"]
        for (line, waits), blind in zip(state.lines, blinded(line for line, _ in state.lines), strict=True)
    ]  # fmt: skip
    heads = ("Line", "Place", "What", "How far it is", "Counted by", "Counted again by", "Why it is counted")
    context = {
        "counted": counted, "state": state, "table": Table("Lines in walk order", heads, rows, "It has no line."),
        "revision": sheet_revision(counted), "acts": asked.actor.may(RIGHT, DO, counted.depot.depot),
        "to_count": state.waits[COUNT], "to_recount": state.waits[RECOUNT], "to_find": state.waits[FIND],
    }  # fmt: skip
    return page(asked, "count_lines.html", context)


def _what(line: CountLine, bag: str) -> Cell:
    if line.lot is None:
        return Cell(f"bag {bag}" if bag else "should be empty")
    return Cell(line.lot.item.stock_code, note=f"lot {line.lot.number or 'unknown'}")


def _state_cell(line: CountLine, waits: str) -> Cell:
    """How far a line is; the difference only once two persons have counted."""
    if is_open_to_see(line):
        note = f"difference {difference_text(line)}" + (f"; waits: {waits}" if waits else "")
        return link(line.state, "count-difference", line.pk, note=note)
    if waits == FIND:
        return link(line.state, "count-difference", line.pk, note="not in its rack place")
    if line.state == COUNTED:
        return Cell("differs", note=f"waits: {waits}") if waits else Cell("agrees")
    return Cell("not counted yet" if waits else line.state)


def _post(asked: Asked, counted: CountList) -> tuple[str, str]:
    post_count(count_list=counted.number, **asked.scan())
    return "POSTED", f"The books stand as {counted} found them, with what has moved since."


@with_list
def sheet_paper(asked: Asked, counted: CountList) -> HttpResponse:
    """Print the blind sheet; a second print of the same lines says REPRINT."""
    if asked.request.method != "POST":
        return go_to(reverse("count-lines", args=[counted.number]))
    sheet = count_sheet_of(counted, zone=asked.zone)
    about = printed(asked, "count sheet", str(counted.number), sheet, sheet_revision(counted))
    return file_response(f"count-{counted.number}.pdf", count_sheet(sheet, about))


@with_list
def sheet_file(asked: Asked, counted: CountList) -> HttpResponse:
    """The blind sheet as CSV."""
    sheet = count_sheet_csv(count_sheet_of(counted, zone=asked.zone))
    return exported(asked, f"count-{counted.number}.csv", "count sheet", str(counted.number), sheet)


@with_list
def paper_sheet(asked: Asked, counted: CountList) -> HttpResponse:
    """Type a sheet back by line."""
    here = reverse("count-paper", args=[counted.number])
    if asked.request.method == "POST":
        back = back_with_typed(asked, here)
        return attempt(asked, lambda: _typed_back(asked, counted), _lines_address(counted), back=back)
    waiting = list_state(counted).waiting(COUNT)
    rows = [(one, f"line-{one.position}", asked.text(f"line-{one.position}")) for one in blinded(waiting)]
    context = {"counted": counted, "rows": rows, "revision": asked.text("revision"), "at": asked.text("counted_at")}
    return page(asked, "count_paper.html", context)


def _lines_address(counted: CountList) -> str:
    return reverse("count-lines", args=[counted.number])


def _typed_back(asked: Asked, counted: CountList) -> tuple[str, str]:
    figures = {
        int(name.removeprefix("line-")): figure_of(asked.text(name), name.replace("-", " ").capitalize())
        for name in asked.request.POST
        if name.startswith("line-") and name.removeprefix("line-").isdecimal()
    }
    scan: Scan = {**asked.scan(), "device_at": typed_moment(asked, asked.text("counted_at"))}
    answers = enter_sheet(
        count_list=counted.number, revision=asked.text("revision"), figures=figures, confirmed=asked.confirmed,
        **scan,
    )  # fmt: skip
    again = sum(one.line.difference != 0 for one in answers)
    word = f"{again} TO RECOUNT" if again else "TYPED"
    return word, f"{len(answers)} lines of {counted} are typed back; what differs is counted again by another person."


def figure_of(text: str, what: str) -> int | None:
    """Thousandths that were counted; None for a blank, which is not zero.

    Raises:
        Refusal: ``no-quantity``.
    """
    return typed_quantity(text, what) if text else None


def accuracy_page(asked: Asked) -> HttpResponse:
    """How many places agreed with the books when they were counted, by depot and cause, of those posted in a time."""
    try:
        since, until = typed_day(asked.text("since"), "Since"), typed_day(asked.text("until"), "Until")
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, reverse("count-accuracy"))
    by_kind = asked.text("by") == "kind"
    found = accuracy(
        by_kind=by_kind, since=_edge(asked, since, time.min), until=_edge(asked, until, time.max)
    )  # fmt: skip
    rows = [
        [one.depot, *([one.kind] if by_kind else []), figure(f"{one.percent.normalize():f} %"), figure(one.counted),
         Cell(one.wrong, number=True, note=", ".join(f"{number} {cause}" for cause, number in one.causes.items())),
         f"fewer than {FEW}: little to go by" if one.counted < FEW else "–"]
        for one in found
    ]  # fmt: skip
    heads = ("Depot", *(["Kind"] if by_kind else []), "Right", "Counted", "Wrong, by cause", "Remark")
    empty = "No count was posted in this time: a rate is shown with the number of places it comes from."
    table = Table("Places that agreed with the books", heads, rows, empty)
    return page(asked, "count_accuracy.html", {"table": table, "since": since, "until": until, "by_kind": by_kind})


def _edge(asked: Asked, day: date | None, at: time) -> datetime | None:
    return datetime.combine(day, at, asked.zone) if day else None
