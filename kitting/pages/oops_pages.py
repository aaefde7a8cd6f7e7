"""Oops: one tap says what happened to a piece, with a photograph or not; a tap by mistake is taken back here too."""

from dataclasses import dataclass
from datetime import datetime

from django.http import HttpResponse
from django.urls import reverse

from kitting.errors import Refusal
from kitting.models import Bag, Event
from kitting.models.pictures import NOTE_LENGTH, OF_BAG
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, page, refused
from kitting.pages.bag_forms import of_bag, quantity
from kitting.pages.other_lot import read_for
from kitting.pages.picture_pages import may_picture, picture_sent
from kitting.pages.step_pages import choice_of, piece_chosen, pieces_inside
from kitting.pages.typed import back_with_typed
from kitting.selectors.bag_contents import contents_of, label_code
from kitting.services.oops import EVENTS, OOPS, oops
from kitting.services.pictures import picture_bag
from kitting.services.scans import Scan
from kitting.services.undo_scans import undo, undone

_LAST = 5


@dataclass(frozen=True, slots=True)
class Said:
    """An oops of the bag: its number, when, who, what in words, and whether it was taken back."""

    number: str
    at: datetime
    by: str
    words: str
    is_back: bool


@of_bag
def oops_page(asked: Asked, one: Bag) -> HttpResponse:
    """Say what happened to a piece, or take it back."""
    code = label_code(one)
    here = reverse("write-off", args=[code])
    if asked.request.method == "POST":

        def deed() -> tuple[str, str]:
            if asked.text("undone"):
                answer = undo(bag=code, undone_action=asked.text("undone"), **asked.scan())
                return answer.word, answer.sentence
            stock_code, lot = piece_chosen(asked)
            answer = oops(
                bag=code, stock_code=stock_code, lot=lot, quantity=quantity(asked.text("quantity") or "1"),
                what=asked.text("what"), note=asked.text("note"), **asked.scan(),
            )  # fmt: skip
            what = f"{stock_code} {asked.text('what')}"
            return answer.word, " ".join(filter(None, (f"{what}.", answer.sentence, _pictured(asked, code, what))))

        return attempt(asked, deed, here, back=back_with_typed(asked, here))
    chosen = asked.text("piece")
    if asked.text("read"):
        try:
            chosen = _scanned(asked, one)
        except ANY_REFUSAL as refusal:
            return refused(asked, refusal, here)
    context = {
        "bag": one, "code": code, "pieces": pieces_inside(contents_of([one])[one.pk]), "chosen": chosen, "kinds": OOPS,
        "said": _said(one), "may_picture": may_picture(asked, OF_BAG, one.depot.depot),
    }  # fmt: skip
    return page(asked, "oops.html", context)


def _pictured(asked: Asked, code: str, what: str) -> str:
    """Keep the photograph that came with it among the bag's; what was said of the piece never waits for one."""
    if not any(one.size for one in asked.request.FILES.getlist("picture")):
        return ""
    scan: Scan = {**asked.scan(), "action": f"{asked.action}-picture"}
    try:
        one = picture_bag(bag=code, picture=picture_sent(asked), note=what[:NOTE_LENGTH], **scan)
    except Refusal as refusal:
        return f"The photograph is not kept: {refusal.message}"
    return f"Picture {one.pk} is kept with the bag."


def _scanned(asked: Asked, one: Bag) -> str:
    """The choice of the piece that was scanned.

    Raises:
        Refusal: ``not-in-bag``; ``which-lot``.
    """
    read = read_for(asked, contents_of([one])[one.pk], asked.text("read"))
    if not read.inside:
        named = f"{read.item} lot {read.lot}" if read.lot else str(read.item)
        raise Refusal("not-in-bag", f"NOT IN BAG: nothing of {named} is left in {one}.", {"bag": str(one)})
    if len(read.inside) > 1:
        raise Refusal("which-lot", f"WHICH LOT: several lots of {read.item} are in it: choose from the list.", {})
    return choice_of(read.item.stock_code, read.inside[0].number)


def _said(one: Bag) -> list[Said]:
    found = Event.objects.filter(name__in=EVENTS, subject=str(one), data__bag=one.code).order_by("-number")[:_LAST]
    rows = [*found]
    back = undone([str(row.data["action"]) for row in rows])
    return [_row(one, is_back=str(one.data["action"]) in back) for one in rows]


def _row(event: Event, *, is_back: bool) -> Said:
    words = f"{event.data['quantity']} {event.data['stock_code']}: {event.data['why']}"
    return Said(str(event.data["action"]), event.at, event.by, words, is_back)
