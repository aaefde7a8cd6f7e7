"""Pieces that lie ready for jobs."""

from collections.abc import Set

from inventory.models import BAG, STAGING, Balance
from kitting.models import Bag

Spot = tuple[str, str]  # job, structure; '' is the job as a whole


def bags_at(spots: Set[Spot]) -> tuple[str, ...]:
    """Bags and staging places with pieces for one of these spots, by name; one query.

    A place kept for a job without a structure holds pieces for all of them.
    """
    found = Balance.objects.filter(
        place__kind__in=(BAG, STAGING), place__job__in={job for job, _ in spots}, quantity__gt=0
    )
    rows = found.values_list("place__depot__depot", "place__code", "place__job", "place__structure").distinct()
    jobs = {job for job, _ in spots}
    return tuple(
        sorted(
            f"{depot}/{code} ({' '.join(filter(None, (job, structure)))})"
            for depot, code, job, structure in rows
            if (job, structure) in spots or (not structure and job in jobs)
        )
    )


def codes_of_bags(spots: Set[Spot]) -> tuple[str, ...]:
    """The codes of the bags of these spots, whatever is in them; one query."""
    found = Bag.objects.filter(job__job__in={job for job, _ in spots}).values_list("code", "job__job", "structure")
    return tuple(sorted(code for code, *spot in found if tuple(spot) in spots))
