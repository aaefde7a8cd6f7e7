"""Where else a missing piece is: free ones first, then staged bags, which lend by leave; and paying back."""

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

import inventory.errors
from inventory.models import BIN, SUPPLIER_OWNED, Item
from inventory.selectors.finding import items_by_code
from kitting.errands.lending import LENDING
from kitting.errors import Refusal
from kitting.models import Bag, Borrow, Errand
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, done, page, questions_of, refused
from kitting.pages.bag_forms import Field, approver, of_bag, place_scanned, quantity, read_piece
from kitting.pages.planning_pages import RESULTS, ask
from kitting.pages.source_tables import source_table
from kitting.pages.tables import Cell, Table, figure
from kitting.pages.typed import day_of
from kitting.selectors.bag_contents import bare, contents_of, good_until, label_code
from kitting.selectors.bag_requests import of_bag as asked_of
from kitting.selectors.sources import AT_HAND, FREE, IN_BAG, IN_RESERVE, OTHER_DEPOT, Source, sources
from kitting.services.bag_requests import ask_borrow
from kitting.services.borrow_pieces import borrow as lend
from kitting.services.borrow_pieces import pay_back

ASK, LOOK_FIRST = "ask", "look"
MOST_LENDERS = 5  # each is a plan of its own
LEAVE = "NEEDS SUPERVISOR"


@of_bag
def borrow(asked: Asked, one: Bag) -> HttpResponse:
    """Where an item that a bag misses could come from, in the order in which it is to be taken; and lending it."""
    code = label_code(one)
    wanted = asked.request.GET.get("item", "")
    item = items_by_code([wanted])[wanted]
    found = sources(item=item, depot=one.depot.depot, until=good_until(one.job) or asked.today)
    here = f"{reverse('borrow', args=[code])}?item={wanted}"
    if asked.request.method != "POST":
        return _form(asked, one, found, [])
    if asked.text("deed") == LOOK_FIRST:
        return ask(asked, LENDING, _to_look_at(asked, one, found))
    lender, _, lot = asked.text("lender").partition("|")
    try:
        pieces: dict[str, Any] = {
            "bag": lender, "to_bag": code, "stock_code": item.stock_code, "lot": lot, "why": asked.text("why"),
            "quantity": quantity(asked.text("quantity")), "pay_back_by": day_of(asked, "pay_back_by", "WHEN BACK"),
            "confirmed": asked.confirmed,
        }  # fmt: skip
        if asked.text("deed") == ASK:
            ask_borrow(**pieces, actor=asked.actor, at=asked.at)
            told = "Planner or duty supervisor decide it on the page To approve; it is said here."
            return done(asked, "ASKED", told, here)
        lent = lend(**pieces, authoriser=approver(asked), **asked.scan())
    except inventory.errors.Doubt as doubt:
        return _form(asked, one, found, questions_of(doubt))
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, here)
    return done(asked, "GO", f"{lent}: to come back by {lent.pay_back_by}.", reverse("bag", args=[code]))


def _form(asked: Asked, one: Bag, found: Sequence[Source], questions: Sequence[object]) -> HttpResponse:
    """The sources; with questions the PIN is typed again, so that it never stands in a page."""
    free = [source for source in found if source.kind in FREE]
    lenders = _lenders(one, found)
    choice = [(f"{label_code(source.bag)}|{source.balance.lot.number}", source.sentence)
              for source in lenders if source.bag]  # fmt: skip
    item = asked.request.GET["item"]
    lacking = [stand for stand in contents_of([one])[one.pk].lines if str(stand.line.item) == item and stand.missing]
    missing = sum(stand.missing for stand in lacking)
    there = sum(source.free for source in free if source.kind == IN_RESERVE)
    from_reserve = {"stock_code": item, "depot": one.depot, "pieces": bare(min(missing, there))}
    context = {
        "bag": one, "code": label_code(one), "item": item, "missing": bare(missing),
        "free": source_table("Free: take these first", free, asked.today), "questions": questions,
        "reserve": urlencode({**from_reserve, "line": lacking[0].line.line}) if there and lacking else "",
        "held": source_table("In staged bags and with crews", [x for x in found if x not in free], asked.today),
        "has_lenders": bool(choice), "scanned": _scanned(asked, items_by_code([item])[item], found),
        "fields": [
            Field("lender", "Which bag lends", asked.text("lender"), options=choice),
            Field("quantity", "How many", asked.text("quantity") or bare(missing), "decimal"),
            Field("why", "Why", asked.text("why")),
            Field("pay_back_by", "Back by", asked.text("pay_back_by"), "date"),
        ],
        "leave": [
            Field("approver", "Planner or duty supervisor: sign-in name", asked.text("approver"), required=False),
            Field("pin", "Their PIN", kind="password", required=False),
        ],
        "deed": asked.text("deed"),
        "standing": [
            (asked_before, f"{label_code(asked_before.request.bag)}|{asked_before.request.lot_number}",
             bare(asked_before.request.quantity))
            for asked_before in asked_of(one, asked.today)
            if asked_before.request.to_bag_id == one.pk and str(asked_before.request.item) == item
        ],
    }  # fmt: skip
    return page(asked, "borrow.html", context)


def _scanned(asked: Asked, item: Item, found: Sequence[Source]) -> tuple[str, str]:
    """Whether a piece that was scanned may be taken: the word that is read across a counter, and its sentence."""
    if not asked.text("read"):
        return "", ""
    try:
        piece = read_piece(asked.text("read"), asked.today)
    except ANY_REFUSAL as refusal:
        return "LOOK AGAIN", str(refusal)
    if piece.item != item:
        return "WRONG ITEM", f"This is {piece.item}, {piece.item.called}; need {item}."
    lot = asked.text("lot") or piece.lot
    alike = [one for one in found if lot in ("", one.balance.lot.number)]
    for one in alike:
        if one.kind in AT_HAND:
            return "GO", f"{one.sentence}: put it in by scan."
        if one.kind == OTHER_DEPOT:
            return "BY VAN", f"{one.sentence}: ask that depot for it."
        if one.kind == IN_RESERVE:
            return LEAVE, f"{one.sentence}: the duty supervisor releases it."
        if one.kind == IN_BAG and one.bag:
            owner = f" of {one.bag.job.owner}" if one.bag.job.owner else ""
            return LEAVE, f"{one.sentence}: it breaks a bag{owner}, which is paid back."
    if alike:
        return "WITH A CREW", f"{alike[0].sentence}: ring them."
    return "NOT TO BE HAD", f"No piece of {item}{f' lot {lot}' if lot else ''} is free and good until then."


def _to_look_at(asked: Asked, one: Bag, found: Sequence[Source]) -> dict[str, object]:
    lenders = [
        {"code": label_code(source.bag), "label": str(source.bag), "cutover": source.bag.job.cutover,
         "lot": source.balance.lot.number, "depot": source.bag.depot.depot, "place": source.balance.place.code}
        for source in _lenders(one, found)[:MOST_LENDERS]
        if source.bag
    ]  # fmt: skip
    wanted = bare(quantity(asked.text("quantity")))
    given = {"as_of": asked.today.isoformat(), "item": asked.request.GET["item"], "quantity": wanted}
    return {**given, "lenders": lenders, "taker": label_code(one)}


def _lenders(one: Bag, found: Sequence[Source]) -> list[Source]:
    return [source for source in found if source.kind == IN_BAG and source.bag and source.bag.job_id != one.job_id]


def _lending_result(asked: Asked, errand: Errand) -> HttpResponse:
    """What each bag would break, the least harmful first, each with the way to borrow from it."""
    given = errand.given
    form = {"item": given["item"], "quantity": given["quantity"]}
    back = f"{reverse('borrow', args=[given['taker']])}?"
    rows = [
        [
            Cell(one["label"], f"{back}{urlencode({**form, 'lender': one['code'] + '|' + one['lot']})}",
                 note=f"lot {one['lot'] or 'unknown'}, cutover {one['cutover'] or 'no date'}"),
            Cell("; ".join(_broken(job) for job in one["worse"]) or "nothing: others replace what it lends"),
            figure(one["short"]),
        ]
        for one in errand.result["lenders"]
    ]  # fmt: skip
    heads = ("Lends", "Breaks", "Pieces short")
    table = Table("The least harmful first", heads, rows, "No bag holds them any more.")
    title = f"Who lends {given['quantity']} {given['item']}?"
    return page(asked, "lending.html", {"title": title, "table": table, "back": f"{back}{urlencode(form)}"})


def _broken(job: Mapping[str, str]) -> str:
    staged = f", staged by {job['staged_by']}" if job["staged_by"] else ""
    turns = f" turns from {job['now']} to {job['then']}" if job["now"] != job["then"] else ""
    return f"{job['job']}{turns}, {job['more_short']} more short{staged}"


RESULTS[LENDING] = _lending_result


@of_bag
def pay_back_page(asked: Asked, one: Bag) -> HttpResponse:
    """Put pieces back in the bag that lent them."""
    code, text = label_code(one), asked.request.GET.get("borrow", "")
    found = Borrow.objects.filter(bag=one, pk=int(text) if text.isdecimal() else 0)
    lent = found.select_related("bag__job", "to_job", "lot__item").first()
    if lent is None:
        raise Refusal("no-open-borrow", f"{one} has no borrow {text}.", {})
    number = lent.pk
    if asked.request.method == "POST":

        def deed() -> tuple[str, str]:
            place = place_scanned(one.depot, asked.text("place"), BIN, SUPPLIER_OWNED)
            answer = pay_back(
                number=number, lot=asked.text("lot"), place=place, quantity=quantity(asked.text("quantity")),
                stock_code=asked.text("stock_code"), confirmed=asked.confirmed, **asked.scan(),
            )  # fmt: skip
            return answer.word, answer.sentence

        return attempt(asked, deed, reverse("bag", args=[code]), back=asked.request.get_full_path())
    fields = [
        Field("place", "Scan the bin it comes from", focus=True, scans=True),
        Field("lot", "Lot", lent.lot.number, required=False),
        Field("quantity", "How many", bare(lent.quantity - lent.paid), "decimal"),
        Field("stock_code", "Stock code, where another part stands in for it", required=False),
    ]  # fmt: skip
    step = {"title": f"Pay back {lent.lot.item}", "sentence": f"{lent}: {lent.why}.", "button": "Into the bag"}
    return page(asked, "bag_step.html", {"step": step, "bag": one, "code": code, "fields": fields})
