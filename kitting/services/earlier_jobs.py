"""Record what was installed before these books began, so that a lot's trace reaches it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Unpack

from inventory.models import INSTALLED as INSTALLED_ENDING
from inventory.models import OPENING, Action, Depot, Lot
from inventory.selectors.finding import depot_named, items_by_code, local_day
from inventory.services.actions import begin, use_case
from inventory.services.booking import Move, book
from inventory.services.doubts import Doubts
from inventory.services.lots import Label, lot_number, lots_of
from jobs.models import COMPLETE, Job
from kitting.calculation.bag_states import CLOSED
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry, BagLine, JobStep
from kitting.models.bags import INSTALLED, ISSUED, PICKED
from kitting.models.job_steps import ENERGISED
from kitting.roles import DO, require
from kitting.selectors.clock import local_zone
from kitting.services.list_bags import new_bag
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan, plain_code, stamp_of
from kitting.services.two_persons import need_reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """Thousandths of a lot that were fitted at a position of a structure; ``phase`` '' for all at once."""

    structure: str
    position: str
    stock_code: str
    lot: str
    quantity: int
    phase: str = ""


@use_case
def record_earlier_job(
    *, job: str, title: str, depot: str, done_on: date, fitted: Sequence[Earlier], paper: str, **scan: Unpack[Scan]
) -> Job:
    """Put a finished job on the books with what it installed; its pieces come in as an opening balance and end there.

    Args:
        job, title, depot: as on its papers.
        done_on: the day of its outage, on which its line went back in service.
        fitted: what is where.
        paper: where this is known from.
        scan: who records it, when, the number of the action.

    Raises:
        Doubt: ``same-lot``: only one of paper and books has a date for the lot.
        Refusal: ``not-allowed``; ``no-code``; ``no-reason`` without a paper; ``job-number-used``; ``unknown-depot``;
            ``unknown-stock-code``; ``moves-nothing``; ``not-earlier``: its day is not past.
    """
    actor, at = scan["actor"], scan["at"]
    job, source = plain_code(job, "An earlier job"), need_reason(paper, "An earlier job")
    place = depot_named(depot)
    require(actor, "as-installed", DO, depot)
    rows = [[one.structure, one.position, one.stock_code, one.lot, one.quantity, one.phase] for one in fitted]
    content = {"job": job, "done_on": done_on, "fitted": rows}
    action, repeated = begin("record earlier job", content, stamp_of(scan), source)
    if repeated:
        return Job.objects.get(job=job)
    if done_on >= local_day(place, at):
        raise Refusal("not-earlier", f"{job} is of {done_on}: build its bags instead.", {"job": job})
    if not fitted or any(one.quantity <= 0 for one in fitted):
        raise Refusal("moves-nothing", f"Say what {job} installed, and how many.", {"job": job})
    if Job.objects.filter(job=job).exists():
        raise Refusal("job-number-used", f"There is a job {job} already.", {"job": job})
    done = Job.objects.create(job=job, title=title, depot=depot, cutover=f"{done_on} 00:00", ended=COMPLETE)
    on_line = datetime.combine(done_on, time.min, local_zone([depot]))
    JobStep.objects.create(
        job=done, kind=ENERGISED, cutover=done.cutover, happened_at=on_line, said_by=actor.name, said_at=at, why=source
    )
    _book(action, done, place, fitted)
    told = {"paper": source, "done_on": done_on, "pieces": len(fitted)}
    record_events([Happening("earlier job recorded", job, told, depot=depot)], by=actor.name, at=at)
    return done


def _book(action: Action, job: Job, depot: Depot, fitted: Sequence[Earlier]) -> None:
    items = items_by_code(one.stock_code for one in fitted)
    doubts = Doubts()
    labels = [
        Label(number, items[one.stock_code], lot_number(one.lot), _known_date(items[one.stock_code].pk, one.lot))
        for number, one in enumerate(fitted, 1)
    ]
    lots = lots_of(labels, doubts)
    doubts.settle()
    structures = list(dict.fromkeys(one.structure for one in fitted))
    bags = {name: _closed_bag(job, depot, name, number) for number, name in enumerate(structures, 1)}
    lines = [
        BagLine(
            bag=bags[one.structure],
            line=f"{job.job}/{one.structure}-{one.position}/{number}/{lot.item.kind}",
            position=number,
            item=lot.item,
            quantity=one.quantity,
            facts={"structure": one.structure, "position": one.position, "kind": lot.item.kind, "phases": one.phase},
        )
        for number, (one, lot) in enumerate(zip(fitted, lots, strict=True), 1)
    ]
    BagLine.objects.bulk_create(lines)
    moves = []
    for one, lot in zip(fitted, lots, strict=True):
        inside = bags[one.structure].place
        moves.append(Move(lot=lot, quantity=one.quantity, origin=OPENING, target=inside))
        moves.append(Move(lot=lot, quantity=one.quantity, source=inside, ending=INSTALLED_ENDING))
    book(action, moves)
    BagEntry.objects.bulk_create(
        BagEntry(action=action, line=line, lot=lot, deed=deed, quantity=one.quantity, phase=one.phase)
        for one, lot, line in zip(fitted, lots, lines, strict=True)
        for deed in (PICKED, ISSUED, INSTALLED)
    )


def _known_date(item: int, number: str) -> date | None:
    """The date that the books have for a lot; papers of former years seldom have one."""
    return Lot.objects.filter(item=item, number=lot_number(number)).values_list("use_by", flat=True).first()


def _closed_bag(job: Job, depot: Depot, structure: str, number: int) -> Bag:
    bag = new_bag(job, depot, structure, number)
    bag.state = CLOSED
    bag.save(update_fields=("state",))
    return bag
