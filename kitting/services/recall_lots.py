"""Stop a lot and everything that holds a piece of it, in one step, and say where every piece of it is."""

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Unpack

from django.db.models import QuerySet, Sum

from inventory.models import TRUCK, Balance, LotHold, Movement
from inventory.selectors.finding import items_by_code
from inventory.services.actions import begin, use_case
from inventory.services.doubts import Doubts
from inventory.services.holding import stop_lot
from inventory.services.lots import lot_number
from kitting.calculation.bag_states import OUT
from kitting.models import Bag, BagEntry, Event, Promise
from kitting.models.bags import FITTED
from kitting.roles import (
    AUDITOR,
    BUYER,
    CREW_LEAD,
    DO,
    DUTY_SUPERVISOR,
    PLANNER,
    STANDARDS_ENGINEER,
    STOREKEEPER,
    require,
)  # fmt: skip
from kitting.selectors.clock import day_at
from kitting.selectors.installed_ends import on_the_line
from kitting.selectors.replacement_need import Needed, replacement_need
from kitting.services.list_bags import review
from kitting.services.record_events import Happening, record_events
from kitting.services.release_promises import release
from kitting.services.scans import Scan, stamp_of

LOT_HOLD, RECALLED = "lot hold", "lot recalled"
TOLD = (PLANNER, STOREKEEPER, BUYER, STANDARDS_ENGINEER, DUTY_SUPERVISOR, AUDITOR)


@dataclass(frozen=True, slots=True)
class Fitted:
    """Thousandths of the lot on a line of a job: structure, the line's text and its phases."""

    job: str
    structure: str
    line: str
    phases: str
    quantity: int


@dataclass(frozen=True, slots=True)
class Recalled:
    """Where a stopped lot is, and what it hits.

    Args:
        hold: the mark that stops it.
        pieces: thousandths by depot and place kind, and by ending.
        received: thousandths that ever came, less what went back to where it came from.
        gap: what came and is nowhere; nothing, unless the books are broken.
        jobs: cutover of each job that has a bag with the lot or was promised a piece of it.
        bags: bags that are on hold now.
        inspect: what is installed, as noted from bags.
        needed: what is to be found again.
    """

    hold: LotHold
    pieces: Mapping[str, int]
    received: int
    gap: int
    jobs: Mapping[str, str]
    bags: tuple[str, ...]
    inspect: tuple[Fitted, ...]
    needed: tuple[Needed, ...]


@use_case
def recall_lot(
    *,
    stock_code: str,
    lot: str,
    reason: str,
    serials: str = "",
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> Recalled:
    """Stop a lot: every piece, every bag with one and every promise of one; the next plan finds others.

    A lot that is on hold and was not recalled keeps its hold, and its bags and promises follow. ``serials`` are the
    numbers to which the maker limits the recall: the books keep none, so the lot is stopped as a whole.

    Raises:
        Doubt: ``wider-scope``: serial numbers are named.
        Refusal: ``not-allowed``; the lot is unknown, recalled already, or there is no reason.
    """
    actor, at = scan["actor"], scan["at"]
    require(actor, LOT_HOLD, DO)
    reason = _whole_lot(lot, reason, serials.strip(), confirmed)
    action, repeated = begin("recall lot", {"stock_code": stock_code, "lot": lot}, stamp_of(scan), reason)
    if repeated:
        return recalled(_holds_of(stock_code, lot).filter(placed_at__lte=action.at).latest("placed_at"), day_at(at))
    hold = _only_held(stock_code, lot, reason) or stop_lot(action, stock_code=stock_code, lot=lot, reason=reason)
    lots = hold.item.lots.filter(number=hold.lot_number)
    promises = Promise.objects.filter(lot__in=lots, released_at=None).select_related("job")
    jobs = {promise.job.job: promise.job.cutover for promise in promises}
    release(promises.select_related(None), why=f"{hold}: {reason}", at=at)
    review(_bags_with(hold), by=actor.name, at=at)
    found = recalled(hold, day_at(at), jobs)
    is_out = _bags_with(hold).filter(state_before_hold__in=OUT).exists()
    is_out |= Balance.objects.filter(lot__in=lots, place__kind=TRUCK, quantity__gt=0).exists()
    known = {"stock_code": hold.item.stock_code, "lot": hold.lot_number}
    data = {"reason": reason, **known, "bags": found.bags, "jobs": dict(found.jobs), "pieces": dict(found.pieces)}
    data["replace"] = [one.sentence for one in found.needed]
    roles = (*TOLD, CREW_LEAD) if is_out else TOLD
    happenings = [Happening(RECALLED, str(hold), data, addressed_to=role) for role in roles]
    record_events(happenings, by=actor.name, at=at)
    return found


def _whole_lot(lot: str, reason: str, serials: str, confirmed: Collection[str]) -> str:
    """The reason, with the serial numbers that the maker names, once somebody knows that all of the lot is stopped."""
    if not serials or not reason.strip():
        return reason
    doubts = Doubts(confirmed)
    words = "SCOPE IS WIDER: the maker names serial numbers"
    doubts.ask("wider-scope", 1, f"{words} {serials}, and these books keep none: stop every piece of lot {lot}?")
    doubts.settle()
    return f"{reason} (maker's serial numbers {serials}; the whole lot is stopped)"


def _holds_of(stock_code: str, lot: str) -> QuerySet[LotHold]:
    item = items_by_code([stock_code])[stock_code]
    return LotHold.objects.filter(item=item, lot_number=lot_number(lot)).select_related("item")


def _only_held(stock_code: str, lot: str, reason: str) -> LotHold | None:
    """The open hold of a lot that was not recalled by it, locked; None where there is none, or no reason is given."""
    held = _holds_of(stock_code, lot).select_for_update(of=("self",)).filter(released_at__isnull=True).first()
    return None if held is None or not reason.strip() or was_recalled(held) else held


def was_recalled(hold: LotHold) -> bool:
    """Whether a hold stopped bags and promises as well."""
    return Event.objects.filter(name=RECALLED, subject=str(hold)).exists()


def recalled(hold: LotHold, today: date, promised: Mapping[str, str] | None = None) -> Recalled:
    """Where a stopped lot is now; ``promised`` are jobs that lost a promise of it, with their cutovers."""
    lots = hold.item.lots.filter(number=hold.lot_number)
    pieces = Counter[str]()
    for depot, kind, quantity in Balance.objects.filter(lot__in=lots, quantity__gt=0).values_list(
        "place__depot__depot", "place__kind", "quantity"
    ):
        pieces[f"{depot} {kind}"] += quantity
    moved = Movement.objects.filter(lot__in=lots).order_by()
    came = _sum(moved.filter(from_place=None, reverses=None)) - _sum(moved.filter(to_place=None).exclude(reverses=None))
    for ending, quantity in moved.filter(to_place=None, reverses=None).values_list("ending").annotate(Sum("quantity")):
        pieces[ending] += quantity
    for ending, quantity in (
        moved.filter(from_place=None).exclude(reverses=None).values_list("origin").annotate(Sum("quantity"))
    ):
        pieces[ending] -= quantity
    stopped = [*_bags_with(hold).select_related("job").order_by("job__job", "structure")]
    jobs = {**(promised or {}), **{bag.job.job: bag.job.cutover for bag in stopped}}
    return Recalled(
        hold=hold,
        pieces={name: quantity for name, quantity in pieces.items() if quantity},
        received=came,
        gap=came - sum(pieces.values()),
        jobs=dict(sorted(jobs.items())),
        bags=tuple(str(bag) for bag in stopped),
        inspect=_fitted(hold),
        needed=tuple(replacement_need(item=hold.item, number=hold.lot_number, holds=[hold], today=today)),
    )


def _bags_with(hold: LotHold) -> QuerySet[Bag]:
    """Bags with a piece of the lot inside."""
    there = Balance.objects.filter(lot__item=hold.item, lot__number=hold.lot_number, quantity__gt=0)
    return Bag.objects.filter(place__in=there.values("place"))


def _sum(movements: object) -> int:
    return movements.aggregate(Sum("quantity"))["quantity__sum"] or 0  # type: ignore[attr-defined]


def _fitted(hold: LotHold) -> tuple[Fitted, ...]:
    """What of the lot is on the line, by structure: the list for whoever goes out to look."""
    entries = BagEntry.objects.filter(FITTED, lot__item=hold.item, lot__number=hold.lot_number)
    found = [*entries.select_related("line__bag__job").order_by("line__bag__structure", "line__position", "pk")]
    left = on_the_line(found)
    return tuple(
        Fitted(
            one.line.bag.job.job,
            one.line.facts.get("structure", ""),
            one.line.line,
            one.phase or one.line.facts.get("phases", ""),
            left[one.pk],
        )
        for one in found
        if left[one.pk]
    )
