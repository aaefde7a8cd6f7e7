"""Bags of a depot and of a job, and one bag: whose, its state, what is missing, what is inside, what comes next."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme

from inventory.models import Item
from inventory.selectors.finding import open_holds
from jobs.models import Job
from kitting.calculation import bag_states
from kitting.calculation.bag_states import next_state
from kitting.errors import Refusal
from kitting.models import REFUSED, SHORT_ISSUE, Bag, Borrow, Promise, Recipe
from kitting.models.bags import BORROWED, HANDED_BACK, INSTALLED, ISSUED, LOST, SCRAPPED, TURNED_IN
from kitting.models.pictures import OF_BAG
from kitting.pages.asked import Asked, attempt, go_to, page, split_loud
from kitting.pages.bag_forms import of_bag
from kitting.pages.picture_pages import may_picture, may_see_pictures, pictures_shown
from kitting.pages.queue_pages import OF_A_BAG, QUEUED
from kitting.pages.tables import Cell, Table, figure, link, said
from kitting.pages.typed import depot_asked
from kitting.roles import APPROVE, ASK, DO, SEE
from kitting.selectors.bag_contents import (
    Contents,
    accounts,
    bare,
    facts_of,
    inside_by_lot,
    label_code,
    load_inside,
    named_steps,
)
from kitting.selectors.bag_history import Told, bag_history
from kitting.selectors.bag_requests import MAY_GO_SHORT, Standing
from kitting.selectors.bag_requests import of_bag as of_this_bag
from kitting.selectors.bag_rows import REWORK, TO_DO, BagRow, bag_rows, not_ended, waiting
from kitting.selectors.cutovers import Cutover, bags_to_list
from kitting.selectors.pictures import pictures_of_bag
from kitting.selectors.rework import Rework, rework
from kitting.services.list_bags import list_bags
from kitting.services.rights import bag_right
from kitting.services.undo_scans import undo, undone

LISTED_EMPTY = "No bag waits here. Bags are listed on the page of a job, from the plan applied last."
_HEADS = ("Bag", "Cutover", "State", "Label", "Next")
_SLIPS = (
    ("issue-slip.pdf", "Issue slip"), ("issue-slip-roll.pdf", "Issue slip on a roll"),
    ("return-slip.pdf", "Return slip"), ("return-slip-roll.pdf", "Return slip on a roll"),
    ("as-installed.pdf", "As-installed"),
)  # fmt: skip
_FILES = (("return-slip.csv", "Return slip as CSV"), ("as-installed.csv", "As-installed as CSV"))
_UNDOES: Mapping[tuple[str, ...], str] = {
    (INSTALLED,): "as-installed",
    **{(deed,): "turn in" for deed in (TURNED_IN, SCRAPPED, LOST)},
}
# What can't be taken back, or not any more, says what is done instead.
_STANDS = {
    ISSUED: "hand the whole bag back unopened",
    HANDED_BACK: "check and issue it again",
    BORROWED: "it is paid back, not undone",
    INSTALLED: "taken back while the bag is out; later it is retired from its end",
    TURNED_IN: "taken back while the bag is out; later it is picked again, or its count adjusted",
    SCRAPPED: "taken back while the bag is out; later a count finds a piece that is good after all",
    LOST: "taken back while the bag is out; later a count finds a piece that turns up",
}


def bags(asked: Asked) -> HttpResponse:
    """Bags of a depot that are not closed, by cutover; with ``do`` only those for which that step comes next."""
    depots, depot = depot_asked(asked)
    rows, again, step = bag_rows(not_ended([depot])), rework(on=asked.today, depot=depot), asked.text("do")
    rack = asked.text("rack")
    shown = [row for row in rows if row.bag.whereabouts == rack] if rack else waiting(rows, step) if step else rows
    table = Table(
        f"Bags at {rack}" if rack else f"Bags of depot {depot}", _HEADS, [_row(one) for one in shown], LISTED_EMPTY
    )
    steps = [("", "All", len(rows)), *((one, one.capitalize(), len(waiting(rows, one))) for one in TO_DO)]
    steps.append((REWORK, "Rework", len(again)))
    tables = [_rework(depot, again) if step == REWORK else table]
    unlisted = bags_to_list(asked.today, [depot]) if depot and not (step or rack) else []
    if unlisted:
        tables.insert(0, _unlisted(unlisted))
    context = {"depot": depot, "depots": depots, "tables": tables, "steps": steps, "step": step,
               "walk": any(one.comes_next == bag_states.PICK for one in rows),
               "acts": asked.actor.may("bags", DO, depot)}  # fmt: skip
    return page(asked, "bags.html", context)


def _row(one: BagRow) -> list[Cell]:
    bag = one.bag
    return [
        link(bag, "bag", one.code, note=f"{one.code}, bag {bag.number}"),
        Cell(bag.job.cutover or "no date", note=bag.job.title),
        Cell(bag.state, note=bag.whereabouts),
        Cell(one.label, note=one.problem),
        Cell(one.comes_next or "–"),
    ]


def _unlisted(jobs: Sequence[Cutover]) -> Table:
    rows = [
        [link(one.job.job, "job-bags", one.job.job, note=one.job.title), one.job.cutover, said(one.answer),
         str(one.staged_by)]
        for one in jobs
    ]  # fmt: skip
    return Table("Jobs whose bags are to be listed", ("Job", "Cutover", "Answer", "Staged by"), rows, "")


def _rework(depot: str, rows: Sequence[Rework]) -> Table:
    cells = [
        [
            link(one.bag, "bag", one.code, note=f"cutover {one.cutover or 'no date'}"),
            Cell("; ".join(one.whys)),
            Cell("; ".join(f"{bare(out.quantity)} {out.stock_code} lot {out.lot or 'unknown'}: {out.why}"
                           for out in one.take_out) or "–"),
            Cell("; ".join(f"{bare(in_.quantity)} {in_.stock_code}" for in_ in one.add) or "–",
                 note="; ".join((*one.undecided, *one.lent))),
            Cell(", then ".join(one.next) or "–", note=f"staged by {one.staged_by}" if one.staged_by else ""),
        ]
        for one in rows
    ]  # fmt: skip
    heads = ("Bag", "Why", "Take out", "Add", "What to do")
    return Table(f"Rework of depot {depot}", heads, cells, "No bag needs rework: all can go out as they are.")


def job_bags(asked: Asked, job: str) -> HttpResponse:
    """The bags of a job; list them; print their slips."""
    found = Job.objects.filter(job=job).first()
    if found is None:
        raise Refusal("unknown-job", f"There is no job {job}.", {"job": job})
    here = reverse("job-bags", args=[job])
    if asked.request.method == "POST":

        def deed() -> tuple[str, str]:
            made = list_bags(job=job, **asked.scan())
            return "LISTED", f"{len(made)} bags of {job} are listed from the plan applied last."

        return attempt(asked, deed, here)
    rows = bag_rows(Bag.objects.filter(job=found))
    empty = "Nobody has listed its bags yet: list them from the plan applied last."
    context = {
        "job": found, "table": Table(f"Bags of {job}", _HEADS, [_row(one) for one in rows], empty),
        "slips": _SLIPS if rows else (), "files": _FILES, "queued": QUEUED.items(),
        "may_list": asked.actor.may("bags", DO, found.depot),
    }  # fmt: skip
    return page(asked, "job_bags.html", context)


def depot_of_job(job: str) -> str:
    """The depot of a job; '' where there is none, and then the view says so."""
    return Job.objects.filter(job=job).values_list("depot", flat=True).first() or ""


@dataclass(frozen=True, slots=True)
class NextStep:
    """A step that the state allows: its words, where it is done, and why it would be refused now."""

    words: str
    href: str
    problem: str


@of_bag
def bag(asked: Asked, one: Bag) -> HttpResponse:
    """One bag."""
    (row,) = bag_rows(Bag.objects.filter(pk=one.pk))
    contents, (label, _, missed) = row.contents, row.label.partition(": ")
    context = {
        "bag": one, "code": row.code, "label": label, "missed": missed,
        "load": load_inside(contents), "problem": split_loud(row.problem),
        "missing": _missing(contents), "inside": _inside(contents), "accounts": _accounts(contents),
        "queued": OF_A_BAG.items(), "steps": [*_steps(asked, contents)], "deeds": _deeds(asked, one),
        "borrows": _borrows(one),
        "may_undo": asked.actor.may("bags", DO, one.depot.depot),
        "standing": (standing := of_this_bag(one, asked.today)), "may_ask": _may_ask(asked, contents, standing),
        "may_look": asked.actor.may(bag_right(SHORT_ISSUE), SEE),
        "may_sign": asked.actor.may("as-installed", DO, one.depot.depot) and any(s.installed for s in contents.lines),
        "may_picture": may_picture(asked, OF_BAG, one.depot.depot),
        "pictures": pictures_shown(asked, pictures_of_bag(one)) if may_see_pictures(asked, OF_BAG) else (),
    }  # fmt: skip
    return page(asked, "bag.html", context)


def _may_ask(asked: Asked, contents: Contents, standing: Sequence[Standing]) -> bool:
    """Whether this person may ask that the bag goes out short, and nobody has."""
    one, short = contents.bag, [found for found in standing if found.request.what == SHORT_ISSUE]
    may = any(asked.actor.may(bag_right(SHORT_ISSUE), level, one.depot.depot) for level in (ASK, APPROVE))
    open_ones = [found for found in short if found.request.state != REFUSED and not found.lapsed]
    return may and one.state in MAY_GO_SHORT and bool(contents.missing()) and not open_ones


def _missing(contents: Contents) -> Table:
    found: dict[tuple[str, int | None], list[Promise]] = defaultdict(list)
    promises = Promise.objects.filter(job=contents.bag.job, released_at=None)
    for promise in promises.select_related("lot", "place__depot", "order_line__order").order_by("pk"):
        found[promise.line, promise.item_id].append(promise)
    rows = []
    for stand in contents.lines:
        line = stand.line
        if not stand.missing or not line.item:
            continue
        code = label_code(contents.bag)
        where = "; ".join(map(_where, found[line.line, line.item_id])) or "nothing is promised"
        part = line.item.called
        rows.append([
            _item(line.item, note=f"{part}{', spare' if line.spare else ''}"),
            figure(bare(stand.missing), note=f"{bare(stand.picked)} of {bare(line.quantity)} are in it"),
            Cell(where),
            link("Where else?", "borrow", code, asking={"item": line.item}),
        ])  # fmt: skip
    for name in contents.undecided():
        why = link("Why?", "line", contents.bag.job.job, asking={"line": name})
        rows.append([Cell("undecided", note=name), figure("?"), Cell("the plan names no part for it yet"), why])
    return Table("What is missing", ("Item", "Missing", "Where to find it", "Others"), rows, "Nothing is missing.")


def _item(item: Item, note: str) -> Cell:
    return link(item.stock_code, "item", item.stock_code, note=note)


def _where(promise: Promise) -> str:
    amount = bare(promise.quantity)
    if promise.place:
        lot = promise.lot.number if promise.lot else ""
        return f"{amount} at {promise.place}, lot {lot or 'unknown'}"
    return f"{amount} on order {promise.order_line}, there on {promise.ready_on}"


def _inside(contents: Contents) -> Table:
    inside = inside_by_lot(contents)
    holds = open_holds(inside)
    rows = [
        [
            _item(lot.item, note=lot.item.called),
            Cell(lot.number or "unknown", note="HELD" if (lot.item_id, lot.number) in holds else ""),
            Cell(lot.day_words),
            figure(f"{bare(left)} {lot.item.stock_unit}"),
        ]
        for lot, left in sorted(inside.items(), key=lambda pair: (pair[0].item.stock_code, pair[0].number))
    ]
    return Table("What is inside", ("Item", "Lot", "Use by", "Pieces"), rows, "The bag is empty.")


def _accounts(contents: Contents) -> Table:
    deeds = (ISSUED, INSTALLED, TURNED_IN, SCRAPPED, LOST, "open")
    rows = [
        [Cell(code, note=f"lot {lot or 'unknown'}"), *(figure(bare(sums[deed])) for deed in deeds)]
        for (code, lot), sums in sorted(accounts(contents).items())
    ]
    heads = ("Item", *(deed.capitalize() for deed in deeds))
    return Table("What became of it", heads, rows, "It has not gone out yet.")


def _steps(asked: Asked, contents: Contents) -> Iterator[NextStep]:
    """The steps that the table of states names and this person may do, each with why it would be refused now."""
    one, actor = contents.bag, asked.actor
    facts = facts_of(contents, by=actor.name, approver="-", reason="-", signature="-")
    allowed = named_steps(one, is_kit=Recipe.objects.filter(job=one.job).exists())
    for action, route, right, words in _ROUTES:
        opens = action == bag_states.REOPEN and bag_states.PICK in allowed  # it is open already
        full = action == bag_states.PICK and not any(stand.missing for stand in contents.lines)
        if action not in allowed or opens or full or not actor.may(right, DO, one.depot.depot):
            continue
        try:
            next_state(one.state, action, facts)
            problem = ""
        except Refusal as refusal:
            problem = str(refusal.data.get("why", refusal.message)).rstrip(".")
        yield NextStep(words, _address(route, one), problem)


# Action of the table of states: route, action of the table of roles, words; what is done daily stands first.
# What is not here happens by itself.
_ROUTES: tuple[tuple[str, str, str, str], ...] = (
    (bag_states.ARRIVE, "take-in", "bags", "Take it in from the van"),
    (bag_states.LIST, "job-bags", "bags", "List the bags"),
    (bag_states.PICK, "pick", "bags", "Pick"),
    (bag_states.CHECK, "check", "bags", "Check"),
    (bag_states.ISSUE, "issue", "bags", "Issue to a crew"),
    (bag_states.GIVE, "give", "bags", "Give it whole to a crew"),
    (bag_states.STAGE, "stage", "bags", "Put in its rack place"),
    (bag_states.SEND, "send", "bags", "Send it whole to another depot"),
    (bag_states.BEGIN, "begin", "as-installed", "Work begins"),
    (bag_states.INSTALL, "install", "as-installed", "Note what is installed"),
    (bag_states.TURN_IN, "turn-in", "turn in", "Turn in what came back"),
    (bag_states.WRITE_OFF, "write-off", "turn in", "Oops: dropped, damaged, wrong, missing"),
    (bag_states.CLOSE, "close", "bags", "Close"),
    (bag_states.FINISH, "finish", "bags", "That is all there is: finish it short"),
    (bag_states.PICK, "put-in", "bags", "Put a piece in by scan"),
    (bag_states.PUT_BACK, "put-back", "bags", "Put something back"),
    (bag_states.REOPEN, "reopen", "bags", "Open it again"),
    (bag_states.LIFT, "lift", "bags", "Let it go on after the hold"),
    (bag_states.HAND_BACK, "hand-back", "bags", "Hand back unopened"),
    (bag_states.CANCEL, "cancel", "bags", "Give the bag up"),
)


def _address(route: str, one: Bag) -> str:
    code = label_code(one)
    if route in ("pick", "issue"):
        return f"{reverse(route, args=[one.depot.depot])}?{urlencode({'bag': code})}"
    return reverse(route, args=[one.job.job if route == "job-bags" else code])


@dataclass(frozen=True, slots=True)
class Deed:
    """A deed of the bag's history, and whether a reversing record can take it back in the bag's state."""

    told: Told
    undoable: bool
    note: str


def _deeds(asked: Asked, one: Bag) -> list[Deed]:
    """Who did what, the last first."""
    rows = bag_history(one)
    back = undone([row.action for row in rows if row.opposite])
    return [_deed(asked, row, one, undone_already=row.action in back) for row in rows]


def _deed(asked: Asked, told: Told, one: Bag, *, undone_already: bool) -> Deed:
    stands = next((_STANDS[deed] for deed in told.deeds if deed in _STANDS), "")
    may = asked.actor.may(_UNDOES.get(told.deeds, "bags"), DO, one.depot.depot)
    undoable = may and bag_states.allows(one.state, told.opposite) and not undone_already
    return Deed(told, undoable, "undone" if undone_already else "" if undoable else stands)


def _borrows(one: Bag) -> list[Borrow]:
    """Pieces that were lent out of it and are still to come back."""
    found = Borrow.objects.filter(bag=one, given_up_why="").select_related("to_job", "lot__item", "bag__job")
    return [lent for lent in found.order_by("pk") if lent.paid < lent.quantity]


@of_bag
def undo_scan(asked: Asked, one: Bag) -> HttpResponse:
    """Take back one action of a bag by a reversing record."""
    back = asked.text("back")  # the page on which it was scanned
    is_ours = back.startswith("/") and url_has_allowed_host_and_scheme(back, None)
    here = back if is_ours else reverse("bag", args=[label_code(one)])
    if asked.request.method != "POST":
        return go_to(here)

    def deed() -> tuple[str, str]:
        scan = asked.scan()
        answer = undo(bag=label_code(one), undone_action=asked.text("undone"), confirmed=asked.confirmed, **scan)
        return "UNDONE", answer.sentence

    return attempt(asked, deed, here)
