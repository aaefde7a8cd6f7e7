"""Where each bag of a job is staged, on the page of the job, and the form that changes it."""

from collections.abc import Mapping

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Depot
from jobs.models import Job
from kitting.pages.asked import Asked, attempt
from kitting.pages.bag_forms import Field
from kitting.pages.tables import Cell, Table, link
from kitting.pages.typed import back_with_typed
from kitting.roles import DO
from kitting.selectors.bag_contents import label_code
from kitting.selectors.bag_depots import StagedBag, staged_bags
from kitting.selectors.cutovers import Cutover
from kitting.services.bag_depots import change_bag_depot

_SEPARATOR = "|"  # between a location and its depot as it was shown


def bags_of_job(asked: Asked, job: Job, state: Cutover) -> Mapping[str, object]:
    """The table of a job's bags by location, and for who plans the fields of the form; six queries."""
    staged = staged_bags(job)
    heads = ("Location", "Depot", "Staged by", "Bag")
    rows = [
        [one.structure, one.depot, state.days.get(one.depot) or state.staged_by or "–", _bag(one)] for one in staged
    ]
    may = bool(staged) and not job.ended and asked.actor.may("job dates", DO)
    table = Table("Where its bags are staged", heads, rows, "It has no location yet.")
    return {"table": table, "fields": [*_fields(asked, staged)] if may else ()}


def _bag(one: StagedBag) -> Cell:
    if one.bag is None:
        return Cell("not listed yet")
    elsewhere = f"still at {one.bag.depot}" if one.bag.depot.depot != one.depot else ""
    return link(one.bag.state, "bag", label_code(one.bag), note=one.bag.whereabouts or elsewhere)


def _fields(asked: Asked, staged: list[StagedBag]) -> list[Field]:
    locations = [(f"{one.structure}{_SEPARATOR}{one.depot}", f"{one.structure}, now at {one.depot}") for one in staged]
    depots = [(one.depot, f"{one.depot} {one.name}".strip()) for one in Depot.objects.order_by("depot")]
    return [
        Field("location", "Location", asked.text("location"), options=locations),
        Field("depot", "Its bag is staged at", asked.text("depot"), options=depots),
        Field("reason", "Why; needed after the freeze", asked.text("reason"), required=False),
    ]


def change(asked: Asked, job: str) -> HttpResponse:
    """Let the bag of a location be staged at another depot."""
    here = reverse("job", args=[job])

    def deed() -> tuple[str, str]:
        structure, _, seen = asked.text("location").rpartition(_SEPARATOR)
        depot = change_bag_depot(
            job=job, structure=structure, depot=asked.text("depot"), seen=seen, actor=asked.actor, at=asked.at,
            reason=asked.text("reason"),
        )  # fmt: skip
        return "KEPT", f"The bag of {structure} is staged at {depot}. Plan and apply, so that its pieces come there."

    return attempt(asked, deed, here, back=back_with_typed(asked, here))
