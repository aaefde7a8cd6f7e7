"""The count itself, one thing at a time and blind: nothing of the books or of an earlier figure is on the page."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from kitting.calculation.carton_codes import is_carton, read_carton
from kitting.errors import Refusal
from kitting.models import LISTED, ONE_BAG, POSTED, CountLine, CountList
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, done, page
from kitting.pages.bag_forms import read_piece
from kitting.pages.count_pages import figure_of, with_list
from kitting.pages.typed import typed_day
from kitting.roles import DO
from kitting.selectors.bag_contents import label_note
from kitting.selectors.counting import blinded, lines_of
from kitting.selectors.old_labels import label_number
from kitting.selectors.open_counts import COUNT, RECOUNT, waits_for
from kitting.selectors.policies import count_limit
from kitting.services.count_places import COUNT as RIGHT
from kitting.services.count_places import add_to_count, enter_count, recount
from kitting.services.two_persons import same_person

AGAIN = "again"
HERE, MISSING = "here", "missing"  # what is said of a bag
WHICH_LOT, NOT_LISTED = "WHICH LOT", "NOT ON THE LIST"


@dataclass(frozen=True, slots=True)
class Walk:
    """Where on a list one is.

    Args:
        counted: the list.
        again: whether another person counts what differed.
        ahead: lines that wait and were not left for later, in walk order.
        line: the one that is next, or that was asked for; None where none waits.
        skipped: numbers of the lines that were left for later.
    """

    counted: CountList
    again: bool
    ahead: Sequence[CountLine]
    line: CountLine | None
    skipped: Sequence[int] = field(default=())

    def address(self, *, line: int | None = None, skip: int | None = None) -> str:
        """The address of the walk, at a line, or with one more left for later."""
        skipped = [*self.skipped, *([skip] if skip else [])]
        asked = [("skip", str(one)) for one in skipped] + ([("line", str(line))] if line else [])
        asked += [(AGAIN, "yes")] if self.again else []
        return f"{reverse('count', args=[self.counted.number])}{f'?{urlencode(asked)}' if asked else ''}"


@dataclass(frozen=True, slots=True)
class Read:
    """What was scanned at a place: a word and its sentence, and the line that it belongs to."""

    word: str = ""
    sentence: str = ""
    line: CountLine | None = None


def _walk(asked: Asked, counted: CountList) -> Walk:
    given = asked.request.GET
    again, limit = given.get(AGAIN) == "yes", count_limit()
    lines = [*lines_of(counted)]
    first: dict[int, int] = {}  # what was added to a place is counted with it, though its number is the last one
    for line in lines:
        first.setdefault(line.place_id, line.position)
    lines.sort(key=lambda line: (first[line.place_id], line.position))
    waiting = [one for one in lines if waits_for(one, limit) == (RECOUNT if again else COUNT)]
    skipped = [int(text) for text in given.getlist("skip") if text.isdecimal()]
    others = [one for one in waiting if again and not same_person(one.counted_by, asked.actor.name)]
    ahead = [one for one in others or waiting if one.position not in skipped]
    chosen = [one for one in lines if str(one.position) == given.get("line") and _may_be_counted(one, again=again)]
    return Walk(counted, again, ahead, next(iter([*chosen, *ahead]), None), skipped)


def _may_be_counted(line: CountLine, *, again: bool) -> bool:
    """Whether a line that somebody asks for takes a figure: a first one, or a further one until it is posted."""
    return line.lot_id is not None and line.state not in (LISTED, POSTED) if again else line.state == LISTED


@with_list
def count(asked: Asked, counted: CountList) -> HttpResponse:
    """The thing that is next, or what was counted of it."""
    walk = _walk(asked, counted)
    if asked.request.method == "POST":
        return _posted(asked, walk)
    read = _read(asked, walk)
    line = read.line or walk.line
    context: dict[str, object] = {
        "walk": walk, "counted": counted, "acts": asked.actor.may(RIGHT, DO, counted.depot.depot), "read": read,
        "left": len(walk.ahead), "from_start": Walk(counted, walk.again, (), None).address(),
    }  # fmt: skip
    if line is not None:
        (blind,) = blinded([line])
        context |= {
            "line": blind, "here": walk.address(line=line.position), "typed": asked.text("counted"),
            "there": _others_there(walk, line), "own": walk.again and same_person(line.counted_by, asked.actor.name),
            "add": read.word == NOT_LISTED or bool(asked.text("stock_code")),
            "stock_code": asked.text("stock_code") or asked.text("read"),
            "lot": asked.text("lot") or asked.text("read_lot"), "use_by": asked.text("use_by"),
        }  # fmt: skip
    return page(asked, "count.html", context)


def _others_there(walk: Walk, line: CountLine) -> int:
    return sum(1 for one in walk.ahead if one.place_id == line.place_id and one != line)


def _read(asked: Asked, walk: Walk) -> Read:
    """What a carton that was scanned, or a stock code that was typed, is at the place of the line that is next."""
    if not asked.text("read") or walk.line is None:
        return Read()
    try:
        piece = read_piece(asked.text("read"), asked.today)
    except ANY_REFUSAL as refusal:
        return Read("LOOK AGAIN", str(refusal))
    lot = asked.text("read_lot") or piece.lot
    there = [one for one in walk.ahead if one.place_id == walk.line.place_id and one.lot]
    fitting = [one for one in there if one.lot and one.lot.item_id == piece.item.pk]
    named = [one for one in fitting if one.lot and one.lot.number == lot] if lot else fitting
    if len(named) == 1:
        return Read("RIGHT", f"{named[0].lot}: count it here.", named[0])
    if len(named) > 1 or (fitting and not lot):
        return Read(WHICH_LOT, f"Several lots of {piece.item} lie here: scan or type the lot on the piece.")
    sentence = f"{piece.item} lot {lot or 'unknown'} does not wait for a count here: add it below, if it lies here."
    return Read(NOT_LISTED, sentence)


def _posted(asked: Asked, walk: Walk) -> HttpResponse:
    position = asked.number("line")
    if asked.text("do") == "skip":
        return done(asked, "SKIPPED", f"Line {position} is left for later.", walk.address(skip=position))
    if asked.text("do") == "add":
        typed = urlencode({name: asked.text(name) for name in ("stock_code", "lot", "use_by") if asked.text(name)})
        back = f"{walk.address(line=position)}&{typed}"
        return attempt(asked, lambda: _add(asked, walk, position), walk.address(), back=back)
    typed = urlencode({"counted": asked.text("counted")}) if asked.text("counted") else ""
    back = f"{walk.address(line=position)}&{typed}".rstrip("&")
    return attempt(asked, lambda: _figure(asked, walk, position), walk.address(), back=back)


def _figure(asked: Asked, walk: Walk, position: int) -> tuple[str, str]:
    number = walk.counted.number
    of_bag = asked.text("do") in (HERE, MISSING)
    figure = _bag_seen(asked, walk.counted, position) if of_bag else _typed(asked, position)
    take = recount if walk.again else enter_count
    answer = take(count_list=number, line=position, counted=figure, confirmed=asked.confirmed, **asked.scan())
    note = label_note(asked.text("bag")) if asked.text("do") == HERE else ""
    return answer.word, f"{answer.sentence} {note}".strip()


def _typed(asked: Asked, position: int) -> int | None:
    return figure_of(asked.text("counted"), f"Line {position}")


def _bag_seen(asked: Asked, counted: CountList, position: int) -> int:
    """Whether a bag stands in its rack place: its label was scanned there, or somebody says it is not there.

    Raises:
        Refusal: ``wrong-bag``: another label was scanned.
    """
    if asked.text("do") == MISSING:
        return 0
    for blind in blinded(lines_of(counted).filter(position=position)):
        if _plain(label_number(asked.text("bag"))) != _plain(blind.bag):
            message = f"WRONG BAG: {blind.bag} should stand at {blind.place}; scan the label of that one."
            raise Refusal("wrong-bag", message, {"read": asked.text("bag"), "wanted": blind.bag})
    return ONE_BAG


def _plain(code: str) -> str:
    return "".join(letter for letter in code.upper() if letter.isalnum())


def _add(asked: Asked, walk: Walk, position: int) -> tuple[str, str]:
    text, lot = asked.text("stock_code"), asked.text("lot")
    use_by = typed_day(asked.text("use_by"), "Use by")
    item = read_piece(text, asked.today).item
    if is_carton(text):
        carton = read_carton(text, today=asked.today)
        lot, use_by = lot or carton.lot, use_by or carton.use_by
    line = add_to_count(
        count_list=walk.counted.number, beside=position, stock_code=item.stock_code, lot=lot, use_by=use_by,
        confirmed=asked.confirmed, **asked.scan(),
    )  # fmt: skip
    return "ADDED", f"{line.lot} is line {line.position}: count it as the others."
