"""All bag labels of a day in one file, in the order of the rack."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from io import BytesIO
from itertools import chain

from django.db.models import QuerySet

from kitting.calculation.bag_states import CHECKED, IN_STORE, LISTED, ON_HOLD, STAGED
from kitting.calculation.natural_order import natural_key
from kitting.documents.label_records import (
    LabelContent,
    LabelPapers,
    label_canvas,
    label_content,
    paint_bag_labels,
    recorded_papers,
)
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.record_papers import Printed
from kitting.models import Bag
from kitting.selectors.bag_contents import Contents, contents_of, label_code
from kitting.selectors.promises import staged_days

CUTOVER, STAGED_BY = "cutover", "staged by"
DAYS = (CUTOVER, STAGED_BY)  # what a day may be of the bags whose labels are printed together
_ON_RACK = (CHECKED, STAGED)
LABELLED = (LISTED, *IN_STORE, ON_HOLD)


@dataclass(frozen=True, slots=True)
class DayLabel:
    """The label of one bag, and where on the rack the bag is, '' while it has no place there.

    ``of_job`` are the contents of all bags of its job.
    """

    content: LabelContent
    bag: Bag
    rack: str
    of_job: Sequence[Contents] = field(repr=False)

    @property
    def code(self) -> str:
        """Number on the label."""
        return label_code(self.bag)


def labels_of_day(*, depot: str, day: date, of: str = CUTOVER) -> list[DayLabel]:
    """The labels of all bags in a depot's store whose cutover, or last day to be staged, is a day.

    They come in the order of the rack, and then those that have no place there by job and number.
    """
    found = Bag.objects.filter(depot__depot=depot, state__in=LABELLED)
    if of == CUTOVER:
        found = found.filter(job__cutover__startswith=day.isoformat())
    else:
        found = found.filter(job__job__in=[job for job, staged in staged_days().at(depot).items() if staged == day])
    return labels_of_bags(found)


def labels_of_bags(found: QuerySet[Bag]) -> list[DayLabel]:
    """The labels of bags in the order of the rack, however many with as many queries."""
    wanted = {*found.values_list("pk", flat=True)}
    bags = Bag.objects.filter(job__in=found.values("job")).select_related("job", "depot", "place").order_by("number")
    by_job: dict[int, list[Contents]] = defaultdict(list)
    for one in contents_of(bags).values():
        by_job[one.bag.job_id].append(one)
    labels = [
        DayLabel(label_content(one.bag.job, of_job, one.bag.structure), one.bag, rack_of(one.bag), of_job)
        for of_job in by_job.values()
        for one in of_job
        if one.bag.pk in wanted
    ]  # fmt: skip
    return sorted(labels, key=lambda one: rack_order(one.bag))


def rack_of(bag: Bag) -> str:
    """Where on the rack a bag is, '' while it has no place there."""
    state = bag.state_before_hold if bag.state == ON_HOLD else bag.state
    return bag.whereabouts if state in _ON_RACK else ""


def rack_order(bag: Bag) -> tuple[object, ...]:
    """In the order of the rack, and then those that have no place there by job and number."""
    rack = rack_of(bag)
    return not rack, natural_key(rack), natural_key(bag.job.job), bag.number


def days_ahead(depot: str, today: date) -> list[date]:
    """Days from today on at which bags in a depot's store have their cutover, the first one first; one query."""
    found = Bag.objects.filter(depot__depot=depot, state__in=LABELLED, job__cutover__gte=today.isoformat())
    return sorted({date.fromisoformat(text[:10]) for text in found.values_list("job__cutover", flat=True)})


def papers_of(labels: Sequence[DayLabel], today: date) -> PlanPapers:
    """The records as papers read them, for all these bags at once."""
    contents = {one.bag.job_id: one.of_job for one in labels}
    pieces = [row for one in labels for row in one.content.pieces]
    return recorded_papers([*chain(*contents.values())], pieces, today=today)


def day_labels_pdf(
    labels: Sequence[DayLabel], prints: Mapping[str, Printed], *, title: str, today: date, sheets: bool = False
) -> bytes:
    """Labels in one file, a page each or more, or ``sheets`` of them.

    Args:
        labels: in the order of printing; one at least.
        prints: what each says about its printing, by its bag as people call it.
        title: of the file.
        today: day of the stock.
        sheets: several on each sheet of the owner's paper.
    """
    papers, file = papers_of(labels, today), BytesIO()
    canvas = label_canvas(file, title, prints[str(labels[0].bag)], sheets=sheets)
    for one in labels:
        paint_bag_labels(canvas, LabelPapers(one.content, papers), {one.bag.structure: prints[str(one.bag)]})
    canvas.save()
    return file.getvalue()
