"""Bag labels filled from the recorded bags: their state as it is, and the lots that are inside."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from io import BytesIO

import pandas as pd

from jobs.models import Job
from kitting.calculation.plan_result import PROMISE_COLUMNS, REQUIREMENT_COLUMNS, JobAnswer, Plan
from kitting.calculation.quantities import as_decimal
from kitting.calculation.sheets.book import read_book
from kitting.documents.bag_labels import RecordedBag, paint_labels
from kitting.documents.inner_labels import InnerBag, inner_bags
from kitting.documents.job_papers import SHELF
from kitting.documents.lettering import open_canvas
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.record_papers import Printed, moment_text
from kitting.errors import Refusal
from kitting.models import Bag
from kitting.selectors.bag_contents import Contents, contents_of, label_state
from kitting.selectors.promises import open_promises
from kitting.selectors.sheets import sheets_from_records

SIZE_OF_PAPER = {"Letter": "4x6in", "A4": "A6"}
Row = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class LabelPapers:
    """Labels of bags of a job.

    Args:
        job: whose.
        bags: structure, state as the label says it, and schedule revision of each bag to be labelled.
        pieces: what lies in the job's bags, as rows of promises that are kept.
        papers: the job's lines as papers read them.
    """

    job: str
    bags: tuple[tuple[str, str, str], ...]
    pieces: tuple[Row, ...]
    papers: PlanPapers = field(repr=False)


def label_papers(job: str, *, today: date, structure: str | None = None) -> LabelPapers:
    """What the labels of a job's bags say, or that of the bag of one structure; ``today`` is the day of the stock.

    Raises:
        Refusal: ``unknown-job``; ``no-bags``: nobody has listed them.
    """
    found = Job.objects.filter(job=job).first()
    if found is None:
        raise Refusal("unknown-job", f"There is no job {job}.", {"job": job})
    bags = [*Bag.objects.filter(job=found).select_related("job", "depot", "place").order_by("number")]
    if not bags:
        raise Refusal("no-bags", f"{job} has no bags on the books: list them first.", {"job": job})
    contents = [*contents_of(bags).values()]
    pieces = tuple(row for one in contents for row in _pieces(one))
    named = tuple(
        (one.bag.structure, label_state(one), one.bag.revision)
        for one in contents
        if structure is None or one.bag.structure == structure
    )
    return LabelPapers(job, named, pieces, PlanPapers(_plan(found, contents, pieces, today), [job]))


def bag_labels_pdf(labels: LabelPapers, printed: Printed) -> bytes:
    """The labels, a page each or more, in the size that goes with the owner's paper."""
    paper = labels.papers.paper(labels.job)
    when = f"printed at {moment_text(printed.at) if printed.at else 'time unknown'} by {printed.by}"
    recorded = {
        structure: RecordedBag(state, revision, printed.reprint, when) for structure, state, revision in labels.bags
    }
    file = BytesIO()
    canvas = open_canvas(file, f"Bag labels {labels.job}")
    for bag in paper.bags:
        if bag.structure in recorded:
            paint_labels(
                canvas, labels.papers, paper, bag, size=SIZE_OF_PAPER[printed.paper], words=printed.words,
                recorded=recorded[bag.structure],
            )  # fmt: skip
    canvas.save()
    return file.getvalue()


def _pieces(one: Contents) -> Iterator[Row]:
    """The pieces in a bag, as kept promises of its place."""
    place = one.bag.place
    for stand in one.lines:
        for number, left in sorted(stand.inside.items()):
            lot = one.lots[number]
            if left > 0:
                yield (
                    stand.line.line, one.bag.job.job, lot.item.stock_code, lot.number, one.bag.depot.depot, place.code,
                    as_decimal(left), SHELF, "", "",
                )  # fmt: skip


def _plan(job: Job, contents: Sequence[Contents], pieces: Sequence[Row], today: date) -> Plan:
    """The records as the papers read a plan: lines of the bags, what lies inside, and what is still promised."""
    book = read_book(sheets_from_records())
    lines = {stand.line.line: stand.line.facts for one in contents for stand in one.lines if not stand.line.dropped}
    rows = [tuple(facts.get(name, "") for name in REQUIREMENT_COLUMNS) for facts in lines.values()]
    still = open_promises()
    kept = pd.DataFrame(pieces, columns=list(PROMISE_COLUMNS), dtype=object)
    nothing = pd.DataFrame()
    return Plan(
        as_of=today, book=book, requirements=pd.DataFrame(rows, columns=list(REQUIREMENT_COLUMNS), dtype=object),
        promises=pd.concat([kept, still[still["job"] == job.job].astype(object)]), shortages=nothing, reorder=nothing,
        refusals=nothing, cures=nothing, totals=nothing, questions=(), jobs=(_answer(job),), summary={}, timings={},
    )  # fmt: skip


def _answer(job: Job) -> JobAnswer:
    cutover = datetime.fromisoformat(job.cutover) if job.cutover else None
    return JobAnswer(job.job, job.title, job.depot, "", "", "", {}, "", None, cutover, "")


def inner_bag_of(bag: Bag, number: int, today: date) -> InnerBag:
    """An inner bag as its label says it, with the lots that lie in the bag now.

    Raises:
        Refusal: ``unknown-inner-bag``.
    """
    paper = label_papers(bag.job.job, today=today, structure=bag.structure).papers.paper(bag.job.job)
    found = [one for of in paper.bags if of.structure == bag.structure for one in inner_bags(of)]
    if not 1 <= number <= len(found):
        raise Refusal("unknown-inner-bag", f"{bag} has {len(found)} inner bags, no number {number}.", {})
    return found[number - 1]
