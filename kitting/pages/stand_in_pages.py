"""Stand-ins that are approved and until when, and what a duty supervisor may approve at night: standards' work."""

from datetime import date

from django.db.models import F
from django.http import HttpResponse
from django.urls import reverse

from inventory.selectors.words import quantity_text
from kitting.errors import Refusal
from kitting.models import DutyLimit, StandIn
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, day_of, typed_quantity
from kitting.roles import STANDARDS_ENGINEER
from kitting.services.stand_in_terms import end_stand_in, extend_stand_in, list_for_duty, unlist_for_duty

_SHOWN = 100


def stand_ins(asked: Asked) -> HttpResponse:
    """The approvals, those that hold longest first, and the list for the night."""
    if asked.request.method == "POST":
        deed = _unlist if asked.text("deed") == "unlist" else _list
        address = reverse("stand-ins")
        return attempt(asked, lambda: deed(asked), address, back=back_with_typed(asked, address))
    found = StandIn.objects.select_related("wanted", "allowed", "system")
    ordered = found.order_by(F("valid_to").desc(nulls_first=True), "-pk")[:_SHOWN]
    rows = [
        [link(str(one), "stand-in", one.pk), str(one.system or "any"),
         Cell(one.valid_to or "no end", note=_state(one, asked.today)), figure(_most(one)),
         Cell(one.reason or "–", note=one.approved_by)]
        for one in ordered
    ]  # fmt: skip
    heads: tuple[str, ...] = ("Stand-in", "System", "Cutovers up to", "Most pieces", "Why, and who approved")
    table = Table(
        "Approved, one way only", heads, rows, "No stand-in is approved: ask for one from the page of a line."
    )
    listed = [*DutyLimit.objects.filter(ended_at__isnull=True).select_related("wanted", "stand_in", "system")]
    rows = [
        [str(one), str(one.system or "any"), figure(quantity_text(one.most_pieces, one.stand_in.stock_unit)),
         figure(f"{one.most_days} days"), Cell(one.reason, note=one.listed_by)]
        for one in listed
    ]  # fmt: skip
    heads = ("Stand-in", "System", "At most", "For at most", "Why, and who listed it")
    empty = "Nothing is listed: a duty supervisor can approve no stand-in."
    context = {
        "table": table,
        "duty": Table("What a duty supervisor may approve without standards", heads, rows, empty),
        "listed": listed,
        "may_keep": _may_keep(asked),
    }
    return page(asked, "stand_ins.html", context)


def _may_keep(asked: Asked) -> bool:
    return STANDARDS_ENGINEER in asked.actor.roles


def _most(one: StandIn) -> str:
    return quantity_text(one.max_quantity, one.allowed.stock_unit) if one.max_quantity else "any number"


def _state(one: StandIn, today: date) -> str:
    if one.valid_to is not None and one.valid_to < today:
        return "ENDED"
    return f"NOT BEFORE {one.valid_from}" if one.valid_from and one.valid_from > today else "HOLDS"


def _list(asked: Asked) -> tuple[str, str]:
    days = asked.text("days")
    if not (days.isascii() and days.isdigit()):
        raise Refusal("no-number", f"{days or 'Nothing'} is no number of days: write 14.", {"read": days})
    listed = list_for_duty(
        wanted=asked.text("wanted").upper(),
        stand_in=asked.text("stand_in").upper(),
        most_pieces=typed_quantity(asked.text("pieces"), "Most pieces"),
        most_days=int(days),
        reason=asked.text("reason"),
        actor=asked.actor,
        at=asked.at,
    )
    return "LISTED", f"{listed}: a duty supervisor may approve it within these limits."


def _unlist(asked: Asked) -> tuple[str, str]:
    number = asked.text("listed")
    pair = int(number) if number.isascii() and number.isdigit() else 0
    unlist_for_duty(number=pair, reason=asked.text("reason"), actor=asked.actor, at=asked.at)
    return "OFF THE LIST", "What was approved by it stays."


def stand_in(asked: Asked, number: str) -> HttpResponse:
    """An approval: its limits; standards let it hold longer, or end it sooner."""
    found = StandIn.objects.select_related("wanted", "allowed", "system").filter(pk=number).first()
    if found is None:
        raise Refusal("no-such-approval", f"There is no approved stand-in {number}.", {"number": number})
    if asked.request.method == "POST":
        address = reverse("stand-in", args=[number])
        return attempt(asked, lambda: _move_end(asked, found), address, back=back_with_typed(asked, address))
    facts = (
        ("System", str(found.system or "any")),
        ("Cutovers from", str(found.valid_from or "any day")),
        ("Cutovers up to", str(found.valid_to or "no end")),
        ("Now", _state(found, asked.today)),
        ("Most pieces", _most(found)),
        ("Approved by", found.approved_by),
        ("Because", found.reason or "–"),
    )
    context = {"one": found, "facts": facts, "may_keep": _may_keep(asked)}
    return page(asked, "stand_in.html", context)


def _move_end(asked: Asked, found: StandIn) -> tuple[str, str]:
    day, reason = day_of(asked, "valid_to"), asked.text("reason")
    move, word = (end_stand_in, "ENDS SOONER") if asked.text("deed") == "end" else (extend_stand_in, "HOLDS LONGER")
    move(number=found.pk, valid_to=day, reason=reason, actor=asked.actor, at=asked.at)
    return word, f"{found} serves cutovers up to {day}; plan again to see which lines that changes."
