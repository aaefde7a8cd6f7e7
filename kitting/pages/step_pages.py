"""Steps of one bag that are one small form each, as a table: its fields, and the use case that it asks."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import BIN, HOLD, SUPPLIER_OWNED, TRUCK, Way
from kitting.models import Bag
from kitting.models.bags import PICKED, SHORT_CAUSES, BagEntry
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.bag_forms import Field, lot_of, of_bag, place_scanned, quantity, read_piece
from kitting.pages.typed import back_with_typed
from kitting.selectors.bag_contents import Contents, bare, contents_of, inside_by_lot, label_code
from kitting.selectors.storms import emergencies, open_storms
from kitting.services.fill_bags import finish_short, lift, pick, put_back, reopen
from kitting.services.issue_bags import begin_work, hand_back, stage
from kitting.services.premade_kits import give_kit
from kitting.services.return_bags import cancel_bag, close
from kitting.services.scans import Answer
from kitting.services.send_bags import send_bag, take_in_bag

_SEPARATOR = "|"  # between stock code and lot in a choice
_STORM, _JOB = "storm:", "job:"  # before the number of what a kit is given to, in a choice


@dataclass(frozen=True, slots=True)
class Step:
    """A step: its route, the action of the table of roles, what it is called, its fields, and what it does."""

    name: str
    right: str
    title: str
    sentence: str
    button: str
    fields: Callable[[Contents], Sequence[Field]]
    deed: Callable[[Asked, Bag], Answer]

    def view(self, asked: Asked, code: str) -> HttpResponse:
        """The form, and what comes of it."""
        return of_bag(self._page)(asked, code=code)

    def _page(self, asked: Asked, one: Bag) -> HttpResponse:
        code = label_code(one)
        here, bag = reverse(self.name, args=[code]), reverse("bag", args=[code])
        if asked.request.method == "POST":

            def deed() -> tuple[str, str]:
                answer = self.deed(asked, one)
                return answer.word, answer.sentence

            return attempt(asked, deed, bag, back=back_with_typed(asked, here))
        fields = [
            replace(field, value=asked.text(field.name) or field.value)
            for field in self.fields(contents_of([one])[one.pk])
        ]
        return page(asked, "bag_step.html", {"step": self, "bag": one, "code": code, "fields": fields})


def _nothing(_contents: Contents) -> Sequence[Field]:
    return ()


def _why(label: str, *, required: bool = True) -> Callable[[Contents], Sequence[Field]]:
    return lambda _contents: (Field("why", label, required=required, focus=True),)


def _short(_contents: Contents) -> Sequence[Field]:
    causes = [("", "choose"), *((cause, f"{cause}: {means}") for cause, means in SHORT_CAUSES.items())]
    return (Field("cause", "Why it is short", options=causes), Field("why", "In words", required=False))


def _rack(contents: Contents) -> Sequence[Field]:
    return (Field("rack", "Scan the rack place", contents.bag.whereabouts, focus=True, scans=True),)


def _free_rack(_contents: Contents) -> Sequence[Field]:
    return (Field("rack", "Scan the rack place", focus=True),)


def _depots(contents: Contents) -> Sequence[Field]:
    ways = Way.objects.filter(from_depot=contents.bag.depot).select_related("to_depot").order_by("to_depot__depot")
    found = [(way.to_depot.depot, f"{way.to_depot.depot} {way.to_depot.name}".strip()) for way in ways]
    return (
        Field("to", "To which depot", options=found or [("", "no van goes from here")]),
        Field("why", "Why; needed after the freeze", required=False),
    )


def _exception(contents: Contents) -> Sequence[Field]:
    left = contents.open()
    if not left:
        return ()
    return (Field("exception", f"Still open: {', '.join(left)}. Name the exception", focus=True),)


def pieces_inside(contents: Contents) -> list[tuple[str, str]]:
    """The pieces in a bag as a choice: stock code and lot, and their words."""
    found = Counter[tuple[str, str]]()
    for lot, left in inside_by_lot(contents).items():
        found[lot.item.stock_code, lot.number] += left
    return [
        (choice_of(code, lot), f"{bare(left)} {code} lot {lot or 'unknown'}")
        for (code, lot), left in sorted(found.items())
    ]


def choice_of(code: str, lot: str) -> str:
    """How a choice names a piece."""
    return f"{code}{_SEPARATOR}{lot}"


def piece_chosen(asked: Asked) -> tuple[str, str]:
    """Stock code and lot of the piece that was chosen."""
    code, _, lot = asked.text("piece").partition(_SEPARATOR)
    return code, lot


def _to_whom(contents: Contents) -> Sequence[Field]:
    """Storms that are on and emergencies under way, one of them; planned jobs have bags of their own."""
    targets = [(f"{_STORM}{one.code}", f"storm {one.code}: {one.title}") for one in open_storms()]
    targets += [(f"{_JOB}{one.job}", f"{one.job}: {one.title}") for one in emergencies()]
    choice = targets or [("", "no storm is on, and no emergency is under way")]
    return (
        Field("to", "For", options=choice),
        Field("crew", "Crew, as they say it", focus=True),
        Field("company", "Their company", required=False, note="needed in a storm"),
        Field("where", f"Where they will use {contents.bag}"),
    )


def _give(asked: Asked, one: Bag) -> Answer:
    to, given = asked.text("to"), {name: asked.text(name) for name in ("crew", "company", "where")}
    storm = to.removeprefix(_STORM) if to.startswith(_STORM) else ""
    job = to.removeprefix(_JOB) if to.startswith(_JOB) else ""
    bag = give_kit(kit=label_code(one), storm=storm, job=job, **given, **asked.scan())
    return Answer("OUT", f"{bag} is with {bag.crew}; its number is {label_code(bag)}.", one)


def _piece(contents: Contents) -> tuple[Field, ...]:
    choice = pieces_inside(contents) or [("", "nothing is inside")]
    return (Field("piece", "Which piece", options=choice), Field("quantity", "How many", "1", "decimal"))


def _taken_from(contents: Contents) -> str:
    """The place from which the pieces of a bag were taken last, where there is just one piece to ask about."""
    found = BagEntry.objects.filter(line__bag=contents.bag, deed=PICKED).order_by("-pk").first()
    return str(found.facts.get("from", "")) if found else ""


def _back(contents: Contents) -> Sequence[Field]:
    note = "a bin, or a place of the kind hold"
    place = Field("place", "To which place: scan it", _taken_from(contents), note=note, scans=True)
    return (*_piece(contents), place, Field("why", "Why", required=False))


def _in(_contents: Contents) -> Sequence[Field]:
    return (
        Field("place", "Scan the bin or the truck it comes from", focus=True, scans=True),
        Field("read", "Scan the carton, or type the stock code", scans=True),
        Field("lot", "Lot, where the carton doesn't say it", required=False),
        Field("quantity", "How many go in", "1", "decimal"),
    )


def _stage(asked: Asked, one: Bag) -> Answer:
    return stage(bag=label_code(one), rack=asked.text("rack"), confirmed=asked.confirmed, **asked.scan())


def _send(asked: Asked, one: Bag) -> Answer:
    return send_bag(
        bag=label_code(one), to_depot=asked.text("to"), why=asked.text("why"), confirmed=asked.confirmed, **asked.scan()
    )


def _take_in(asked: Asked, one: Bag) -> Answer:
    return take_in_bag(bag=label_code(one), rack=asked.text("rack"), confirmed=asked.confirmed, **asked.scan())


def _finish(asked: Asked, one: Bag) -> Answer:
    given = {"cause": asked.text("cause"), "why": asked.text("why")}
    return finish_short(bag=label_code(one), **given, **asked.scan())


def _begin(asked: Asked, one: Bag) -> Answer:
    return begin_work(bag=label_code(one), **asked.scan())


def _reopen(asked: Asked, one: Bag) -> Answer:
    return reopen(bag=label_code(one), why=asked.text("why"), **asked.scan())


def _lift(asked: Asked, one: Bag) -> Answer:
    return lift(bag=label_code(one), **asked.scan())


def _hand_back(asked: Asked, one: Bag) -> Answer:
    return hand_back(bag=label_code(one), why=asked.text("why"), **asked.scan())


def _cancel(asked: Asked, one: Bag) -> Answer:
    return cancel_bag(bag=label_code(one), why=asked.text("why"), **asked.scan())


def _close(asked: Asked, one: Bag) -> Answer:
    return close(bag=label_code(one), exception=asked.text("exception"), **asked.scan())


def _put_back(asked: Asked, one: Bag) -> Answer:
    code, lot = piece_chosen(asked)
    place = place_scanned(one.depot, asked.text("place"), BIN, SUPPLIER_OWNED, HOLD)
    pieces = quantity(asked.text("quantity"))
    return put_back(
        bag=label_code(one), stock_code=code, lot=lot, place=place, quantity=pieces, why=asked.text("why"),
        **asked.scan(),
    )  # fmt: skip


def _put_in(asked: Asked, one: Bag) -> Answer:
    piece = read_piece(asked.text("read"), asked.today)
    return pick(
        bag=label_code(one), stock_code=piece.item.stock_code, lot=lot_of(piece, asked.text("lot")),
        place=place_scanned(one.depot, asked.text("place"), BIN, SUPPLIER_OWNED, TRUCK),
        quantity=quantity(asked.text("quantity")), confirmed=asked.confirmed, **asked.scan(),
    )  # fmt: skip


STEPS: tuple[Step, ...] = (
    Step("stage", "bags", "Put in its rack place", "The bag is checked.", "It lies there", _rack, _stage),
    Step("send", "bags", "Send it whole to another depot",
         "It goes by van with all that is in it, and is staged there from now on.", "It is on the van", _depots, _send),
    Step("take-in", "bags", "Take it in", "It came by van with all that is in it.", "It lies there", _free_rack,
         _take_in),
    Step("give", "bags", "Give it whole", "All that is in it goes to one crew by one scan; this kit is closed then.",
         "Out with the crew", _to_whom, _give),
    Step("finish", "bags", "That is all there is", "Its label says SHORT and names what is missing; the planner hears.",
         "Finish short", _short, _finish),
    Step("begin", "as-installed", "Work begins", "The outage has started and the bag is opened.", "Work begins",
         _nothing, _begin),
    Step("reopen", "bags", "Open it again", "Then pieces can go in or come out, and another person checks it again.",
         "Open it", _why("Why it is opened"), _reopen),
    Step("lift", "bags", "Let it go on", "Nothing in it is held any more: it goes on where it was.", "It goes on",
         _nothing, _lift),
    Step("hand-back", "bags", "Hand back unopened", "The outage is off. The bag is checked again before it goes out.",
         "It is back", _why("Why it comes back"), _hand_back),
    Step("cancel", "bags", "Give the bag up", "What is in it is put back by scan before it closes.", "Give it up",
         _why("Why"), _cancel),
    Step("close", "bags", "Close", "Issued = installed + turned in + scrapped + lost, or a named exception.", "Close",
         _exception, _close),
    Step("put-in", "bags", "Put a piece in", "From where it lies: another place than the walk's, or a truck.",
         "Into the bag", _in, _put_in),
    Step("put-back", "bags", "Put something back", "A reversing record: the pick stays visible.", "It is back", _back,
         _put_back),
)  # fmt: skip
