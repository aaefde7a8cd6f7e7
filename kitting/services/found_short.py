"""A bin holds fewer pieces than the book: count it on the spot, and say who loses pieces and where others are."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Unpack

from inventory.models import HOLD, Action, Balance, Place
from inventory.selectors.finding import items_by_code
from inventory.selectors.locking import locked_balances
from inventory.services.actions import begin, use_case
from inventory.services.adjusting import Count, book_counts
from jobs.models import Job
from kitting.errors import Refusal
from kitting.models import Bag, Event
from kitting.roles import BUYER, DO, PLANNER, STOREKEEPER, require
from kitting.selectors.bag_contents import bare, good_until
from kitting.selectors.clock import day_at
from kitting.selectors.count_lists import SPOT_EVENT
from kitting.selectors.policies import count_limit
from kitting.selectors.sources import IN_BAG, WITH_CREW, Source, sources
from kitting.services.record_events import Happening, record_events
from kitting.services.release_promises import release_missing
from kitting.services.scans import Scan, stamp_of

FOUND_SHORT, COUNT = "found short", "count"
TO_BE_FOUND = "to be found"
_MOST_LINES = 4  # named one by one; more are told by job


@dataclass(frozen=True, slots=True)
class Lost:
    """Thousandths that a line of a job is promised no more, and free pieces elsewhere that would do for the job."""

    job: str
    line: str
    quantity: int
    cutover: str
    elsewhere: tuple[Source, ...]


@dataclass(frozen=True, slots=True)
class FoundShort:
    """What a spot count found: thousandths counted and missing, and the lines that lose pieces, spares first.

    ``wanted_at`` is where the missing ones stand until another person has counted, '' where they are written off.
    Where a line loses pieces the plan that was applied holds no more.
    """

    what: str
    counted: int
    missing: int
    lost: tuple[Lost, ...]
    wanted_at: str = ""

    @property
    def sentence(self) -> str:
        """In words."""
        told = f"{self.what}: {bare(self.counted)} found, {bare(self.missing)} missing"
        told += f", which stand at {self.wanted_at} until another person has counted" if self.wanted_at else ""
        if not self.lost:
            return f"{told}; nobody was promised them."
        few = len(self.lost) <= _MOST_LINES
        sums: dict[tuple[str, str], int] = {}
        for one in self.lost:
            who = one.line if few else one.job
            sums[who, one.cutover] = sums.get((who, one.cutover), 0) + one.quantity
        lost = "; ".join(f"{bare(pieces)} of {who} (cutover {cutover})" for (who, cutover), pieces in sums.items())
        return f"{told}. Lost: {lost}."


@use_case
def found_short(
    *,
    stock_code: str,
    lot: str,
    place: Place,
    counted: int,
    use_by: date | None = None,
    why: str = "",
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> FoundShort:
    """Book what a person finds of a lot at a place as a spot count, and release the promises that can't be kept.

    One person's word writes off no more than the policy ``count limit``: beyond it the missing pieces stay on the books
    at the depot's place for what is to be found, and a count there is wanted.

    Spares lose their pieces first, then the jobs that are served last. Planner and buyer are told; nothing is planned
    here.

    Args:
        stock_code, lot, place: what was looked for, and where.
        counted: thousandths that are there.
        use_by: needed only where pieces of an unknown lot lie there with several dates.
        why: anything the person can say.
        confirmed: keys of questions answered with yes.
        scan: who, when, the number of the action.

    Raises:
        Doubt: ``each-or-kit``: the difference is exactly that of a purchase unit.
        Refusal: ``not-allowed``; ``in-a-bag``: a bag's pieces leave it by scan; ``not-there``: the books have no such
            pieces there; ``several-dates``; ``not-short``: they have no more than was found; ``looked-for``: they
            are pieces to be found, and more than one person's word writes off; or as ``adjust``.
    """
    actor, at = scan["actor"], scan["at"]
    require(actor, COUNT, DO, place.depot.depot)
    reason = why.strip() or "found short at the place"
    content = {"code": stock_code, "lot": lot, "place": place.pk, "counted": counted, "use_by": use_by}
    action, repeated = begin(FOUND_SHORT, content, stamp_of(scan), reason)
    if repeated:
        return _as_told(action, at)
    balance = _booked(stock_code, lot, place, use_by)
    one, missing = _count_of(balance, counted), _missing(balance, counted)
    aside = _to_be_found(place) if missing > count_limit() or one.supplier_owned else None
    if aside == place:
        message = f"More than one person may write off are looked for at {place} already: count it, by two persons."
        raise Refusal("looked-for", message, {"place": str(place)})
    book_counts(action, [one], reason, confirmed, missing_to=aside)
    lost = release_missing(balance, counted, f"{FOUND_SHORT}: {reason}", at)
    told = {
        "action": action.number,
        "stock_code": one.stock_code,
        "counted": counted,
        "missing": missing,
        "why": reason,
        "wanted_at": str(aside or ""),
        "lost": [{"job": promise.job.job, "line": promise.line, "quantity": pieces} for promise, pieces in lost],
    }
    record_events(_happenings(balance, told, aside), by=actor.name, at=at)
    return _as_told(action, at)


def _missing(balance: Balance, counted: int) -> int:
    """How many thousandths the books have beyond what was counted.

    Raises:
        Refusal: ``not-short`` where that is none.
    """
    missing = balance.quantity - counted
    if missing <= 0:
        message = f"The books have {bare(balance.quantity)} of {balance}, no more than you found: pick, or count it."
        raise Refusal("not-short", message, {"booked": balance.quantity, "counted": counted})
    return missing


def _happenings(balance: Balance, told: Mapping[str, Any], aside: Place | None) -> Iterator[Happening]:
    """What planner and buyer are told, and stores where a count is wanted."""
    depot = balance.place.depot.depot
    for role in (PLANNER, BUYER):
        yield Happening(FOUND_SHORT, str(balance), told, addressed_to=role, depot=depot)
    if aside:
        said = {"said gone": f"{bare(told['missing'])} of {balance}", "action": told["action"]}
        yield Happening(SPOT_EVENT, str(aside), said, addressed_to=STOREKEEPER, depot=depot)


def _count_of(balance: Balance, counted: int) -> Count:
    lot = balance.lot
    return Count(
        stock_code=lot.item.stock_code,
        place=balance.place,
        counted=counted,
        lot=lot.number,
        use_by=lot.use_by,
        supplier_owned=lot.supplier_owned,
    )


def _to_be_found(place: Place) -> Place:
    """The depot's place for pieces that the books have and nobody can find; nothing there is planned with."""
    return Place.objects.get_or_create(depot=place.depot, code=TO_BE_FOUND, kind=HOLD)[0]


def _booked(stock_code: str, number: str, place: Place, use_by: date | None) -> Balance:
    """What the books have of a lot at a place, locked.

    Raises:
        Refusal: ``in-a-bag``; ``unknown-stock-code``; ``not-there``; ``several-dates``.
    """
    if Bag.objects.filter(place=place).exists():
        message = f"{place} is a bag: put its pieces back, write them off or have it checked."
        raise Refusal("in-a-bag", message, {"place": str(place)})
    item = items_by_code([stock_code])[stock_code]
    there = Balance.objects.filter(place=place, lot__item=item, lot__number=number, quantity__gt=0)
    if use_by is not None:
        there = there.filter(lot__use_by=use_by)
    found = [*there.select_related("lot__item").order_by("pk")]
    what = f"{item} lot {number or 'unknown'}"
    if not found:
        raise Refusal("not-there", f"The books have no {what} at {place}.", {"place": str(place)})
    if len(found) > 1:
        dates = ", ".join(str(one.lot.use_by or "none") for one in found)
        message = f"{what} lies at {place} with several use-by dates ({dates}): say which."
        raise Refusal("several-dates", message, {"place": str(place)})
    locked = locked_balances([(place.pk, found[0].lot_id)])[place.pk, found[0].lot_id]
    locked.place, locked.lot = place, found[0].lot
    return locked


def _as_told(action: Action, at: datetime) -> FoundShort:
    """What was told of an action, with what lies elsewhere now."""
    event = Event.objects.filter(name=FOUND_SHORT, data__action=action.number).order_by("number")[0]
    told = event.data
    item = items_by_code([told["stock_code"]])[told["stock_code"]]
    jobs = {job.job: job for job in Job.objects.filter(job__in={one["job"] for one in told["lost"]})}
    free = {
        name: tuple(_free(sources(item=item, depot=job.depot, until=good_until(job) or day_at(at, job.depot))))
        for name, job in jobs.items()
    }
    lost = [
        Lost(one["job"], one["line"], one["quantity"], jobs[one["job"]].cutover, free[one["job"]])
        for one in told["lost"]
    ]
    return FoundShort(event.subject, told["counted"], told["missing"], tuple(lost), told["wanted_at"])


def _free(found: Sequence[Source]) -> list[Source]:
    return [one for one in found if one.kind not in (IN_BAG, WITH_CREW)]
