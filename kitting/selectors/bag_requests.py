"""What is asked of bags: to go out short, to lend pieces; whether it still holds, what a decision has to look at."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import Q, QuerySet

from kitting.calculation.bag_states import CANCELLED, CHECKED, CLOSED, OUT, SHORT, STAGED
from kitting.errors import Refusal
from kitting.models import APPROVED, ASKED, SHORT_ISSUE, TO_BORROW, Bag, BagLine, BagRequest
from kitting.selectors.bag_contents import (
    Contents,
    LineStand,
    bare,
    contents_of,
    good_until,
    lacking_words,
)
from kitting.selectors.decisions import Waiting
from kitting.selectors.sources import FREE, Source, sources_of

MAY_GO_SHORT = (SHORT, CHECKED, STAGED)  # states in which a bag may be asked to go out with what it holds


def bag_request(number: int) -> BagRequest:
    """A request about a bag.

    Raises:
        Refusal: ``no-such-request``.
    """
    found = _with_names(BagRequest.objects.filter(pk=number)).first()
    if found is None:
        raise Refusal("no-such-request", f"There is no request {number} about a bag.", {"number": number})
    return found


def _with_names(found: QuerySet[BagRequest]) -> QuerySet[BagRequest]:
    return found.select_related("bag__job", "bag__depot", "to_bag__job", "to_bag__depot", "item")


def why_lapsed(request: BagRequest, contents: Contents, today: date) -> str:
    """Why nobody can go by a request any more, with the bag as it is; '' where it holds."""
    bag, more = contents.bag, {what: n for what, n in contents.lacks().items() if n > request.lacks.get(what, -1)}
    if request.ended:
        return f"it is {request.ended}" if request.ended == "used" else "it has lapsed"
    if bag.state in (*OUT, CLOSED, CANCELLED):
        return f"{bag} is {bag.state}"
    if more:
        then = ", ".join(lacking_words(request.lacks)) or "nothing"
        return f"{bag} lacks {', '.join(contents.missing())} now, and {then} when it was asked"
    if request.good_to and request.good_to < today:
        return f"it held through {request.good_to}"
    return ""


@dataclass(frozen=True, slots=True)
class Standing:
    """A request with the bag's contents, and why it holds no more."""

    request: BagRequest
    contents: Contents
    lapsed: str

    @property
    def may_be_used(self) -> bool:
        """Whether the bag may go, or lend, by it."""
        return self.request.state == APPROVED and not self.lapsed

    @property
    def about(self) -> str:
        """What is asked, in words."""
        return _what(self.request)

    @property
    def sentence(self) -> str:
        """How it stands, in words."""
        one = self.request
        if one.state == ASKED:
            return f"asked by {one.asked_by}: {one.why}" + (f"; {self.lapsed}" if self.lapsed else "")
        held = f"; lapsed: {self.lapsed}" if self.lapsed else f", through {one.good_to}" if one.good_to else ""
        return f"{one.state} by {one.decided_by}: {one.decision}{held}"


def standing(found: Iterable[BagRequest], today: date) -> list[Standing]:
    """How requests stand; three queries, however many they are."""
    requests = [*found]
    contents = contents_of({one.bag_id: one.bag for one in requests}.values())
    return [Standing(one, contents[one.bag_id], why_lapsed(one, contents[one.bag_id], today)) for one in requests]


def of_bag(bag: Bag, today: date) -> list[Standing]:
    """What is asked of a bag or for it and has not ended, the last first."""
    found = BagRequest.objects.filter(Q(bag=bag) | Q(to_bag=bag), ended="").order_by("-pk")
    return standing(_with_names(found), today)


def to_be_used(depots: Iterable[str], today: date) -> list[Standing]:
    """Bags of these depots, or of any, that may go out short or lend by an approval; four queries."""
    wanted = [*depots]
    found = BagRequest.objects.filter(state=APPROVED, ended="").order_by("pk")
    rows = _with_names(found.filter(bag__depot__depot__in=wanted) if wanted else found)
    return [one for one in standing(rows, today) if one.may_be_used]


def short_issues_asked() -> list[Waiting]:
    """Bags that may go out short when somebody says so; four queries."""
    return _asked(SHORT_ISSUE)


def borrows_asked() -> list[Waiting]:
    """Pieces that a bag may lend when somebody says so; four queries."""
    return _asked(TO_BORROW)


def _asked(what: str) -> list[Waiting]:
    found = _with_names(BagRequest.objects.filter(what=what, state=ASKED, ended="").order_by("pk"))
    return [
        Waiting(one.request.pk, _what(one.request), one.request.asked_by, one.request.asked_at, one.request.why,
                one.request.bag.depot.depot, _note(one))
        for one in standing(found, date.min)
    ]  # fmt: skip


def _what(one: BagRequest) -> str:
    if one.what == SHORT_ISSUE:
        return f"{one.bag} without {', '.join(lacking_words(one.lacks))}, for {one.crew}"
    lot = f"{one.item} lot {one.lot_number or 'unknown'}"
    return f"{bare(one.quantity)} {lot} of {one.bag} for {one.to_bag}, back by {one.pay_back_by}"


def _note(one: Standing) -> str:
    cutover = one.request.bag.job.cutover
    return f"THE BAG HAS CHANGED: {one.lapsed}" if one.lapsed else f"cutover {cutover}" if cutover else ""


@dataclass(frozen=True, slots=True)
class Lacking:
    """A line of a bag of which pieces are missing: thousandths, spares of its code inside, and where else some are."""

    line: BagLine
    missing: int
    spares: int
    elsewhere: tuple[Source, ...]


def lacking(contents: Contents) -> list[Lacking]:
    """What a crew lacks when a bag goes as it is, spares apart; five queries, however much it is."""
    found = [one for one in contents.lines if one.missing and not one.line.spare]
    spares: dict[int, int] = {}
    for one in contents.lines:
        if one.line.spare and one.line.item_id:
            spares[one.line.item_id] = spares.get(one.line.item_id, 0) + one.picked
    free = _free(contents, found)
    return [
        Lacking(one.line, one.missing, spares.get(one.line.item_id or 0, 0), free.get(one.line.item_id or 0, ()))
        for one in found
    ]


def _free(contents: Contents, found: Iterable[LineStand]) -> Mapping[int, tuple[Source, ...]]:
    items = {one.line.item.pk: one.line.item for one in found if one.line.item}
    until = good_until(contents.bag.job)
    if until is None:
        return {}
    by_item = sources_of(items=items.values(), depot=contents.bag.depot.depot, until=until)
    return {item: tuple(one for one in rows if one.kind in FREE) for item, rows in by_item.items()}
