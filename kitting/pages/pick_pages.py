"""The walk past the bins: one thing at a time by wedge scanner or typed code, with answers to read across an aisle."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Action, Place
from inventory.selectors.finding import depot_named
from kitting.calculation.bag_states import BROKEN, LISTED, PICKING, REOPENED, SHORT
from kitting.calculation.short_codes import verified
from kitting.errors import Refusal
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, done, go_to, loud, page, refused
from kitting.pages.bag_forms import lot_of, quantity, read_piece
from kitting.pages.planning_pages import plan_again
from kitting.pages.tables import Cell, Table, figure, link
from kitting.selectors.bag_contents import bag_by_code, bare, contents_of, label_note
from kitting.selectors.bag_rows import bag_rows, not_ended
from kitting.selectors.old_labels import label_number
from kitting.selectors.pick_walk import Step, pick_walk
from kitting.selectors.who_wants import who_wants
from kitting.services.fill_bags import lot_to_put_in
from kitting.services.fill_bags import pick as put_in_bag
from kitting.services.found_short import found_short

PLACE, READ, LOT, QUANTITY, BAG = "place", "read", "lot", "quantity", "bag"
FEWER, OTHER_LOT = "FEWER THERE", "WRONG LOT – STILL GOOD"
_BEING_FILLED = (LISTED, PICKING, SHORT, REOPENED, BROKEN)
_CARRIED = (PLACE, READ, LOT)


@dataclass(frozen=True, slots=True)
class Walk:
    """Where on the walk one is: the address's choice of bags and of steps to skip, the steps ahead, the one now."""

    depot: str
    chosen: Sequence[tuple[str, str]]
    steps: Sequence[Step]
    ahead: Sequence[Step]

    @property
    def step(self) -> Step | None:
        """The step that is next."""
        return self.ahead[0] if self.ahead else None

    def address(self, *more: tuple[str, str]) -> str:
        """The address of this walk, with what was scanned or skipped as well."""
        asked = urlencode([*self.chosen, *more])
        return f"{reverse('pick', args=[self.depot])}{f'?{asked}' if asked else ''}"


def _walk(asked: Asked, depot: str) -> Walk:
    given = asked.request.GET
    chosen = [(name, value) for name in ("job", "bag", "skip") for value in given.getlist(name)]
    steps = pick_walk(depot=depot, jobs=given.getlist("job"), bags=given.getlist("bag"))
    skipped = set(given.getlist("skip"))
    return Walk(depot, chosen, steps, [step for step in steps if key_of(step) not in skipped])


def key_of(step: Step) -> str:
    """What tells a step from the others: place, lot and bag."""
    return f"{step.place.pk}-{step.lot.pk}-{step.bag.pk}"


def pick(asked: Asked, depot: str) -> HttpResponse:
    """The step that is next, or what was scanned for it."""
    depot_named(depot)
    walk = _walk(asked, depot)
    if asked.request.method == "POST":
        return _posted(asked, walk)
    return page(asked, "pick.html", _context(asked, walk))


def _context(asked: Asked, walk: Walk) -> dict[str, object]:
    step = walk.step
    skipped = len(walk.steps) - len(walk.ahead)
    context: dict[str, object] = {
        "walk": walk,
        "step": step,
        "skipped": skipped,
    }
    if skipped:
        context["again"] = Walk(walk.depot, [one for one in walk.chosen if one[0] != "skip"], (), ()).address()
    if step is None:
        return {**context, "waiting": _not_checked(walk)}
    carried = [(name, asked.text(name)) for name in _CARRIED if asked.text(name)]
    stands = [stand for stand in contents_of([step.bag])[step.bag.pk].lines if stand.line.item_id == step.lot.item_id]
    wishes = who_wants(item=step.lot.item, place=step.place, but=step.bag.job)
    rows = [
        [Cell(one.job, note=one.cutover or "no date"), figure(bare(one.quantity)),
         Cell(one.place, note=f"lot {one.lot or 'unknown'}{', HERE' if one.here else ''}")]
        for one in wishes
    ]  # fmt: skip
    others = Table("Promised to other jobs", ("Job", "Pieces", "Where"), rows, "Nobody else is promised this item.")
    return {
        **context, "key": key_of(step), "carried": carried, "asking": _asking(asked, step), "wishes": others,
        "other_lot": _other_lot(asked, step),
        "here": sum(1 for one in wishes if one.here), "take": bare(step.quantity),
        "inside": bare(sum(stand.picked for stand in stands)),
        "wanted": bare(sum(stand.line.quantity for stand in stands if not stand.line.dropped)),
        "several": _several(walk),
    }  # fmt: skip


def _not_checked(walk: Walk) -> Table:
    """Once nothing is left to pick: the bags of the walk that nobody has checked yet, and what comes next."""
    jobs, codes = ({value for name, value in walk.chosen if name == kind} for kind in ("job", "bag"))
    rows = [
        [link(row.bag, "bag", row.code), row.label, row.comes_next or "–"]
        for row in bag_rows(not_ended([walk.depot]).filter(state__in=_BEING_FILLED))
        if not jobs | codes or row.bag.job.job in jobs or row.code in codes
    ]
    return Table("Not checked yet", ("Bag", "Label", "Next"), rows, "No bag of this walk waits to be checked.")


def _other_lot(asked: Asked, step: Step) -> str:
    """The lot that was scanned, where it is not the one that the walk names; '' for that one."""
    lot = asked.text(LOT)
    return "" if lot == step.lot.number else lot


def _several(walk: Walk) -> bool:
    """Whether the walk fills several bags, so that the bag must be scanned too."""
    return len({step.bag.pk for step in walk.steps}) > 1


def _asking(asked: Asked, step: Step) -> str:
    """What is to be scanned next."""
    if not asked.text(PLACE):
        return PLACE
    if not asked.text(READ):
        return READ
    return LOT if step.lot.number and not asked.text(LOT) else QUANTITY


def _posted(asked: Asked, walk: Walk) -> HttpResponse:
    wanted = asked.text("step")
    step = next((one for one in walk.steps if key_of(one) == wanted), None)
    if step is None:
        if Action.objects.filter(number=asked.action).exists():
            return done(asked, "RIGHT", "It is in the bag already.", walk.address())
        gone = Refusal("step-gone", "GONE: this step is done or promised otherwise by now; the walk goes on.", {})
        return refused(asked, gone, walk.address())
    if asked.text("do") == "skip":
        return done(asked, "SKIPPED", f"{step.lot} at {step.place} is left for later.", walk.address(("skip", wanted)))
    if asked.text("do") == "fewer":
        return _found_fewer(asked, walk, step)
    try:
        return _scanned(asked, walk, step)
    except ANY_REFUSAL as refusal:
        _note(asked, loud(refusal)[0])
        kept = [(name, asked.text(name)) for name in _CARRIED if name in asked.request.GET]
        return refused(asked, refusal, walk.address(*kept))


def _found_fewer(asked: Asked, walk: Walk, step: Step) -> HttpResponse:
    """A bin holds fewer than the books say: ask how many, book it as a spot count, and say who loses pieces."""
    back = walk.address()
    if not asked.text("counted"):
        return page(asked, "found_fewer.html", {"step": step, "key": key_of(step), "back": back})

    def deed() -> tuple[str, str]:
        counted = 0 if asked.text("counted") == "0" else quantity(asked.text("counted"))
        found = found_short(
            stock_code=step.lot.item.stock_code, lot=step.lot.number, place=step.place, counted=counted,
            use_by=step.lot.use_by, confirmed=asked.confirmed, **asked.scan(),
        )  # fmt: skip
        asked.note(FEWER, f"{bare(found.counted)} {step.lot.item} at {step.place.code}")
        if not found.lost:
            return FEWER, found.sentence
        plan_again(asked, f"{found.what}: {bare(found.missing)} found short")
        return FEWER, f"{found.sentence} A plan without them is made for the planner, who looks at it and applies it."

    return attempt(asked, deed, back)


def _scanned(asked: Asked, walk: Walk, step: Step) -> HttpResponse:
    """Go on with what was scanned, as far as it goes: the bin, the piece, its lot, then how many and the bag.

    Raises:
        Refusal: it is not what this step wants.
    """
    place, read = asked.text(PLACE).removeprefix(f"{walk.depot}/"), asked.text(READ)
    if place.casefold() != step.place.code.casefold():
        raise Refusal("wrong-bin", f"WRONG BIN: {_what_place(step, place)}; go to {step.place.code}.", {})
    carried = [(PLACE, step.place.code)]
    if not read:
        _note(asked, "RIGHT BIN")
        return go_to(walk.address(*carried))
    lot = _lot_read(asked, step, read)
    carried += [(READ, step.lot.item.stock_code), *([(LOT, lot)] if lot else [])]
    if (step.lot.number and not lot) or not asked.text(QUANTITY):
        _note(asked, _judged(step, lot) if lot else "RIGHT")
        return go_to(walk.address(*carried))
    pieces = quantity(asked.text(QUANTITY))
    if _several(walk) or asked.text(BAG):
        _refuse_other_bag(asked.text(BAG), step)

    def deed() -> tuple[str, str]:
        try:
            answer = put_in_bag(
                bag=step.code, stock_code=step.lot.item.stock_code, lot=lot, place=step.place, quantity=pieces,
                as_spare=step.is_spare, confirmed=asked.confirmed, **asked.scan(),
            )  # fmt: skip
        except ANY_REFUSAL as refusal:
            _note(asked, loud(refusal)[0])
            raise
        _note(asked, answer.word, step)
        note = label_note(asked.text(BAG)) if asked.text(BAG) else ""
        return answer.word, f"{answer.sentence} {note}".strip()

    too_many = pieces > step.quantity and lot == step.lot.number
    return attempt(asked, deed, walk.address(), back=walk.address(*(carried if too_many else [(PLACE, place)])))


def _what_place(step: Step, text: str) -> str:
    """What was scanned instead of the bin of a step, in words."""
    if not text:
        return "nothing was scanned"
    there = Place.objects.filter(depot=step.place.depot, code__iexact=text).first()
    return f"this is {there.code}" if there else f"depot {step.place.depot} has no place {text}"


def _lot_read(asked: Asked, step: Step, read: str) -> str:
    """The lot that was read from the carton or typed; '' where it is to be asked.

    Raises:
        Refusal: ``wrong-item``.
    """
    piece = read_piece(read, asked.today)
    if piece.item.pk != step.lot.item_id:
        item = step.lot.item
        message = f"WRONG ITEM: this is {piece.item} ({piece.item.called}); take {item} ({item.called}) here."
        raise Refusal("wrong-item", message, {"is": piece.item.stock_code, "wanted": item.stock_code})
    return lot_of(piece, asked.text(LOT))


def _judged(step: Step, lot: str) -> str:
    """The word for a lot that was scanned.

    Raises:
        Refusal: as ``lot_to_put_in``.
    """
    lot_to_put_in(step.bag, step.lot.item, lot, step.place)
    return "RIGHT" if lot == step.lot.number else OTHER_LOT


def _refuse_other_bag(text: str, step: Step) -> None:
    """Refuse another bag's label, and one that was printed before the bag's list changed."""
    if not text or verified(label_number(text)) != step.bag.code:
        raise Refusal("wrong-bag", f"WRONG BAG: put it in {step.bag}, number {step.code}; scan that one.", {})
    bag_by_code(text)


def _note(asked: Asked, word: str, done_for: Step | None = None) -> None:
    """Keep what was scanned and what was answered, and with a pick its action and bag."""
    read = next((asked.text(name) for name in (BAG, QUANTITY, LOT, READ, PLACE) if asked.text(name)), "nothing")
    if done_for:
        asked.note(word, f"{asked.text(QUANTITY)} {done_for.lot.item}", action=asked.action, bag=done_for.code)
    else:
        asked.note(word, read)
