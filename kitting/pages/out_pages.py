"""Bags that go out: issue against a signature."""

from collections.abc import Sequence
from dataclasses import replace
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from inventory.selectors.finding import depot_named
from kitting.calculation.bag_states import ISSUE, STAGED
from kitting.calculation.weights import NO_LOAD
from kitting.errors import Refusal
from kitting.models import SHORT_ISSUE, Bag
from kitting.pages.asked import ANY_REFUSAL, Asked, go_to, loud, page, refused, split_loud
from kitting.pages.bag_forms import Field, approver, signature_of
from kitting.pages.several import numbered, said
from kitting.pages.tables import Cell, Table, link
from kitting.selectors.bag_contents import bag_by_code, label_code, label_note, load_inside
from kitting.selectors.bag_requests import Standing
from kitting.selectors.bag_requests import of_bag as of_this_bag
from kitting.selectors.bag_rows import BagRow, bag_rows, not_ended, waiting
from kitting.services.issue_bags import issue as issue_bag
from kitting.services.scans import Answer

_KEPT = ("crew", "truck", "signature", "reason", "approver")  # of a form that was refused; no PIN


def issue(asked: Asked, depot: str) -> HttpResponse:
    """Scan the bags that a crew takes, one by one; then crew, truck and signature, and leave for a short one."""
    depot_named(depot)
    if asked.request.method == "POST":
        return _issue(asked, depot)
    rows = bag_rows(not_ended([depot]))
    found, problems = [], []
    for text in dict.fromkeys(asked.request.GET.getlist("bag")):
        try:
            found.append(_scanned_bag(text, depot).pk)
            old = split_loud(label_note(text))
            problems += [old] if old[0] else []  # it goes out all the same: nothing in it has changed
        except ANY_REFUSAL as refusal:
            problems.append(loud(refusal))
    taken = [row for row in rows if row.bag.pk in found]
    listed = _taken(depot, taken)
    together = sum((load_inside(row.contents) for row in taken), NO_LOAD)
    short = [(row, _leave_of(row, asked)) for row in taken if row.contents.missing()]
    context = {
        "depot": depot, "taken": listed, "problems": problems, "together": together,
        "short": short, "signs_here": any(leave is None or not leave.may_be_used for _, leave in short),
        "staged": _staged(depot, [row for row in waiting(rows, ISSUE) if row.bag.pk not in found], taken),
        "fields": _typed(asked, [
            Field("crew", "Crew"), Field("truck", "Truck"), Field("signature", "Signed for the crew by (name)"),
            Field("crew_pin", "The crew's own PIN, where they have an account here", kind="password", required=False),
        ]),
        "leave": _typed(asked, [
            Field("reason", "Why it goes short", required=False),
            Field("approver", "Planner or duty supervisor: sign-in name", required=False),
            Field("pin", "Their PIN", kind="password", required=False),
        ]),
    }  # fmt: skip
    return page(asked, "issue.html", context)


def _typed(asked: Asked, fields: Sequence[Field]) -> list[Field]:
    """Fields with what was typed before a refusal."""
    return [replace(field, value=asked.text(field.name)) for field in fields]


def _taken(depot: str, rows: Sequence[BagRow]) -> list[dict[str, object]]:
    """The bags scanned so far: what each weighs, why it can't go, and the list without it."""
    here, found = reverse("issue", args=[depot]), []
    for row in rows:
        stopped = row.bag.state != STAGED
        rest = [("bag", one.code) for one in rows if one.code != row.code]
        found.append({
            "row": row, "load": load_inside(row.contents), "stopped": stopped, "why": row.bag.why if stopped else "",
            "without": f"{here}?{urlencode(rest)}" if rest else here,
        })  # fmt: skip
    return found


def _leave_of(row: BagRow, asked: Asked) -> Standing | None:
    """What was asked last about a short bag."""
    return next((one for one in of_this_bag(row.bag, asked.today) if one.request.what == SHORT_ISSUE), None)


def _scanned_bag(text: str, depot: str) -> Bag:
    """The bag of a label, at this depot.

    Raises:
        Refusal: no bag's label, or that of another depot's bag.
    """
    one = bag_by_code(text)
    if one.depot.depot != depot:
        raise Refusal("other-depot", f"OTHER DEPOT: {one} is of depot {one.depot}.", {"bag": str(one)})
    return one


def _staged(depot: str, rows: Sequence[BagRow], taken: Sequence[BagRow]) -> Table:
    so_far = [("bag", row.code) for row in taken]
    here = reverse("issue", args=[depot])
    cells = [
        [link(row.bag, "bag", row.code, note=row.code), Cell(row.bag.job.cutover or "no date"),
         Cell(row.label, note=row.bag.whereabouts), Cell(load_inside(row.contents).words),
         Cell("Take", f"{here}?{urlencode([*so_far, ('bag', row.code)])}")]
        for row in rows
    ]  # fmt: skip
    heads = ("Bag", "Cutover", "Label", "To lift", "By hand")
    return Table("Staged at this depot", heads, cells, "No other bag is staged: check and stage them first.")


def _issue(asked: Asked, depot: str) -> HttpResponse:
    codes = list(dict.fromkeys(asked.request.POST.getlist("bags")))
    here = reverse("issue", args=[depot])
    typed = [(name, asked.text(name)) for name in _KEPT if asked.text(name)]
    again = f"{here}?{urlencode([*(('bag', code) for code in codes), *typed])}"
    try:
        if not codes:
            raise Refusal("no-bag", "NO BAG: scan the bags first, each by its label.", {})
        leave, signature = approver(asked), signature_of(asked, depot)
        bags = [_scanned_bag(code, depot) for code in codes]
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, again)
    given = {**{name: asked.text(name) for name in ("crew", "truck", "reason")}, "signature": signature}
    left = []
    for one in bags:
        code = label_code(one)

        def deed(code: str = code, number: int = one.pk) -> Answer:
            return issue_bag(bag=code, approver=leave, **given, **numbered(asked, number))

        if not said(asked, deed, numbered(asked, one.pk)):
            left.append(("bag", code))
    return go_to(f"{here}?{urlencode([*left, *typed])}" if left else f"{reverse('bags')}?depot={depot}")
