"""What lies in a bag or beside it, filled from the recorded bags: bag label, inner labels and night card."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import partial
from io import BytesIO

import pandas as pd
from reportlab.pdfgen.canvas import Canvas

from jobs.models import Job
from kitting.calculation.plan_result import PROMISE_COLUMNS, REQUIREMENT_COLUMNS, SPLIT_COLUMNS, JobAnswer, Plan
from kitting.calculation.quantities import as_decimal
from kitting.calculation.sheets.book import read_book
from kitting.documents.bag_labels import RecordedBag, paint_labels
from kitting.documents.card_pictures import CardPicture
from kitting.documents.inner_labels import InnerBag, inner_bags, paint_inner_labels, paint_no_inner_label
from kitting.documents.job_papers import SHELF, JobPaper, Line
from kitting.documents.job_papers import Bag as PlannedBag
from kitting.documents.label_sheets import open_sheets
from kitting.documents.lettering import open_canvas
from kitting.documents.nearest_pieces import NearestPieces
from kitting.documents.night_card import night_card
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.record_papers import Printed, pdf_bytes
from kitting.errors import Refusal
from kitting.models import BAG_LABEL, Bag, Picture
from kitting.selectors.bag_contents import Contents, LineStand, bare, contents_of, label_state
from kitting.selectors.pictures import digests_at, pictures_at_structures
from kitting.selectors.promises import open_promises
from kitting.selectors.sheets import sheets_from_records

SIZE_OF_PAPER = {"Letter": "4x6in", "A4": "A6"}
INNER_LABELS, NIGHT_CARD = "inner-labels", "night-card"
LABELS = (BAG_LABEL, INNER_LABELS)
MOST_PICTURES = 4  # on a card; those that came before are named
Row = tuple[object, ...]
Prints = Mapping[str, Printed]  # what each bag's paper says about its printing, by the bag's structure
_PLACE = PROMISE_COLUMNS.index("place")


@dataclass(frozen=True, slots=True)
class LabelContent:
    """What labels and cards of bags of a job say; the revision of a bag's prints is that of its own content.

    Args:
        job, title, cutover: whose.
        bags: each bag that they are wanted of.
        pieces: what lies in them or went on the line from them, as rows of promises that are kept.
    """

    job: str
    title: str
    cutover: str
    bags: tuple[RecordedBag, ...]
    pieces: tuple[Row, ...]

    @property
    def by_bag(self) -> "Mapping[str, LabelContent]":
        """The content of each bag alone, by its structure."""
        return {
            one.structure: replace(
                self, bags=(one,), pieces=tuple(row for row in self.pieces if row[_PLACE] == one.place)
            )
            for one in self.bags
        }


@dataclass(frozen=True, slots=True)
class LabelPapers:
    """Labels and cards of bags of a job.

    Args:
        content: what they say.
        papers: the records as papers read them; see ``recorded_papers``.
    """

    content: LabelContent
    papers: PlanPapers = field(repr=False)

    @property
    def paper(self) -> JobPaper:
        """The papers of the job."""
        return self.papers.paper(self.content.job)

    def bags_of(self, paper: JobPaper, *, packed: bool = False) -> Iterator[tuple[PlannedBag, RecordedBag]]:
        """The wanted bags as papers read them, each with the number that it has on the books.

        A ``packed`` one has only the pieces that lie in it, or went on the line from it; else those as well that are
        still promised to it.
        """
        wanted = {one.structure: one for one in self.content.bags}
        for bag in paper.bags:
            recorded = wanted.get(bag.structure)
            if recorded is not None:
                lines = tuple(_packed(line, recorded.place) for line in bag.lines) if packed else bag.lines
                yield replace(bag, number=recorded.number, lines=lines), recorded


def _packed(line: Line, place: str) -> Line:
    return replace(line, pieces=tuple(piece for piece in line.pieces if piece.place == place))


def label_papers(job: str, *, today: date, structure: str | None = None) -> LabelPapers:
    """What the labels and cards of a job's bags say, or those of one structure; ``today`` is the day of the stock.

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
    content = label_content(found, contents, structure)
    return LabelPapers(content, recorded_papers(contents, content.pieces, today=today))


def label_content(job: Job, contents: Sequence[Contents], structure: str | None = None) -> LabelContent:
    """What labels of a job's bags say, given the contents of all of them; or of the bag of one structure."""
    chosen = [one for one in contents if structure is None or one.bag.structure == structure]
    pieces = tuple(row for one in chosen for row in _pieces(one))
    return LabelContent(job.job, job.title, job.cutover, tuple(map(_recorded, chosen)), pieces)


def recorded_papers(contents: Sequence[Contents], pieces: Sequence[Row], *, today: date) -> PlanPapers:
    """The records as papers read a plan: lines of bags, what lies inside, and what is still promised from elsewhere.

    Args:
        contents: of all bags of one or several jobs.
        pieces: what lies in those that papers are wanted of, as rows of promises that are kept.
        today: day of the stock.
    """
    jobs = {one.bag.job.job: one.bag.job for one in contents}
    lines: dict[str, dict[str, object]] = {}
    for one in contents:
        for stand in one.lines:
            if not stand.line.dropped:
                lines.setdefault(stand.line.line, _facts(one.bag, stand))
    columns = [*REQUIREMENT_COLUMNS, SPLIT_COLUMNS["requirements"]]
    rows = [tuple(facts.get(name, "") for name in columns) for facts in lines.values()]
    still = open_promises().astype(object)
    elsewhere = still[~still["place"].isin([one.bag.place.code for one in contents])]
    inside, nothing = pd.DataFrame(pieces, columns=list(PROMISE_COLUMNS), dtype=object), pd.DataFrame()
    plan = Plan(
        as_of=today, book=read_book(sheets_from_records()),
        requirements=pd.DataFrame(rows, columns=columns, dtype=object),
        promises=pd.concat([inside, elsewhere]), shortages=nothing, reorder=nothing, refusals=nothing, cures=nothing,
        totals=nothing, questions=(), jobs=tuple(map(_answer, jobs.values())), summary={}, timings={},
    )  # fmt: skip
    return PlanPapers(plan, [*jobs])


def bag_labels_pdf(labels: LabelPapers, prints: Prints, *, sheets: bool = False) -> bytes:
    """The labels, a page each or more, in the size that goes with the owner's paper; or ``sheets`` of them."""
    file = BytesIO()
    canvas = label_canvas(file, f"Bag labels {labels.content.job}", _first(prints), sheets=sheets)
    paint_bag_labels(canvas, labels, prints)
    canvas.save()
    return file.getvalue()


def paint_bag_labels(canvas: Canvas, labels: LabelPapers, prints: Prints) -> None:
    """Draw the labels, each on a page of its own or more."""
    paper = labels.paper
    for bag, recorded in labels.bags_of(paper):
        printed = prints[bag.structure]
        size, papers = SIZE_OF_PAPER[printed.paper], labels.papers.as_printed(printed)
        paint_labels(canvas, papers, paper, bag, size=size, words=printed.words, recorded=recorded)


def inner_labels_pdf(labels: LabelPapers, prints: Prints, *, sheets: bool = False) -> bytes:
    """The labels of the inner bags, with the lots that lie inside; a page each, or ``sheets`` of them."""
    file = BytesIO()
    canvas = label_canvas(file, f"Inner labels {labels.content.job}", _first(prints), sheets=sheets)
    drawn = [
        paint_inner_labels(canvas, labels.papers.as_printed(prints[bag.structure]), bag, recorded)
        for bag, recorded in labels.bags_of(labels.paper, packed=True)
    ]
    if not sum(drawn):
        paint_no_inner_label(canvas, labels.papers, labels.content.job)
    canvas.save()
    return file.getvalue()


def label_canvas(file: BytesIO, title: str, printed: Printed, *, sheets: bool) -> Canvas:
    """Where labels are drawn: a page each, or sheets of them."""
    return open_sheets(file, title, printed.paper) if sheets else open_canvas(file, title)


def night_cards_pdf(labels: LabelPapers, prints: Prints) -> bytes:
    """The night cards, with the lots that lie inside by end and phase."""
    paper, nearest = labels.paper, NearestPieces(labels.papers)
    pictures = pictures_at_structures([one.structure for one in labels.content.bags], with_content=MOST_PICTURES)
    cards = []
    for bag, recorded in labels.bags_of(paper, packed=True):
        printed = prints[bag.structure]
        papers = labels.papers.as_printed(printed)
        of_bag = [CardPicture(_caption(one, printed), content) for one, content in pictures.get(bag.structure, ())]
        cards.append(night_card(papers, nearest, paper, bag, printed.words, recorded, of_bag))
    return pdf_bytes(cards, f"Night cards {labels.content.job}")


def _caption(one: Picture, printed: Printed) -> str:
    at = one.at.astimezone(printed.at.tzinfo if printed.at else UTC)
    return " · ".join(filter(None, (one.place, one.note, f"picture {one.pk}", f"{at:%Y-%m-%d}")))


def contents_to_print(name: str, labels: LabelPapers) -> Mapping[str, object]:
    """What each bag's paper of this name shows, by the bag's structure: the revision of its prints is made from it."""
    by_bag = labels.content.by_bag
    digests = digests_at(by_bag) if name == NIGHT_CARD else {}
    return {place: (one, digests[place]) if place in digests else one for place, one in by_bag.items()}


def _first(prints: Prints) -> Printed:
    return next(iter(prints.values()))


BAG_PAPERS: Mapping[str, Callable[[LabelPapers, Prints], bytes]] = {
    BAG_LABEL: bag_labels_pdf,
    INNER_LABELS: inner_labels_pdf,
    NIGHT_CARD: night_cards_pdf,
}
ON_SHEETS: Mapping[str, Callable[[LabelPapers, Prints], bytes]] = {
    BAG_LABEL: partial(bag_labels_pdf, sheets=True),
    INNER_LABELS: partial(inner_labels_pdf, sheets=True),
}


def _recorded(one: Contents) -> RecordedBag:
    surplus: dict[str, int] = defaultdict(int)
    for stand in one.lines:
        if stand.too_many and stand.open and stand.line.item:
            surplus[stand.line.item.stock_code] += stand.too_many
    told = tuple(f"{bare(number)} {code}" for code, number in surplus.items())
    return RecordedBag(one.bag.structure, one.bag.number, label_state(one), one.bag.revision, told, one.bag.place.code)


def _pieces(one: Contents) -> Iterator[Row]:
    """The pieces in a bag and those that were installed from it, as kept promises of its place."""
    place = one.bag.place
    for stand in one.lines:
        for number in sorted({*stand.inside, *stand.fitted}):
            lot, left = one.lots[number], stand.inside[number] + stand.fitted[number]
            if left > 0:
                yield (
                    stand.line.line, one.bag.job.job, lot.item.stock_code, lot.number, one.bag.depot.depot, place.code,
                    as_decimal(left), SHELF, "", "", "",
                )  # fmt: skip


def _facts(bag: Bag, stand: LineStand) -> dict[str, object]:
    """The requirement line of the plan; what an emergency or a pre-made kit asks for without one says it itself."""
    line = stand.line
    item = {"stock_code": line.item.stock_code, "unit": line.item.stock_unit} if line.item else {}
    quantity: Decimal = as_decimal(line.quantity)
    own = {"line": line.line, "job": bag.job.job, "structure": bag.structure, "quantity": quantity,
           "spare": "yes" if line.spare else "no", "answer": "ready"}  # fmt: skip
    return {**own, **item, **line.facts, SPLIT_COLUMNS["requirements"]: bag.depot.depot}


def _answer(job: Job) -> JobAnswer:
    cutover = datetime.fromisoformat(job.cutover) if job.cutover else None
    return JobAnswer(job.job, job.title, job.depot, "", "", "", {}, "", None, cutover, "")


def inner_bags_of(bag: Bag, today: date) -> list[InnerBag]:
    """The inner bags of a bag as their labels say them, with the lots that lie in the bag now."""
    labels = label_papers(bag.job.job, today=today, structure=bag.structure)
    return [one for packed, _ in labels.bags_of(labels.paper, packed=True) for one in inner_bags(packed)]


def inner_bag_of(bag: Bag, number: int, today: date) -> InnerBag:
    """One of them by its number, from 1.

    Raises:
        Refusal: ``unknown-inner-bag``.
    """
    found = inner_bags_of(bag, today)
    if not 1 <= number <= len(found):
        raise Refusal("unknown-inner-bag", f"{bag} has {len(found)} inner bags, no number {number}.", {})
    return found[number - 1]
