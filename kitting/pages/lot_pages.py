"""A lot: everywhere it is, with a total that must be what was received; stop it, recall it, print its trace and tag."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from types import MappingProxyType

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Item, LotHold
from inventory.services.holding import place_hold
from kitting.calculation.quantities import as_decimal
from kitting.documents.from_records import hold_tag_of, lot_trace_of
from kitting.documents.hold_tag import hold_tag
from kitting.documents.lot_trace import (
    ANY_DAY,
    FAILED,
    NONE_OF,
    PARTS,
    Days,
    LotTrace,
    Sight,
    TraceLine,
    lot_trace_csv,
    lot_trace_report,
    lot_trace_workbook,
)
from kitting.documents.record_papers import Printed, moment_text
from kitting.errors import Refusal
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, loud, not_served, page
from kitting.pages.paper_pages import file_response, printed, proven
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, typed_day, typed_moment
from kitting.roles import APPROVE, DO, SEE, Actor
from kitting.selectors.lot_names import lot_address, lot_of_address
from kitting.selectors.sight import depots_seen, has_own_ends_only
from kitting.services.note_looking import note_looking
from kitting.services.recall_lots import LOT_HOLD, Recalled, recall_lot, was_recalled
from kitting.services.report_failures import FAILURE

PDF = "pdf"
_WRITTEN: Mapping[str, Callable[[LotTrace, Printed], bytes]] = MappingProxyType(
    {
        PDF: lot_trace_report,
        "xlsx": lot_trace_workbook,
        "csv": lot_trace_csv,
    }
)


def lot_url(code: str, number: str) -> str:
    """The page of a lot; '' is the lot that nobody knows."""
    return reverse("lot", args=[lot_address(code, number)])


def lot(asked: Asked, name: str) -> HttpResponse:
    """Where every piece of a lot is or was, and note who looks; a form stops it, or all that holds a piece too."""
    try:
        item, number = lot_of_address(name)
        if asked.request.method == "POST":
            return _stop(asked, item, number)
        days, problem = _days_or_why(asked)
        trace, moment, unread = _trace_asked(asked, item, number, days)
    except ANY_REFUSAL as refusal:
        return _not_found(asked, refusal)
    note_looking(subject=f"{item} lot {number or 'unknown'}", actor=asked.actor, at=asked.at)
    hold = LotHold.objects.filter(item=item, lot_number=number, released_at__isnull=True).first() if number else None
    may_stop = bool(number) and moment is None and asked.actor.may(LOT_HOLD, DO)
    context = {
        "item": item, "number": number, "trace": trace, "tables": [_part(trace, part) for part in PARTS],
        "failed": sum(one.part == FAILED for one in trace.lines), "may_report": asked.actor.may(FAILURE, DO),
        "name": name, "asked_for": [
            (field, asked.text(field)) for field in ("moment", "first", "last", "place") if field != "moment" or moment
        ],
        "moment": asked.text("moment"), "then": moment, "hold": hold,
        "unknown": item.lots.filter(number="").exists(), "problem": problem, "unread": unread,
        "may_sign": asked.actor.may(LOT_HOLD, APPROVE),
        "may_plan": bool(number) and asked.actor.may("job dates", DO),
        "may_stop": may_stop and (hold is None or not was_recalled(hold)),
    }  # fmt: skip
    return page(asked, "lot.html", context)


def _trace_asked(asked: Asked, item: Item, number: str, days: Days) -> tuple[LotTrace, datetime | None, str]:
    """The trace as of the past moment that is asked about; as of now with the reason where it can't be told."""
    try:
        moment = typed_moment(asked, asked.text("moment"))
        return _trace(asked, item, number, moment, days), moment, ""
    except ANY_REFUSAL as refusal:
        if not asked.text("moment"):
            raise
        return _trace(asked, item, number, None, days), None, loud(refusal)[1]


def _trace(asked: Asked, item: Item, number: str, moment: datetime | None, days: Days) -> LotTrace:
    trace = lot_trace_of(item=item, lot=number, why=asked.text("why"), as_of=moment, zone=asked.zone, days=days)
    return trace.seen(_sight(asked.actor))


def _days(asked: Asked) -> Days:
    """The days and the place that are asked about.

    Raises:
        Refusal: ``no-day``; ``days-turned``: the last day is before the first one.
    """
    first, last = typed_day(asked.text("first"), "From"), typed_day(asked.text("last"), "To")
    if first and last and last < first:
        raise Refusal("days-turned", f"From {first} to {last}: the last day is before the first one.", {})
    return Days(first, last, asked.text("place"))


def _days_or_why(asked: Asked) -> tuple[Days, str]:
    """The same; where they can't be read any days, and why in words."""
    try:
        return _days(asked), ""
    except Refusal as refusal:
        return ANY_DAY, refusal.message


def _sight(actor: Actor) -> Sight:
    """Stores see the places of their depots, crews the ends that they made; names are for who looks into things."""
    return Sight(
        names=actor.may("names", SEE),
        depots=depots_seen(actor) or None,
        ends_of=actor.name if has_own_ends_only(actor) else "",
    )


def _not_found(asked: Asked, refusal: Exception) -> HttpResponse:
    """What comes near, to go on with; none of it is picked."""
    data = getattr(refusal, "data", {})
    near = data.get("near")
    if not near:
        return not_served(asked, refusal)
    code = data["stock_code"]
    return page(asked, "lot_near.html", {"sentence": str(refusal), "code": code,
                                         "near": [(one, lot_url(code, one)) for one in near]}, 404)  # fmt: skip


def _part(trace: LotTrace, part: str) -> Table:
    rows = [_line(one, trace.unit) for one in trace.lines if one.part == part]
    return Table(part.capitalize(), ("What, where", "Job", "Date", "Who, why", "Pieces"), rows, NONE_OF[part])


def _line(one: TraceLine, unit: str) -> list[Cell]:
    return [
        Cell(one.what),
        link(one.job, "job", one.job) if one.job else Cell("–"),
        Cell(one.when or "–"),
        Cell(one.whose or "–"),
        Cell("–") if one.quantity is None else figure(f"{one.quantity} {unit}"),
    ]


def _stop(asked: Asked, item: Item, number: str) -> HttpResponse:
    """Only the mark, or the recall: bags on hold and promises let go in the same step."""
    address, reason = lot_url(item.stock_code, number), asked.text("reason")

    def hold() -> tuple[str, str]:
        place_hold(stock_code=item.stock_code, lot=number, reason=reason, **asked.stamp())
        return "HELD", f"{item} lot {number}: no piece of it may move on. Its bags and promises are as they were."

    def recall() -> tuple[str, str]:
        found = recall_lot(
            stock_code=item.stock_code, lot=number, reason=reason, serials=asked.text("serials"),
            confirmed=asked.confirmed, **asked.scan(),
        )  # fmt: skip
        return "RECALLED", " ".join(_told(found))

    back = f"{back_with_typed(asked, address)}#stop"
    return attempt(asked, recall if asked.text("do") == "recall" else hold, address, back=back)


def _told(found: Recalled) -> Iterator[str]:
    yield f"{found.hold}: {as_decimal(found.received)} came, {as_decimal(found.gap)} not accounted for."
    if found.bags:
        yield f"Bags on hold: {', '.join(found.bags)}."
    if found.jobs:
        yield f"Jobs hit: {', '.join(f'{job} ({cutover})' for job, cutover in found.jobs.items())}."
    if found.inspect:
        yield f"To look at on the line: {', '.join(f'{one.job} {one.structure}' for one in found.inspect)}."
    if found.needed:
        yield f"To be replaced: {'; '.join(one.sentence for one in found.needed)}."


def trace_paper(asked: Asked, ending: str, name: str) -> HttpResponse:
    """The trace as a file, now or as of a past moment; a print is noted."""
    try:
        if ending not in _WRITTEN:
            raise Refusal("unknown-paper", f"A trace is written as {', '.join(_WRITTEN)}, not as {ending}.", {})
        item, number = lot_of_address(name)
        moment = typed_moment(asked, asked.text("moment"))
        trace = _trace(asked, item, number, moment, _days(asked))
    except ANY_REFUSAL as refusal:
        return _not_found(asked, refusal)
    document, subject = f"lot trace.{ending}", f"{item} lot {number or 'unknown'}"
    about = printed(asked, document, subject, trace)
    if moment is not None:
        about = replace(about, stock_as_of=moment_text(moment.astimezone(asked.zone)))
    return proven(asked, f"lot-trace.{ending}", document, subject, about, _WRITTEN[ending](trace, about))


def tag(asked: Asked, number: int) -> HttpResponse:
    """The tag of a hold, to hang on its pieces."""
    hold = LotHold.objects.select_related("item").filter(pk=number).first()
    if hold is None:
        raise Refusal("unknown-hold", f"There is no hold {number}.", {"hold": number})
    content = hold_tag_of(hold, zone=asked.zone)
    return file_response(f"hold-{number}.pdf", hold_tag(content, printed(asked, "hold tag", str(hold), content)))
