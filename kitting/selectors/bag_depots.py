"""At which depot each bag of a job is staged, where that is not the job's own, and which locations a job has."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pandas as pd
from django.db.models import Q

from jobs.models import Job, Position, Run
from kitting.calculation.bags import assign_bags
from kitting.calculation.natural_order import natural_key
from kitting.models import AddedLine, AppliedPlan, Bag, BagDepot, PlanRow


def bag_depots(jobs: Iterable[Job | int]) -> dict[tuple[str, str], str]:
    """(job, location) -> depot, for each that is named; one query."""
    found = BagDepot.objects.filter(job__in=jobs).values_list("job__job", "structure__structure", "depot__depot")
    return {(job, structure): depot for job, structure, depot in found}


def locations_of(job: Job) -> list[str]:
    """Where runs of a job's live schedule end, its positions stand, or lines are added by hand; three queries."""
    runs = Run.objects.filter(revision__job=job, revision__live=True)
    ends = runs.values_list("from_position__structure__structure", "to_position__structure__structure")
    found = {name for pair in ends for name in pair}
    found |= {*Position.objects.filter(job=job).values_list("structure__structure", flat=True)}
    found |= {*AddedLine.objects.filter(job=job).values_list("structure", flat=True)}
    return sorted(found, key=natural_key)


@dataclass(frozen=True, slots=True)
class StagedBag:
    """Where the bag of a location is staged; ``bag`` is None where nobody has listed it yet."""

    structure: str
    depot: str
    bag: Bag | None


def staged_bags(job: Job) -> list[StagedBag]:
    """The locations of a job, each with the depot at which its bag is staged; five queries."""
    named = bag_depots([job])
    bags = {bag.structure: bag for bag in Bag.objects.filter(job=job).select_related("job", "depot")}
    return [
        StagedBag(structure, named.get((job.job, structure), job.depot), bags.get(structure))
        for structure in locations_of(job)
    ]


def planned_lines(job: Job) -> Mapping[str, list[str]]:
    """The lines of the plan applied last by the location whose bag they go into; two queries."""
    plan = AppliedPlan.objects.order_by("-pk").first()
    rows = PlanRow.objects.filter(Q(plan=plan), table="requirements", job=job.job).order_by("position")
    cells = [*rows.values_list("cells", flat=True)]
    found: dict[str, list[str]] = {}
    for spot in assign_bags(pd.DataFrame(cells)).to_dict("records") if cells else ():
        found.setdefault(spot["structure"], []).append(spot["line"])
    return found
