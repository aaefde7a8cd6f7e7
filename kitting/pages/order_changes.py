"""Change an order line: each change is looked at before it is noted, and noted with a reason."""

from collections.abc import Callable, Mapping
from decimal import Decimal

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Lot, OrderLine, Place
from kitting.calculation.quantities import as_decimal
from kitting.errands.planning import WHAT_IF, days_late
from kitting.errors import Refusal
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, refused
from kitting.pages.planning_pages import ask
from kitting.pages.typed import back_with_typed, day_of, typed_quantity
from kitting.selectors.orders import free_part_name, in_purchase_units, on_order
from kitting.services.change_orders import need_to_come, part_of, pieces_of, redate_order, split_order
from kitting.services.cut_orders import cut_order, decide_surplus, send_back

_PLAN_AGAIN = "the planner is told. Plan and apply to promise by it"
Told = tuple[str, str]


def act(asked: Asked, line: OrderLine) -> HttpResponse:
    """What was asked of a line: what it would change, or that it is noted."""
    address = reverse("order-line", args=[line.pk])
    back = back_with_typed(asked, address)
    change = asked.text("change")
    try:
        if change not in _CHANGES:
            raise Refusal("unknown-change", "Say what becomes of the order line.", {"change": change})
        look, note = _CHANGES[change]
        if look is not None and not asked.text("save"):
            shared = {"order": line.order.number, "line": line.line, "number": line.pk, "why": asked.text("why")}
            return ask(asked, WHAT_IF, {"as_of": asked.today.isoformat(), **shared, **look(asked, line)})
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, back)
    return attempt(asked, lambda: note(asked, line), address, back=back)


def _named(line: OrderLine) -> Mapping[str, str]:
    return {"order": line.order.number, "line": line.line}


def _units(asked: Asked, line: OrderLine) -> int:
    return typed_quantity(asked.text("units"), f"{in_purchase_units(line).name} of {line}")


def _look_late(asked: Asked, line: OrderLine) -> Mapping[str, str]:
    """The whole order late, or only this line or part of one."""
    days = str(days_late(asked.text("days")))
    return {"change": "late", "days": days, "line": "" if asked.text("whole") else line.line}


def _look_promised(asked: Asked, line: OrderLine) -> Mapping[str, str]:  # noqa: ARG001 - as the others
    return {"change": "promised", "promised": day_of(asked, "promised").isoformat()}


def _look_split(asked: Asked, line: OrderLine) -> Mapping[str, str]:
    day = day_of(asked, "promised")
    pieces = part_of(line, _units(asked, line), day, asked.at)
    part = {"part": free_part_name(line), "units": asked.text("units"), "quantity": _plain(pieces)}
    return {"change": "split", "promised": day.isoformat(), **part}


def _look_cut(asked: Asked, line: OrderLine) -> Mapping[str, str]:
    need_to_come(line)
    left = line.quantity - line.received
    pieces = pieces_of(line, _units(asked, line)) if asked.text("units") else left
    return {"change": "cut", "units": asked.text("units"), "quantity": _plain(pieces)}


def _plain(pieces: int) -> str:
    return f"{Decimal(as_decimal(pieces)):f}"


def _note_promised(asked: Asked, line: OrderLine) -> Told:
    day = day_of(asked, "promised")
    redate_order(**_named(line), promised=day, why=asked.text("why"), **asked.scan())
    return "NOTED", f"{line} is promised for {day} now; {_PLAN_AGAIN}."


def _note_split(asked: Asked, line: OrderLine) -> Told:
    day, units = day_of(asked, "promised"), _units(asked, line)
    split_order(**_named(line), units=units, promised=day, why=asked.text("why"), **asked.scan())
    return "NOTED", f"A part of {line} is promised for {day} now; who waits first gets what comes first; {_PLAN_AGAIN}."


def _note_cut(asked: Asked, line: OrderLine) -> Told:
    units = _units(asked, line) if asked.text("units") else 0
    cut = cut_order(**_named(line), units=units, why=asked.text("why"), **asked.scan())
    word = "REDUCED" if cut.received < cut.quantity else "CLOSED SHORT" if cut.received else "CANCELLED"
    return word, f"{_PLAN_AGAIN.capitalize()}. Tell the supplier: these books send nothing."


def _note_surplus(decision: str, word: str, sentence: str) -> Callable[[Asked, OrderLine], Told]:
    def note(asked: Asked, line: OrderLine) -> Told:
        decide_surplus(**_named(line), decision=decision, why=asked.text("why"), **asked.scan())
        return word, sentence.format(line=line)

    return note


def _note_nothing(asked: Asked, line: OrderLine) -> Told:  # noqa: ARG001 - as the others
    raise Refusal("only-asked", "That an order comes late is only asked about; note another day instead.", {})


Look = Callable[[Asked, OrderLine], Mapping[str, str]]
Note = Callable[[Asked, OrderLine], Told]
_CHANGES: Mapping[str, tuple[Look | None, Note]] = {
    "late": (_look_late, _note_nothing),
    "promised": (_look_promised, _note_promised),
    "split": (_look_split, _note_split),
    "cut": (_look_cut, _note_cut),
    "keep": (None, _note_surplus("keep", "KEPT", "What comes of {line} is stock: whoever needs it is promised it.")),
    "send back": (None, _note_surplus("send back", "GOES BACK", "Stores are told to send back what came of {line}.")),
}


def send_back_page(asked: Asked, number: int) -> HttpResponse:
    """Stores give pieces back to the supplier, as purchasing decided."""
    (one,) = on_order(number)
    address = reverse("order-line", args=[number])

    def deed() -> Told:
        place, lot = (
            model.objects.filter(pk=asked.text(name) if asked.text(name).isdigit() else 0).first()
            for model, name in ((Place, "place"), (Lot, "lot"))
        )
        if not isinstance(place, Place) or not isinstance(lot, Lot):
            raise Refusal("no-place", "Choose where the pieces lie.", {})
        quantity = typed_quantity(asked.text("quantity"), "Pieces")
        send_back(**_named(one.line), place=place, lot=lot, quantity=quantity, **asked.scan())
        return "SENT BACK", f"{one.words(quantity)} of {one.line} went back to the supplier; the buyer is told."

    return attempt(asked, deed, address, back=back_with_typed(asked, address))
