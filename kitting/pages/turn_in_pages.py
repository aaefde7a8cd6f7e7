"""Turn in what came back: ticked or scanned, sealed or opened, and the door it goes to."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypedDict
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import BAG, BIN, HOLD, SUPPLIER_OWNED, Depot, Lot, Place
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry
from kitting.models.bags import PICKED
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, go_to, page, refused
from kitting.pages.bag_forms import Field, of_bag, place_scanned, quantity
from kitting.pages.other_lot import Read, brought_in, question_of, read_for, source_chosen
from kitting.pages.several import numbered, said
from kitting.pages.typed import back_with_typed
from kitting.selectors.bag_contents import bare, contents_of, inside_by_lot, label_code
from kitting.services.found_short import TO_BE_FOUND
from kitting.services.return_bags import DOORS, INSPECT, OPENED, SEALED, STOCK, require_door, turn_in
from kitting.services.scans import Answer

TICK, READ, OTHER = "tick", "read", "other"
_TYPED = ("quantity", "condition", "door", "place", "why")


@dataclass(frozen=True, slots=True)
class Back:
    """A row of the turn-in: pieces of one lot that are still out, and where they were taken from."""

    number: int
    lot: Lot
    left: str
    place: str


class Door(TypedDict):
    """How pieces came back, through which door they go, to which place, and why."""

    condition: str
    door: str
    place: Place | None
    why: str


@of_bag
def turn_in_page(asked: Asked, one: Bag) -> HttpResponse:
    """Tick what came back, or scan it, which ticks it; a lot that isn't in the bag is asked about."""
    code = label_code(one)
    here = reverse("turn-in", args=[code])
    if asked.request.method == "POST":
        return _other_back(asked, one, here) if asked.text("do") == OTHER else _ticked_back(asked, one, here)
    ticks = Counter(text for name, text in _kept(asked) if name == TICK)
    question: dict[str, object] = {}
    if asked.text(READ):
        try:
            read = read_for(asked, contents_of([one])[one.pk], asked.text(READ), asked.text("lot"))
            if not read.is_other:
                return go_to(f"{here}?{urlencode([*_kept(asked), (TICK, _row_meant(one, read))])}")
            question = question_of(one, read)
        except ANY_REFUSAL as refusal:
            return refused(asked, refusal, f"{here}?{urlencode(_kept(asked))}")
    rows = [(row, ticks[str(row.number)], _shown(asked, row, ticks[str(row.number)])) for row in _to_come_back(one)]
    rows.sort(key=lambda row: not row[1])
    context = {
        "bag": one, "code": code, "rows": rows, "doors": DOORS, "conditions": (SEALED, OPENED), "question": question,
        "other": {name: asked.text(f"{name}-{OTHER}") for name in ("quantity", "condition", "door", "place", "why")},
        "read": asked.text(READ), "kept": _kept(asked), "ticked": sum(ticks.values()), "place_fields": _places(rows),
    }  # fmt: skip
    return page(asked, "turn_in.html", context)


def _kept(asked: Asked) -> list[tuple[str, str]]:
    """What was ticked so far: by scan, and by hand before a code was photographed."""
    scanned = asked.request.GET.getlist(TICK)
    by_hand = [number for number in asked.request.GET.getlist("back") if number not in scanned]
    return [(TICK, number) for number in (*scanned, *by_hand)]


def _shown(asked: Asked, row: Back, ticked: int) -> dict[str, str]:
    """What stands in a row of the form: what was typed before a refusal, else as many as were scanned or are left."""
    typed = {name: asked.text(f"{name}-{row.number}") for name in _TYPED}
    many = str(ticked) if ticked else row.left
    return {**typed, "quantity": typed["quantity"] or many, "place": typed["place"] or row.place}


def _places(rows: Sequence[tuple[Back, int, Mapping[str, str]]]) -> list[Field]:
    """The fields of the rows to scan a place into."""
    return [
        Field(f"place-{row.number}", f"Place of {row.lot}", shown["place"], required=False, scans=True)
        for row, _, shown in rows
    ]


def _row_meant(one: Bag, read: Read) -> int:
    """The row that a scan ticks.

    Raises:
        Refusal: ``not-in-bag``; ``which-lot``: the piece doesn't say it and several lots of it are out.
    """
    if not read.inside:
        message = f"NOT IN BAG: nothing of {read.item} is left in {one}. With its lot it says from where it may be."
        raise Refusal("not-in-bag", message, {"bag": str(one)})
    if len(read.inside) > 1:
        lots = ", ".join(lot.number or "unknown" for lot in read.inside)
        raise Refusal("which-lot", f"WHICH LOT: {lots} are out; scan the carton, or type the lot too.", {"lots": lots})
    return int(read.inside[0].pk)


def _ticked_back(asked: Asked, one: Bag, here: str) -> HttpResponse:
    ticked = asked.request.POST.getlist("back")
    if not ticked:
        return refused(asked, Refusal("nothing-ticked", "NOTHING TICKED: tick what came back.", {}), here)
    again = []
    for number in ticked:

        def deed(number: str = number) -> Answer:
            return _one_back(asked, one, number)

        if not said(asked, deed, numbered(asked, number)):
            fields = [f"{name}-{number}" for name in _TYPED]
            again += [(TICK, number), *((field, asked.text(field)) for field in fields)]
    return go_to(f"{here}?{urlencode(again)}" if again else here)


def _other_back(asked: Asked, one: Bag, here: str) -> HttpResponse:
    """Turn in a piece of another lot from where it came: another bag that is out, or by way of this one."""

    def deed() -> tuple[str, str]:
        read = read_for(asked, contents_of([one])[one.pk], asked.text(READ), asked.text("lot"))
        source, pieces = source_chosen(asked, one, read), quantity(asked.text("quantity-other"))
        bag = source.bag if source and source.kind == BAG else one
        door = _door(asked, bag, OTHER)
        require_door(read.item, **door)  # before anything is booked
        if bag is one:
            brought_in(asked, one, read, pieces, source, **numbered(asked, "in"))
        answer = turn_in(
            bag=label_code(bag), stock_code=read.item.stock_code, lot=read.lot, quantity=pieces, **door, **asked.scan()
        )
        return answer.word, answer.sentence

    return attempt(asked, deed, here, back=back_with_typed(asked, here))


def _to_come_back(one: Bag) -> Iterator[Back]:
    inside = inside_by_lot(contents_of([one])[one.pk])
    taken = BagEntry.objects.filter(line__bag=one, deed=PICKED).order_by("pk")
    places = {entry.lot_id: str(entry.facts.get("from", "")) for entry in taken}
    for lot, pieces in sorted(inside.items(), key=lambda pair: pair[0].item.stock_code):
        yield Back(lot.pk, lot, bare(pieces), places.get(lot.pk, ""))


def _one_back(asked: Asked, one: Bag, number: str) -> Answer:
    """Turn one ticked row in.

    Raises:
        Refusal: the row is none of this bag's, or as ``turn_in``.
    """
    row = next((back for back in _to_come_back(one) if str(back.number) == number), None)
    lot = row.lot if row else Lot.objects.filter(pk=number if number.isdigit() else 0).select_related("item").first()
    if lot is None:
        raise Refusal("not-in-bag", f"{one} holds no such piece.", {"bag": str(one)})
    return turn_in(
        bag=label_code(one), stock_code=lot.item.stock_code, lot=lot.number,
        quantity=quantity(asked.text(f"quantity-{number}")), **_door(asked, one, number), **numbered(asked, number),
    )  # fmt: skip


def _door(asked: Asked, bag: Bag, row: str) -> Door:
    """The door of a row of the form.

    Raises:
        Refusal: as ``_place_behind``.
    """
    door = asked.text(f"door-{row}")
    place = _place_behind(bag.depot, door, asked.text(f"place-{row}"))
    return {"condition": asked.text(f"condition-{row}"), "door": door, "place": place, "why": asked.text(f"why-{row}")}


def _place_behind(depot: Depot, door: str, text: str) -> Place | None:
    """Where pieces lie that go through a door; the depot's only hold place where none was scanned.

    Raises:
        Refusal: ``unknown-place``; ``which-hold``: the depot has several hold places.
    """
    if door == STOCK:
        return place_scanned(depot, text, BIN, SUPPLIER_OWNED)
    if door != INSPECT:
        return None
    code = text.removeprefix(f"{depot.depot}/")
    found = Place.objects.filter(depot=depot, kind=HOLD).exclude(code=TO_BE_FOUND).select_related("depot")
    holds = {place.code: place for place in found.order_by("code")}
    if code not in holds and len(holds) != 1:
        message = (
            f"WHICH HOLD PLACE: scan one of {', '.join(holds) or 'none: the depot has no place of the kind hold'}."
        )
        raise Refusal("which-hold", message, {"depot": depot.depot, "places": list(holds)})
    return holds.get(code) or next(iter(holds.values()))
