"""Note what is installed: scan the end and the piece, or tick by end and phase; which lot is on which."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from kitting.errors import Refusal
from kitting.models import Bag
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, go_to, page, refused
from kitting.pages.bag_forms import of_bag, quantity
from kitting.pages.other_lot import Read, brought_in, question_of, read_for, source_chosen
from kitting.pages.several import said
from kitting.pages.typed import back_with_typed, typed_moment
from kitting.selectors.bag_contents import contents_of, label_code
from kitting.selectors.ends_to_fit import End, ends_to_fit
from kitting.services.return_bags import Installed, install
from kitting.services.scans import Scan

READ, END, OTHER = "read", "end", "other"


@dataclass(frozen=True, slots=True)
class Typed:
    """What was ticked and typed for an end in a form that was refused, so that nothing is typed again."""

    ticked: Sequence[str]
    quantity: str
    gauge: str
    remark: str
    position: str
    lot: str


@of_bag
def install_page(asked: Asked, one: Bag) -> HttpResponse:
    """Which lot is on which end and phase; a scan of the end shows that end, one of the piece fills its lot."""
    code = label_code(one)
    here = reverse("install", args=[code])
    if asked.request.method == "POST":
        return _other_lot(asked, one, here) if asked.text("do") == OTHER else _noted(asked, one, here)
    ends = [end for end in _ends(one) if end.phases or end.done]
    place, read, question = asked.text(END), None, {}
    try:
        if asked.text(READ):
            named = next((end.where for end in ends if end.where.casefold() == asked.text(READ).casefold()), "")
            if named:
                return go_to(f"{here}?{urlencode({END: named})}")
            read = read_for(asked, contents_of([one])[one.pk], asked.text(READ), asked.text("lot"))
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, f"{here}?{urlencode({END: place})}")
    shown = [end for end in ends if place in ("", end.where)]
    if read:
        shown = [end for end in shown if end.line.item_id == read.item.pk and end.phases]
        if read.inside and not _fills(shown, read.lot):  # it is for another end of this bag, or the spare
            shown = [end for end in ends if end.line.item_id == read.item.pk and end.phases]
        question = question_of(one, read) if read.is_other else {}
    both = [(end, _as_typed(asked, end)) for end in shown]
    context = {
        "bag": one, "code": code, "ends": both, "end": place, "read": asked.text(READ), "filled": read,
        "paper_at": asked.text("paper_at"), "paper_by": asked.text("paper_by"),
        "question": question if shown else {}, "none": bool(read and not shown), "all": bool(place or read),
    }  # fmt: skip
    return page(asked, "install.html", context)


def _fills(ends: Sequence[End], lot: str) -> bool:
    """Whether the lot lies in the bag for one of these ends."""
    return any(lot in ("", number) for end in ends for number, _ in end.lots)


def _noted(asked: Asked, one: Bag, here: str) -> HttpResponse:
    try:
        pieces = [*_pieces(asked, one)]
        if not pieces:
            raise Refusal("nothing-ticked", "NOTHING TICKED: tick the phases that are done.", {})
        scan, by = _scan(asked), asked.text("paper_by")
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, back_with_typed(asked, here))
    given = [replace(piece, on_paper=by) for piece in pieces]
    if not said(asked, lambda: install(bag=label_code(one), pieces=given, **scan), scan):
        return go_to(back_with_typed(asked, here))
    return go_to(f"{here}?{urlencode({END: asked.text(END)})}" if asked.text(END) else here)


def _scan(asked: Asked) -> Scan:
    """Who and when; what is typed from a night card bears the moment that stands on the card as well.

    Raises:
        Refusal: ``no-moment``; ``from-paper``: only one of moment and initials is typed, or the moment is to come.
    """
    moment, by = typed_moment(asked, asked.text("paper_at")), asked.text("paper_by")
    if bool(by) != (moment is not None) or (moment and moment > asked.at):
        why = "the moment is still to come" if moment and by else "type the moment on the card and whose initials"
        raise Refusal("from-paper", f"FROM PAPER: {why}.", {})
    scan = asked.scan()
    if moment is not None:
        scan["device_at"] = moment
    return scan


def _as_typed(asked: Asked, end: End) -> Typed:
    key = end.line.pk
    names = ("quantity", "gauge", "remark", "position", "lot")
    return Typed(asked.request.GET.getlist(f"phase-{key}"), *(asked.text(f"{name}-{key}") for name in names))


def _other_lot(asked: Asked, one: Bag, here: str) -> HttpResponse:
    """A lot that is not in this bag: from where it came; then its end is ticked as any other."""
    back = {READ: asked.text(READ), "lot": asked.text("lot"), END: asked.text(END)}

    def deed() -> tuple[str, str]:
        read: Read = read_for(asked, contents_of([one])[one.pk], asked.text(READ), asked.text("lot"))
        source, pieces = source_chosen(asked, one, read), quantity(asked.text("quantity-other"))
        answer = brought_in(asked, one, read, pieces, source, asked.text("line"), **asked.scan())
        return answer.word, f"{answer.sentence} Now tick where it is."

    again = f"{here}?{urlencode({name: text for name, text in back.items() if text})}"
    return attempt(asked, deed, again, back=again)


def _ends(one: Bag) -> Sequence[End]:
    return ends_to_fit(contents_of([one]).values())[one.pk]


def _pieces(asked: Asked, one: Bag) -> Iterator[Installed]:
    for end in _ends(one):
        key = end.line.pk
        lots: Mapping[str, str] = dict(end.lots)
        phases = ("all", *str(end.line.facts.get("phases", "")))
        for phase in [one for one in asked.request.POST.getlist(f"phase-{key}") if one in phases]:
            lot = asked.text(f"lot-{key}") or next(iter(lots), "")
            yield Installed(
                line=end.line.line, stock_code=end.line.item.stock_code if end.line.item else "", lot=lot,
                quantity=quantity(asked.text(f"quantity-{key}") or end.each), phase="" if phase == "all" else phase,
                gauge=asked.text(f"gauge-{key}"), remark=asked.text(f"remark-{key}"),
                position=asked.text(f"position-{key}"),
            )  # fmt: skip
