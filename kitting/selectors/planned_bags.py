"""Bags that the plan applied last has a label for and that nobody has listed yet."""

from collections import defaultdict

from jobs.models import Job
from kitting.calculation.natural_order import natural_key
from kitting.calculation.short_codes import bag_code, make_code, verified
from kitting.errors import Refusal
from kitting.models import PlanRow
from kitting.selectors.cutovers import last_plan
from kitting.selectors.old_labels import label_number


def planned_job(scanned: str) -> tuple[str, str] | None:
    """Job and location of a bag that only the plan knows, by the number on its label; None where it knows none such.

    The bags of a plan are numbered by their locations, as ``assign_bags`` does.
    """
    try:
        plain = verified(label_number(scanned))
    except Refusal:
        return None
    jobs = [job for job in Job.objects.values_list("job", flat=True) if plain.startswith(verified(make_code(job)))]
    found = PlanRow.objects.filter(plan=last_plan(), table="requirements", job__in=jobs).order_by("job")
    locations: dict[str, set[str]] = defaultdict(set)
    for job, structure in found.values_list("job", "cells__structure").distinct():
        locations[job] |= {structure} if structure else set()
    for job, structures in locations.items():
        for number, structure in enumerate(sorted(structures, key=natural_key) or [""], 1):
            if verified(bag_code(job, structure, number)) == plain:
                return job, structure
    return None


def not_listed(job: str, structure: str) -> str:
    """What is to be said of such a bag."""
    bag = f"{job} {structure}".strip()
    return f"OF THIS PLAN, NOT LISTED YET: list the bags of {job}, then this is the label of {bag}."


def unknown_bag(*codes: str) -> Refusal:
    """Why no bag of the books has one of these numbers: it is not listed yet, or it is none of ours."""
    planned = [not_listed(*found) for found in map(planned_job, codes) if found]
    message = planned[0] if planned else f"No bag of these books has the number {', '.join(codes)}."
    return Refusal("unknown-bag", message, {"codes": [*codes]})
