"""An emergency: a job and its bag in one call, with where the pieces could come from."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Unpack
from zoneinfo import ZoneInfo

from inventory.models import Item
from inventory.selectors.finding import depot_named, items_by_code
from inventory.services.actions import begin, use_case
from inventory.services.whole_pieces import need_whole
from jobs.models import UNDER_WAY, Job
from kitting.calculation.bag_states import LISTED
from kitting.errors import Refusal
from kitting.models import Bag, BagLine
from kitting.models.storms import OPEN
from kitting.roles import DO, DUTY_SUPERVISOR, PLANNER, STOREKEEPER, require
from kitting.selectors.bag_contents import bare, good_until
from kitting.selectors.sources import Source, sources
from kitting.selectors.storms import storm_by_code
from kitting.services.list_bags import new_bag
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan, plain_code, stamp_of
from kitting.services.two_persons import need_reason


@dataclass(frozen=True, slots=True)
class Emergency:
    """The bag of an emergency, and for each stock code where pieces could come from, the first choice first."""

    bag: Bag
    sources: Mapping[str, list[Source]]


@use_case
def open_emergency(
    *, job: str, structure: str, depot: str, wanted: Mapping[str, int], why: str, storm: str = "", **scan: Unpack[Scan]
) -> Emergency:
    """Open a job that is under way at once, with one bag for its location.

    It is never planned, so it takes nothing that is promised; what it needs is picked by scan.

    Args:
        job: its number, such as ``E01``.
        structure: where it is.
        depot: whose stores build the bag.
        wanted: thousandths by stock code.
        why: what has failed.
        storm: code of the open storm that it belongs to, '' for none.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-allowed``; ``no-code``; ``no-reason``; ``no-place``; ``job-number-used``; ``unknown-depot``;
            ``unknown-stock-code``; ``moves-nothing``; ``part-of-a-piece``; ``unknown-storm``; ``storm-state``.
    """
    actor, at = scan["actor"], scan["at"]
    job, told = plain_code(job, "A job"), need_reason(why, "An emergency")
    found = depot_named(depot)
    require(actor, "bags", DO, depot)
    content = {"job": job, "structure": structure, "depot": depot, "wanted": dict(wanted)}
    _, repeated = begin("open emergency", content, stamp_of(scan, storm), told)
    items = items_by_code(wanted)
    if repeated:
        bag = Bag.objects.select_related("job", "depot").get(job__job=job, structure=structure)
        return _answered(bag, items)
    if not structure.strip():
        raise Refusal("no-place", f"Say where {job} is: its bag goes to a place.", {"job": job})
    if not wanted or min(wanted.values()) <= 0:
        raise Refusal("moves-nothing", f"Say what {job} needs, and how many.", {"job": job})
    for code, pieces in wanted.items():
        need_whole(items[code], pieces)
    if Job.objects.filter(job=job).exists():
        raise Refusal("job-number-used", f"There is a job {job} already: take another number.", {"job": job})
    local = at.astimezone(ZoneInfo(found.time_zone)) if found.time_zone else at
    opened = Job.objects.create(job=job, title=told, depot=depot, cutover=f"{local:%Y-%m-%d %H:%M}", ended=UNDER_WAY)
    if storm:
        storm_by_code(storm, OPEN, lock=True).jobs.add(opened)
    bag = new_bag(opened, found, structure, 1)
    bag.state = LISTED
    bag.save(update_fields=("state",))
    BagLine.objects.bulk_create(_lines(bag, wanted, items))
    data = {"structure": structure, "wanted": {code: bare(pieces) for code, pieces in wanted.items()}, "why": told}
    roles = (STOREKEEPER, PLANNER, DUTY_SUPERVISOR)
    happenings = [Happening("emergency opened", job, data, addressed_to=role, depot=depot) for role in roles]
    record_events(happenings, by=actor.name, at=at)
    return _answered(bag, items)


def _lines(bag: Bag, wanted: Mapping[str, int], items: Mapping[str, Item]) -> list[BagLine]:
    return [
        BagLine(
            bag=bag,
            line=f"{bag.job.job}/{bag.structure}/emergency/{items[code].stock_code}",
            position=position,
            item=items[code],
            quantity=pieces,
            facts={"structure": bag.structure, "kind": items[code].kind, "reason": bag.job.title, "phases": ""},
        )
        for position, (code, pieces) in enumerate(sorted(wanted.items()), 1)
    ]


def _answered(bag: Bag, items: Mapping[str, Item]) -> Emergency:
    until = good_until(bag.job)
    if until is None:
        return Emergency(bag, {})
    found = {code: sources(item=item, depot=bag.depot.depot, until=until) for code, item in items.items()}
    return Emergency(bag, found)
