"""Bags that go out and what comes back: issue against a signature, turn in, and note what is installed."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.urls import reverse

from inventory.models import BIN, HOLD, SUPPLIER_OWNED, Depot, Lot, Place
from kitting.calculation.bag_states import ISSUE
from kitting.errors import Refusal
from kitting.models import SHORT_ISSUE, Bag, BagEntry, BagLine
from kitting.models.bags import INSTALLED, PICKED
from kitting.pages.asked import ANY_REFUSAL, Asked, go_to, loud, page, refused, split_loud
from kitting.pages.bag_forms import Field, approver, of_bag, place_scanned, quantity
from kitting.pages.tables import Cell, Table, link
from kitting.selectors.bag_contents import LineStand, bag_by_code, bare, contents_of, label_code, label_note
from kitting.selectors.bag_requests import Standing
from kitting.selectors.bag_requests import of_bag as of_this_bag
from kitting.selectors.bag_rows import BagRow, bag_rows, not_ended, waiting
from kitting.services.found_short import TO_BE_FOUND
from kitting.services.issue_bags import issue as issue_bag
from kitting.services.return_bags import DOORS, INSPECT, OPENED, SEALED, STOCK, Installed, install, turn_in
from kitting.services.scans import Answer, Scan


def _said(asked: Asked, deed: Callable[[], Answer]) -> bool:
    """Do one of several things and say what came of it; whether it was done."""
    try:
        answer = deed()
    except ANY_REFUSAL as refusal:
        word, sentence = loud(refusal)
        messages.error(asked.request, sentence, extra_tags=word)
        return False
    messages.success(asked.request, answer.sentence, extra_tags=answer.word)
    return True


def _numbered(asked: Asked, part: object) -> Scan:
    """The scan of one part of a form, under a number of its own."""
    return {**asked.scan(), "action": f"{asked.action}-{part}"}


def issue(asked: Asked, depot: str) -> HttpResponse:
    """Scan the bags that a crew takes, one by one; then crew, truck and signature, and leave for a short one."""
    if not Depot.objects.filter(depot=depot).exists():
        raise Refusal("unknown-depot", f"There is no depot {depot}.", {})
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
    context = {
        "depot": depot, "taken": taken, "problems": problems,
        "short": [(row, _leave_of(row, asked)) for row in taken if row.contents.missing()],
        "staged": _staged(depot, [row for row in waiting(rows, ISSUE) if row.bag.pk not in found], taken),
        "fields": [Field("crew", "Crew"), Field("truck", "Truck"), Field("signature", "Signed for the crew by (name)")],
        "leave": [
            Field("reason", "Why it goes short", required=False),
            Field("approver", "Planner or duty supervisor: sign-in name", required=False),
            Field("pin", "Their PIN", kind="password", required=False),
        ],
    }  # fmt: skip
    return page(asked, "issue.html", context)


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
         Cell(row.label, note=row.bag.whereabouts), Cell("Take", f"{here}?{urlencode([*so_far, ('bag', row.code)])}")]
        for row in rows
    ]  # fmt: skip
    heads = ("Bag", "Cutover", "Label", "Without a scanner")
    return Table("Staged at this depot", heads, cells, "No other bag is staged: check and stage them first.")


def _issue(asked: Asked, depot: str) -> HttpResponse:
    codes = list(dict.fromkeys(asked.request.POST.getlist("bags")))
    here = reverse("issue", args=[depot])
    again = f"{here}?{urlencode([('bag', code) for code in codes])}"
    try:
        if not codes:
            raise Refusal("no-bag", "NO BAG: scan the bags first, each by its label.", {})
        leave = approver(asked)
        bags = [_scanned_bag(code, depot) for code in codes]
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, again)
    given = {name: asked.text(name) for name in ("crew", "truck", "signature", "reason")}
    left = []
    for one in bags:
        code = label_code(one)

        def deed(code: str = code, number: int = one.pk) -> Answer:
            return issue_bag(bag=code, approver=leave, **given, **_numbered(asked, number))

        if not _said(asked, deed):
            left.append(("bag", code))
    return go_to(f"{here}?{urlencode(left)}" if left else f"{reverse('bags')}?depot={depot}")


@dataclass(frozen=True, slots=True)
class Back:
    """A row of the turn-in: pieces of one lot that are still out, and where they were taken from."""

    number: int
    lot: Lot
    left: str
    place: str


@of_bag
def turn_in_page(asked: Asked, one: Bag) -> HttpResponse:
    """Tick what came back, sealed or opened, and the door it goes to."""
    code = label_code(one)
    here = reverse("turn-in", args=[code])
    if asked.request.method == "POST":
        ticked = asked.request.POST.getlist("back")
        if not ticked:
            return refused(asked, Refusal("nothing-ticked", "NOTHING TICKED: tick what came back.", {}), here)
        for number in ticked:

            def deed(number: str = number) -> Answer:
                return _one_back(asked, one, number)

            _said(asked, deed)
        return go_to(here)
    rows = [*_to_come_back(one)]
    context = {"bag": one, "code": code, "rows": rows, "doors": DOORS, "conditions": (SEALED, OPENED)}
    return page(asked, "turn_in.html", context)


def _to_come_back(one: Bag) -> Iterator[Back]:
    contents = contents_of([one])[one.pk]
    left: dict[int, int] = {}
    for stand in contents.lines:
        for number, pieces in stand.inside.items():
            left[number] = left.get(number, 0) + pieces
    taken = BagEntry.objects.filter(line__bag=one, deed=PICKED).order_by("pk")
    places = {entry.lot_id: str(entry.facts.get("from", "")) for entry in taken}
    for number, pieces in sorted(left.items(), key=lambda pair: contents.lots[pair[0]].item.stock_code):
        if pieces > 0:
            yield Back(number, contents.lots[number], bare(pieces), places.get(number, ""))


def _one_back(asked: Asked, one: Bag, number: str) -> Answer:
    """Turn one ticked row in.

    Raises:
        Refusal: the row is none of this bag's, or as ``turn_in``.
    """
    row = next((back for back in _to_come_back(one) if str(back.number) == number), None)
    lot = row.lot if row else Lot.objects.filter(pk=number if number.isdigit() else 0).select_related("item").first()
    if lot is None:
        raise Refusal("not-in-bag", f"{one} holds no such piece.", {"bag": str(one)})
    door = asked.text(f"door-{number}")
    return turn_in(
        bag=label_code(one), stock_code=lot.item.stock_code, lot=lot.number,
        quantity=quantity(asked.text(f"quantity-{number}")), condition=asked.text(f"condition-{number}"), door=door,
        place=_place_behind(one.depot, door, asked.text(f"place-{number}")), why=asked.text(f"why-{number}"),
        **_numbered(asked, number),
    )  # fmt: skip


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


_SIDES = {"from": "from end", "to": "to end", "joint": "joint", "position": ""}


@dataclass(frozen=True, slots=True)
class End:
    """A line of a bag on the install page: its end, the phases to tick, the lots to choose from, what is done."""

    line: BagLine
    name: str
    phases: Sequence[str]
    each: str
    lots: Sequence[tuple[str, str]]
    done: str


@of_bag
def install_page(asked: Asked, one: Bag) -> HttpResponse:
    """Which lot is on which end and phase."""
    code = label_code(one)
    here = reverse("install", args=[code])
    if asked.request.method == "POST":
        try:
            pieces = [*_pieces(asked, one)]
            if not pieces:
                raise Refusal("nothing-ticked", "NOTHING TICKED: tick the phases that are done.", {})
        except ANY_REFUSAL as refusal:
            return refused(asked, refusal, here)
        _said(asked, lambda: install(bag=code, pieces=pieces, **asked.scan()))
        return go_to(here)
    ends = [end for end in _ends(one) if end.phases or end.done]
    return page(asked, "install.html", {"bag": one, "code": code, "ends": ends})


def _ends(one: Bag) -> Iterator[End]:
    contents = contents_of([one])[one.pk]
    noted: dict[int, set[str]] = {}
    for line, phase in BagEntry.objects.filter(line__bag=one, deed=INSTALLED).values_list("line", "phase"):
        noted.setdefault(line, set()).add(phase)
    for stand in contents.lines:
        if stand.line.item is None or (not stand.open and not stand.installed):
            continue
        facts = stand.line.facts
        phases, each = _shares(stand)
        left = [phase for phase in phases if phase not in noted.get(stand.line.pk, ())] if stand.open else []
        lots = [
            (contents.lots[number].number, f"lot {contents.lots[number].number or 'unknown'}, {bare(pieces)} left")
            for number, pieces in stand.inside.items()
            if pieces > 0
        ]
        where = "-".join(filter(None, (facts.get("structure"), facts.get("position"))))
        more = (_SIDES.get(facts.get("side", "")), "spare" if stand.line.spare else "")
        name = ", ".join(filter(None, (where, *more)))
        done = f"{bare(stand.installed)} of {bare(stand.issued)}" if stand.installed else ""
        yield End(stand.line, name or "job", left, bare(each), lots, f"{done} DONE" if done else "")


def _shares(stand: LineStand) -> tuple[Sequence[str], int]:
    """The phases of a line and the thousandths of each; all at once where they don't share evenly."""
    phases, issued = str(stand.line.facts.get("phases", "")), stand.issued
    if phases and not stand.line.spare and issued % len(phases) == 0:
        return list(phases), issued // len(phases)
    return ["all"], stand.open


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
            )  # fmt: skip
