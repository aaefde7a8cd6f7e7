"""Ask that a bag may go out short, or lend pieces to another; planner or duty supervisor decide it, for once."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from inventory.selectors.finding import items_by_code, local_day
from inventory.services.actions import use_case
from kitting.calculation.bag_states import BORROW, next_state
from kitting.errors import Refusal
from kitting.models import APPROVED, ASKED, LAPSED, SHORT_ISSUE, TO_BORROW, Bag, BagRequest
from kitting.roles import DUTY_SUPERVISOR, PLANNER, STOREKEEPER, Actor
from kitting.selectors.bag_contents import Contents, bag_by_code, bare, contents_of, facts_of
from kitting.selectors.bag_requests import MAY_GO_SHORT, why_lapsed
from kitting.services.borrow_pieces import ask_before_lending, free_first, need_other_job, refuse_kept
from kitting.services.fill_bags import refuse_unfit, taken_out
from kitting.services.record_events import Happening, record_events
from kitting.services.rights import need_ask_of_bag, need_let_bag, role_of
from kitting.services.two_persons import attempts_kept, decide, locked, need_another, need_reason, turn_down

_DECIDE = (PLANNER, DUTY_SUPERVISOR)


@use_case
def ask_short_issue(*, bag: str, crew: str, needed_at: str, why: str, actor: Actor, at: datetime) -> BagRequest:
    """Ask that a bag may go out with what it holds.

    Args:
        bag: code on its label.
        crew: who would take it.
        needed_at: when, in words.
        why: why it can't wait for what is missing.
        actor, at: who asks, and when.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``no-crew``; ``not-short``: nothing is missing, or it is not filled
            yet; ``asked-already``.
    """
    contents = _opened(bag, SHORT_ISSUE, actor)
    told = need_reason(why, "A short issue")
    if not crew.strip():
        raise Refusal("no-crew", "WHICH CREW: say who would take the bag.", {})
    one = contents.bag
    if one.state not in MAY_GO_SHORT or not contents.lacks():
        way = "nothing is missing" if one.state in MAY_GO_SHORT else "say first that this is all there is"
        raise Refusal("not-short", f"{one} is {one.state}: {way}.", {"bag": str(one), "state": one.state})
    request = BagRequest(what=SHORT_ISSUE, crew=crew.strip(), needed_at=needed_at.strip())
    return _asked(request, contents, told, actor=actor, at=at)


@use_case
def ask_borrow(
    *,
    bag: str,
    to_bag: str,
    stock_code: str,
    lot: str,
    quantity: int,
    why: str,
    pay_back_by: date,
    actor: Actor,
    at: datetime,
    confirmed: Collection[str] = (),
) -> BagRequest:
    """Ask that a bag in store may lend pieces to a bag of another job; arguments as those of ``borrow``.

    Raises:
        Doubt: ``free-first``; ``pay-back-late``: as of ``borrow``.
        Refusal: ``not-allowed``; ``no-reason``; ``same-job``; ``not-in-bag``; ``not-wanted``: the other bag does not
            miss so many; ``pay-back-past``; ``lot-held``, ``expires-before-cutover``; ``asked-already``; or the bag's
            state forbids it.
    """
    contents = _opened(bag, TO_BORROW, actor)
    told = need_reason(why, "A borrow")
    taker = bag_by_code(to_bag)
    need_other_job(contents.bag, taker)
    item = items_by_code([stock_code])[stock_code]
    next_state(contents.bag.state, BORROW, facts_of(contents, by=actor.name, reason=told))
    wanted = sum(one.missing for one in contents_of([taker])[taker.pk].lines if one.line.item_id == item.pk)
    if quantity > wanted:
        message = f"{taker} misses {bare(wanted)} {item}, not {bare(quantity)}."
        raise Refusal("not-wanted", message, {"wanted": wanted})
    for _, found, pieces in taken_out(contents, stock_code, lot, quantity):
        refuse_unfit(taker, found, pieces, None)
    free = free_first(item, taker)
    ask_before_lending(contents.bag, free, pay_back_by, local_day(contents.bag.depot, at), confirmed)
    request = BagRequest(
        what=TO_BORROW, to_bag=taker, item=item, lot_number=lot, quantity=quantity, pay_back_by=pay_back_by,
        free_first=[one.sentence for one in free],
    )  # fmt: skip
    return _asked(request, contents, told, actor=actor, at=at)


def _opened(bag: str, what: str, actor: Actor) -> Contents:
    one = bag_by_code(bag, lock=True)
    need_ask_of_bag(actor, what, one.depot.depot)
    return contents_of([one])[one.pk]


def _asked(request: BagRequest, contents: Contents, told: str, *, actor: Actor, at: datetime) -> BagRequest:
    """Store a request; one about the same that holds no more, or was refused, is over then.

    Raises:
        Refusal: ``asked-already``.
    """
    bag, today = contents.bag, local_day(contents.bag.depot, at)
    same = BagRequest.objects.filter(
        bag=bag, what=request.what, to_bag=request.to_bag, item=request.item, lot_number=request.lot_number, ended=""
    )
    for one in same.filter(state__in=(ASKED, APPROVED)):
        if not why_lapsed(one, contents, today):
            by = f"approved by {one.decided_by}" if one.decided_by else f"asked by {one.asked_by}"
            raise Refusal("asked-already", f"{one} is {by} already.", {"request": one.pk})
    same.update(ended=LAPSED)
    request.bag, request.lacks = bag, contents.lacks()
    request.asked_by, request.asked_at, request.why = actor.name, at, told
    request.asked_as = role_of(actor, STOREKEEPER, *_DECIDE)
    request.save()
    data = {"why": told, "missing": contents.missing(), **_told(request)}
    asked = [Happening(f"{request.what} asked", str(request), data, role, bag.depot.depot) for role in _DECIDE]
    record_events(asked, by=actor.name, at=at)
    return request


def _told(request: BagRequest) -> dict[str, object]:
    if request.what == SHORT_ISSUE:
        return {"crew": request.crew, "when": request.needed_at}
    return {
        "pieces": f"{bare(request.quantity)} {request.item} lot {request.lot_number or 'unknown'}",
        "to": str(request.to_bag), "pay_back_by": request.pay_back_by, "free_first": request.free_first,
    }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Within:
    """What an approval allows: the last day on which it may be gone by, and of a borrow the day to pay back by."""

    good_to: date
    pay_back_by: date | None = None


@attempts_kept
@use_case
def let_bag(*, number: int, within: Within, reason: str, actor: Actor, at: datetime) -> BagRequest:
    """Let a bag go out short, or lend, once and within limits; it ends when the bag lacks more than was asked.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``no-such-request``; ``decided-already``;
            ``bag-changed``: says what is different; ``no-limit``: the days are past; ``kit-kept``: as of ``borrow``.
    """
    told = need_reason(reason, "An approval")
    request, bag = _to_decide(number, actor)
    need_another(request, actor)
    today = local_day(bag.depot, at)
    lapsed = why_lapsed(request, contents_of([bag])[bag.pk], today)
    if lapsed:
        raise Refusal("bag-changed", f"THE BAG HAS CHANGED: {lapsed}. It has to be asked again.", {"number": number})
    request.good_to, request.pay_back_by = within.good_to, within.pay_back_by or request.pay_back_by
    if min(within.good_to, request.pay_back_by or within.good_to) < today:
        raise Refusal("no-limit", "An approval holds today at least: give a day that is not past.", {})
    request.decided_as = role_of(actor, *_DECIDE)
    if request.what == TO_BORROW:
        refuse_kept(bag, as_planner=request.decided_as == PLANNER)
    decide(request, state=APPROVED, actor=actor, decision=told, at=at)
    request.save()
    data = {"reason": told, "asked_by": request.asked_by, "asked_why": request.why, "good_to": request.good_to}
    data |= _told(request)
    done = Happening(f"{request.what} approved", str(request), data, request.asked_as, bag.depot.depot)
    record_events([done], by=actor.name, at=at)
    return request


@attempts_kept
@use_case
def keep_bag(*, number: int, reason: str, actor: Actor, at: datetime) -> None:
    """Refuse it; the bag stays as it is.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``no-such-request``; ``decided-already``.
    """
    request, bag = _to_decide(number, actor)
    turn_down(request, f"{request.what} refused", reason=reason, actor=actor, at=at, depot=bag.depot.depot)


def _to_decide(number: int, actor: Actor) -> tuple[BagRequest, Bag]:
    """An open request, locked, and its bag."""
    request = locked(BagRequest, number, ASKED)
    bag = Bag.objects.select_related("job", "depot").get(pk=request.bag_id)
    need_let_bag(actor, request.what, bag.depot.depot)
    return request, bag
