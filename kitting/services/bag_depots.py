"""Say at which depot the bag of a location is staged: bags that nobody has begun follow, promises are made anew."""

from collections.abc import Collection, Mapping
from datetime import datetime

from inventory.models import Depot
from inventory.selectors.finding import depot_named
from inventory.services.actions import use_case
from jobs.models import Job, Structure
from kitting.calculation.bag_states import CANCELLED, CLOSED, OUT
from kitting.errors import Refusal
from kitting.models import Bag, BagDepot, Promise
from kitting.roles import STOREKEEPER, Actor
from kitting.selectors.bag_contents import contents_of
from kitting.selectors.bag_depots import bag_depots, locations_of, planned_lines
from kitting.services.freeze_outages import changes_after_freeze
from kitting.services.list_bags import is_unbegun, stage_at
from kitting.services.record_events import Happening, lock_chain, record_events
from kitting.services.release_promises import release
from kitting.services.sheet_rights import need_sheet

SHEET = "bag depots"
CHANGED = "bag depot changed"
Depots = Mapping[tuple[str, str], str]


@use_case
def change_bag_depot(
    *, job: str, structure: str, depot: str, seen: str, actor: Actor, at: datetime, reason: str = ""
) -> str:
    """Let the bag of a location be staged at a depot; returns that depot.

    What is promised to its lines is free again, and the next plan looks for it there.

    Args:
        job: an open job.
        structure: one of its locations.
        depot: where its bag is staged from now on; the job's own is kept by naming nothing.
        seen: the depot as it was when it was looked at.
        actor: who changes it.
        at: the moment.
        reason: why; a job whose outage is frozen needs one.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``; ``unknown-job``; ``unknown-depot``; ``no-such-location``;
            ``stale-edit``: it is another depot meanwhile; ``bag-begun``; ``frozen``.
    """
    target = depot_named(depot)
    need_sheet(actor, SHEET, depots={seen, depot})
    lock_chain()
    found = Job.objects.select_for_update(of=("self",)).filter(job=job, ended="").first()
    if found is None:
        raise Refusal("unknown-job", f"There is no open job {job}.", {"job": job})
    if structure not in locations_of(found):
        raise Refusal("no-such-location", f"{job} has no location {structure}.", {"job": job, "structure": structure})
    before = bag_depots([found])
    now = before.get((job, structure), found.depot)
    if now != seen:
        message = f"The bag of {structure} is staged at {now} meanwhile, not at {seen}: look again."
        raise Refusal("stale-edit", message, {"now": {"depot": now}})
    if now != depot:
        note_depot(found, structure, target)
        happenings = bags_follow(before, [found], at=at)
        late = changes_after_freeze([job], reason=reason, what=f"the depot of the bag of {structure}")
        record_events([*happenings, *late], by=actor.name, at=at)
    return depot


def note_depot(job: Job, structure: str, depot: Depot) -> None:
    """Keep where the bag of a location is staged, inside the caller's transaction; the job's own needs no record."""
    kept = BagDepot.objects.filter(job=job, structure__structure=structure)
    if depot.depot == job.depot:
        kept.delete()
    elif not kept.update(depot=depot):
        BagDepot.objects.create(job=job, structure=Structure.objects.get(structure=structure), depot=depot)


def bags_follow(before: Depots, jobs: Collection[Job], *, at: datetime) -> list[Happening]:
    """Bags of jobs to the depots that are named now, and their promises free, inside the caller's transaction.

    Args:
        before: the depots that were named, by job and location.
        jobs: the jobs whose bags may have others now.
        at: the moment.

    Returns what is to be recorded of each bag that goes elsewhere.

    Raises:
        Refusal: ``bag-begun``: pieces of one lie at its depot, or it is out.
    """
    now, happenings = bag_depots(jobs), []
    depots = {depot.depot: depot for depot in Depot.objects.all()}
    for job in jobs:
        lines: Mapping[str, list[str]] | None = None
        places = {structure for name, structure in {**before, **now} if name == job.job}
        for structure in sorted(places):
            was, is_ = (found.get((job.job, structure), job.depot) for found in (before, now))
            if was == is_:
                continue
            happenings += _move(Bag.objects.filter(job=job, structure=structure).first(), depots[is_])
            lines = planned_lines(job) if lines is None else lines
            open_ = Promise.objects.filter(job=job, line__in=lines.get(structure, ()))
            freed = release(open_, why=f"its bag is staged at {is_}, not at {was}", at=at)
            told = {"structure": structure, "before": was, "after": is_, "promises_released": freed}
            happenings.append(Happening(CHANGED, job.job, told, addressed_to=STOREKEEPER, depot=is_))
    return happenings


def _move(bag: Bag | None, depot: Depot) -> list[Happening]:
    if bag is None or bag.depot_id == depot.pk or bag.state in (CLOSED, CANCELLED):
        return []
    if is_unbegun(contents_of([bag])[bag.pk]):
        return [stage_at(bag, depot)]
    how = "it is out" if bag.state in OUT else f"it is {bag.state}: put its pieces back, or send it there whole by van"
    message = f"The bag {bag} can't be staged at {depot} instead of {bag.depot}: {how}."
    raise Refusal("bag-begun", message, {"bag": str(bag), "state": bag.state})
