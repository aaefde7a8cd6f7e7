"""A difference of a count: what may explain it before the books change, its cause, and who agrees; bags to be found."""

from collections.abc import Callable

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Movement
from inventory.selectors.words import quantity_text
from kitting.errors import Refusal
from kitting.models import APPROVED, CAUSES, EXPLAINED, RECOUNTED, CountLine
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.count_pages import is_open_to_see
from kitting.pages.count_walk import AGAIN
from kitting.pages.deciding_pages import NO, YES
from kitting.pages.tables import Cell, Table, figure
from kitting.pages.typed import back_with_typed
from kitting.roles import APPROVE, DO, require
from kitting.selectors.counting import BeforeAdjusting, before_adjusting, blinded
from kitting.selectors.open_counts import APPROVAL, FIND, difference_text, waits_for
from kitting.selectors.policies import count_limit
from kitting.services.count_places import COUNT as RIGHT
from kitting.services.settle_counts import approve_count, explain, found_bag, send_back
from kitting.services.two_persons import same_person


def depot_of_difference(number: int) -> str:
    """The depot of a line of a count; '' where there is none."""
    return CountLine.objects.filter(pk=number).values_list("count_list__depot__depot", flat=True).first() or ""


def difference(asked: Asked, number: int) -> HttpResponse:
    """One line of a count that two persons have counted, or a bag that was not in its rack place."""
    lines = CountLine.objects.select_related("count_list__depot", "place__depot", "lot__item")
    line = lines.filter(pk=number).first()
    if line is None:
        raise Refusal("unknown-count-line", f"There is no line {number} of a count.", {})
    if asked.request.method == "POST":
        return _posted(asked, line)
    if line.is_bag:
        return _bag_page(asked, line)
    shown = is_open_to_see(line)
    context: dict[str, object] = {"line": line, "counted": line.count_list, "shown": shown, "again": _again(line),
                                  "typed": _typed(asked)}  # fmt: skip
    if shown:
        context |= _settling(asked, line)
    return page(asked, "count_difference.html", context)


def _typed(asked: Asked) -> dict[str, str]:
    """What was typed before a refusal."""
    return {name: asked.text(name) for name in ("deed", "cause", "words", "reason", "where")}


def _again(line: CountLine) -> str:
    return f"{reverse('count', args=[line.count_list.number])}?line={line.position}&{AGAIN}=yes"


def _bag_page(asked: Asked, line: CountLine) -> HttpResponse:
    (blind,) = blinded([line])
    looked_for = waits_for(line, 0) == FIND
    acts = looked_for and asked.actor.may(RIGHT, DO, line.count_list.depot.depot)
    context = {"line": line, "counted": line.count_list, "blind": blind, "looked_for": looked_for, "acts": acts,
               "typed": _typed(asked)}  # fmt: skip
    return page(asked, "count_bag.html", context)


def _settling(asked: Asked, line: CountLine) -> dict[str, object]:
    """What the page of a lot shows to who explains or decides."""
    before = before_adjusting(line, at=asked.at)
    depot, waits = line.count_list.depot.depot, waits_for(line, count_limit())
    may_explain = line.state in (RECOUNTED, EXPLAINED, APPROVED) and line.difference != 0
    refusal = _why_not(asked, line, depot) if waits == APPROVAL else ""
    return {
        "facts": _facts(line, before), "units": before.units, "waits": waits, "causes": [*CAUSES.items()],
        "tables": [_recent(asked, line, before), _kept(asked, before), _elsewhere(before, line)],
        "may_explain": may_explain and asked.actor.may(RIGHT, DO, depot), "why_not": refusal,
        "may_decide": waits == APPROVAL and not refusal, "difference": difference_text(line),
    }  # fmt: skip


def _why_not(asked: Asked, line: CountLine, depot: str) -> str:
    """In words why this person does not decide; '' where they do."""
    for name in (line.counted_by, line.recounted_by, line.explained_by):
        if same_person(name, asked.actor.name):
            return f"{name} counted or explained it: another person decides."
    try:
        require(asked.actor, RIGHT, APPROVE, depot)
    except Refusal as refusal:
        return refusal.message
    return ""


def _facts(line: CountLine, before: BeforeAdjusting) -> list[tuple[str, str]]:
    unit = line.lot.item.stock_unit if line.lot else ""
    facts = [
        ("On the books at that moment", quantity_text(before.expected, unit)),
        (f"Counted by {line.counted_by}", quantity_text(line.counted or 0, unit)),
        (f"Counted again by {line.recounted_by}", quantity_text(before.figure, unit)),
        ("Difference", difference_text(line)),
    ]
    if line.cause:
        facts.append((f"Explained by {line.explained_by}", f"{line.cause}: {line.explanation}"))
    if line.approved_by:
        facts.append((f"Approved by {line.approved_by}", line.approval))
    return facts


def _recent(asked: Asked, line: CountLine, before: BeforeAdjusting) -> Table:
    rows = [
        [f"{one.action.at.astimezone(asked.zone):%Y-%m-%d %H:%M}", Cell(one.action.use_case, note=one.action.by),
         one.lot.number or "unknown", figure(_signed(one, line)), _other_side(one, line), one.action.paper or "–"]
        for one in before.recent
    ]  # fmt: skip
    heads = ("When", "What", "Lot", "Pieces", "To or from", "Paper")
    empty = "Nothing of this item has come to this place or left it within 30 days."
    return Table("Moved here within 30 days, the last first", heads, rows, empty)


def _signed(one: Movement, line: CountLine) -> str:
    unit = one.lot.item.stock_unit
    return f"{'+' if one.to_place_id == line.place_id else '-'}{quantity_text(one.quantity, unit)}"


def _other_side(one: Movement, line: CountLine) -> str:
    if one.to_place_id == line.place_id:
        return f"from {one.from_place or one.origin}"
    return f"to {one.to_place or one.ending}"


def _kept(asked: Asked, before: BeforeAdjusting) -> Table:
    rows = [
        [f"{one.device_at.astimezone(asked.zone):%Y-%m-%d %H:%M}", one.use_case, one.by, one.device, one.why]
        for one in before.kept
    ]
    heads = ("Scanned", "What", "By", "Device", "Why it waits")
    empty = "No scan of a device waits that concerns it."
    return Table("Scans that have not reached the books", heads, rows, empty)


def _elsewhere(before: BeforeAdjusting, line: CountLine) -> Table:
    unit = line.lot.item.stock_unit if line.lot else ""
    rows = [
        [one.depot, Cell(one.place, note=one.place_kind), one.lot or "unknown",
         figure(quantity_text(one.quantity, unit))]
        for one in before.elsewhere
    ]  # fmt: skip
    empty = "It lies nowhere else."
    return Table("Where else it lies on the books", ("Depot", "Place", "Lot", "Pieces"), rows, empty)


def _posted(asked: Asked, line: CountLine) -> HttpResponse:
    here = reverse("count-difference", args=[line.pk])
    lines = reverse("count-lines", args=[line.count_list.number])
    deeds: dict[str, tuple[Callable[[], tuple[str, str]], str]] = {
        "explain": (lambda: _explain(asked, line), here),
        "found": (lambda: _found(asked, line), lines),
        YES: (lambda: _decide(asked, line), reverse("to-approve")),
        NO: (lambda: _decide(asked, line), reverse("to-approve")),
    }
    if asked.text("deed") not in deeds:
        raise Refusal("unknown-deed", "There is no such form.", {})
    deed, address = deeds[asked.text("deed")]
    return attempt(asked, deed, address, back=back_with_typed(asked, here))


def _explain(asked: Asked, line: CountLine) -> tuple[str, str]:
    told = explain(
        count_list=line.count_list.number, line=line.position, cause=asked.text("cause"), words=asked.text("words"),
        confirmed=asked.confirmed, **asked.scan(),
    )  # fmt: skip
    if not told.difference:
        return "NO DIFFERENCE", "The books agree by now: a late paper has come."
    if waits_for(told, count_limit()) == APPROVAL:
        return "EXPLAINED", "It is above the limit or a supplier's: another person approves it before it is posted."
    return "EXPLAINED", "It is within the limit: post the list when all of it is settled."


def _found(asked: Asked, line: CountLine) -> tuple[str, str]:
    where = asked.text("where")
    found_bag(count_list=line.count_list.number, line=line.position, where=where, **asked.scan())
    return "FOUND", f"{where} is its rack place from now on."


def _decide(asked: Asked, line: CountLine) -> tuple[str, str]:
    act = approve_count if asked.text("deed") == YES else send_back
    act(count_list=line.count_list.number, line=line.position, reason=asked.text("reason"), **asked.scan())
    if asked.text("deed") == YES:
        return "APPROVED", "Stores post it with their list; your name stands beside the difference."
    return "SENT BACK", "Somebody who did not count it first counts it again."
