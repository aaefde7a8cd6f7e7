"""Pieces of the emergency reserve for a named line: asked by one person, released by another, refilled at once."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from inventory.models import BIN, Action, Balance, Item, Level, Place
from inventory.selectors.finding import depot_named, items_by_code, place_at
from inventory.services.actions import begin, use_case
from inventory.services.doubts import Doubts
from inventory.services.moving import Carry, carry
from inventory.services.whole_pieces import need_whole
from jobs.models import Job
from kitting.calculation.quantities import as_decimal
from kitting.calculation.sheets.book import read_book
from kitting.calculation.stand_in_comparison import template_of_line
from kitting.errors import Refusal
from kitting.models import APPROVED, ASKED, BagLine, Pin, ReserveRelease
from kitting.roles import BUYER, DUTY_SUPERVISOR, STOREKEEPER, Actor
from kitting.selectors.clock import day_at
from kitting.selectors.policies import margin_days
from kitting.selectors.reserve import Reserve, locked_reserve
from kitting.selectors.sheets import sheets_from_records
from kitting.selectors.storms import emergencies
from kitting.services.record_events import Happening, record_events
from kitting.services.rights import need_ask_reserve, need_release_reserve, role_of
from kitting.services.two_persons import attempts_kept, decide, locked, need_another, need_reason, stamp_of, turn_down

MORE_THAN_FLOOR = "more-than-floor"


@use_case
def ask_reserve(
    *, stock_code: str, depot: str, quantity: int, job: str, line: str, why: str, actor: Actor, at: datetime
) -> ReserveRelease:
    """Ask for thousandths of a depot's reserve for one line of a planned job, or of an emergency that is under way.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``unknown-depot``; ``unknown-job``; ``no-such-line``;
            ``not-its-code``: the code does not serve the line; ``not-in-reserve``: says what is there.
    """
    need_ask_reserve(actor, depot)
    told = need_reason(why, "A release of the reserve")
    item = items_by_code([stock_code])[stock_code]
    place = depot_named(depot)
    of_job = Job.objects.filter(job=job).first()
    is_emergency = of_job in emergencies()
    if of_job is None or (of_job.ended and not is_emergency):
        raise Refusal("unknown-job", f"There is no open job {job}.", {"job": job})
    need_whole(item, quantity)
    if is_emergency:
        _need_listed(of_job, line, item)
    else:
        _need_code_of_line(job, line, item, at)
    reserve = locked_reserve(item=item, depot=place, at=at)
    _chosen(reserve, quantity, of_job, item)
    request = ReserveRelease.objects.create(
        item=item,
        depot=place,
        job=of_job,
        line=line,
        quantity=quantity,
        asked_by=actor.name,
        asked_as=role_of(actor, STOREKEEPER, DUTY_SUPERVISOR),
        asked_at=at,
        why=told,
    )
    data = {"line": line, "pieces": as_decimal(quantity), "why": told}
    asked = Happening("reserve asked", str(request), data, addressed_to=DUTY_SUPERVISOR, depot=depot)
    record_events([asked], by=actor.name, at=at)
    return request


def _need_code_of_line(job: str, line: str, item: Item, at: datetime) -> None:
    """Refuse a code that a pin could not hold for the line: an own code of it, no stand-in."""
    template = template_of_line(read_book(sheets_from_records(day_at(at))), line)
    if item.stock_code not in template.codes or not line.startswith(f"{job}/"):
        message = f"{item} does not serve {line} of {job}; it takes {' or '.join(template.codes) or 'nothing known'}."
        raise Refusal("not-its-code", message, {"line": line, "stock_code": item.stock_code})


def _need_listed(job: Job, line: str, item: Item) -> None:
    """Refuse a code that no bag of an emergency lists in that line."""
    listed = BagLine.objects.filter(bag__job=job, dropped=False, item__isnull=False)
    if not listed.filter(line=line, item=item).exists():
        lines = ", ".join(listed.order_by("bag", "position").values_list("line", flat=True))
        message = f"{item} does not serve {line or 'no line'} of {job}; its lines: {lines or 'none'}."
        raise Refusal("not-its-code", message, {"line": line, "stock_code": item.stock_code})


def _chosen(reserve: Reserve, quantity: int, job: Job, item: Item) -> list[tuple[Balance, int]]:
    """Which pieces of the reserve, the first to expire first among those good for the job."""
    chosen, lacking = [], quantity
    good = reserve.good_through(_needed(job))
    for balance in good:
        pieces = min(balance.quantity, lacking)
        if pieces > 0:
            chosen.append((balance, pieces))
            lacking -= pieces
    if lacking or quantity <= 0:
        there = sum(one.quantity for one in good)
        message = (
            f"{as_decimal(quantity)} {item} asked of the reserve; {as_decimal(reserve.total)} lie there, "
            f"{as_decimal(there)} of them good for {job}."
        )
        raise Refusal("not-in-reserve", message, {"there": str(as_decimal(there))})
    return chosen


def _needed(job: Job) -> date:
    """The last day on which a piece must be good for a job; any day where it has no cutover yet."""
    last = job.cutover_end or job.cutover
    return date.fromisoformat(last[:10]) + timedelta(margin_days()) if last else date.min


@dataclass(frozen=True, slots=True)
class Released:
    """What a release did: thousandths left in the reserve, and the floor to which purchasing lifts it again."""

    request: ReserveRelease
    left: int
    floor: int


@attempts_kept
@use_case
def release_reserve(
    *,
    number: int,
    place: str,
    reason: str,
    actor: Actor,
    at: datetime,
    action: str,
    confirmed: Collection[str] = (),
) -> Released:
    """Carry the pieces from the reserve to a bin, pin them to the planned line they are for, and see to the refill.

    The refill is what purchasing reads anyhow: the floor less what lies there. Where nobody has set a floor it becomes
    what lay there before.

    Args:
        number: of the request.
        place: code of a bin of the depot.
        reason: why the reserve is opened.
        actor: who may release, and did not ask.
        at: the moment.
        action: its number; the same one again changes nothing.
        confirmed: keys of the questions that are answered with yes.

    Raises:
        Doubt: ``more-than-floor``: more pieces than the floor; says what is left, and for how many nights.
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``no-such-request``; ``decided-already``;
            ``not-in-reserve``; ``unknown-place``.
    """
    content = {"request": number, "place": place, "confirmed": sorted(confirmed)}
    done, repeated = begin("release reserve", content, stamp_of(actor, at, action), reason)
    if repeated:
        return _released_before(number, at)
    told = need_reason(reason, "A release of the reserve")
    request = locked(ReserveRelease, number, ASKED)
    need_release_reserve(actor, request.depot.depot)
    need_another(request, actor)
    reserve = locked_reserve(item=request.item, depot=request.depot, at=at)
    chosen = _chosen(reserve, request.quantity, request.job, request.item)
    left = reserve.total - request.quantity
    _ask_about_floor(request, reserve, left, confirmed)
    target = place_at(depot=request.depot, code=place, kind=BIN)
    _carry(done, chosen, target, told)
    if not request.job.ended:  # an emergency is never planned: it picks them by scan
        _pin(request, chosen, actor, told)
    is_set, floor = reserve.floor is not None, _with_floor(request, reserve)
    request.place, request.action = target, action
    decide(request, state=APPROVED, actor=actor, decision=told, at=at)
    request.save()
    released = Released(request, left, floor)
    _record(released, chosen, floor_is_new=not is_set, cover=reserve.cover_words(left))
    return released


def _released_before(number: int, at: datetime) -> Released:
    request = ReserveRelease.objects.select_related("item", "depot", "job").get(pk=number)
    reserve = locked_reserve(item=request.item, depot=request.depot, at=at)
    return Released(request, reserve.total, reserve.floor or 0)


def _ask_about_floor(request: ReserveRelease, reserve: Reserve, left: int, confirmed: Collection[str]) -> None:
    doubts = Doubts(confirmed)
    if reserve.floor is not None and request.quantity > reserve.floor:
        question = (
            f"{as_decimal(request.quantity)} {request.item} are more than the floor of {as_decimal(reserve.floor)} at "
            f"{request.depot}: {as_decimal(left)} are left, {reserve.cover_words(left)}. Release them?"
        )
        doubts.ask(MORE_THAN_FLOOR, 1, question)
    doubts.settle()


def _carry(action: Action, chosen: Sequence[tuple[Balance, int]], target: Place, why: str) -> None:
    carries = [Carry(lot=one.lot, quantity=pieces, source=one.place, target=target) for one, pieces in chosen]
    carry(action, carries, why)


def _pin(request: ReserveRelease, chosen: Sequence[tuple[Balance, int]], actor: Actor, told: str) -> None:
    Pin.objects.bulk_create(
        Pin(
            job=request.job,
            line=request.line,
            item=request.item,
            lot=one.lot.number,
            depot=request.depot,
            quantity=pieces,
            reason=f"released from reserve: {told}",
            by=actor.name,
        )
        for one, pieces in chosen
    )


def _with_floor(request: ReserveRelease, reserve: Reserve) -> int:
    """The floor; where nobody has set one it is what lay in the reserve, so that the refill is not forgotten."""
    if reserve.floor is not None:
        return reserve.floor
    level = reserve.level or Level(item=request.item, depot=request.depot, version=0)
    level.reserve_floor = reserve.total
    level.version += 1
    level.save()
    return reserve.total


def _record(done: Released, chosen: Sequence[tuple[Balance, int]], *, floor_is_new: bool, cover: str) -> None:
    request = done.request
    data = {
        "reason": request.decision,
        "asked_by": request.asked_by,
        "asked_why": request.why,
        "line": request.line,
        "lots": {one.lot.number or "unknown": as_decimal(pieces) for one, pieces in chosen},
        "to": str(request.place),
        "left": as_decimal(done.left),
        "floor": as_decimal(done.floor),
        "floor_set_now": floor_is_new,
        "refill": as_decimal(max(done.floor - done.left, 0)),
        "cover": cover,
    }
    depot = request.depot.depot
    released = Happening("reserve released", str(request), data, addressed_to=BUYER, depot=depot)
    answered = Happening("reserve answered", str(request), {"to": str(request.place)}, request.asked_as, depot)
    record_events([released, answered], by=request.decided_by, at=request.decided_at or request.asked_at)


@attempts_kept
@use_case
def refuse_reserve(*, number: int, reason: str, actor: Actor, at: datetime) -> None:
    """Refuse a request for the reserve, told to the storekeeper.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``no-such-request``; ``decided-already``.
    """
    request = locked(ReserveRelease, number, ASKED)
    depot = request.depot.depot
    need_release_reserve(actor, depot)
    turn_down(request, "reserve refused", reason=reason, actor=actor, at=at, depot=depot)
