"""Inner-bag labels, 2 x 1 in: one inner bag for each end and phase, with its parts and lots, readable at 0.5 m."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from kitting.calculation.short_codes import bag_code
from kitting.documents.bag_labels import RecordedBag, bag_revision
from kitting.documents.job_papers import Bag, End, JobPaper, Share, number_text, shares
from kitting.documents.lettering import Style, fitted, open_canvas, put, style_for_caps, width, wrapped
from kitting.documents.marks import draw_demo
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.square_codes import draw_code

PAGE_MM = (50.8, 25.4)
MARGIN_MM, BASE_MM = 1.3, 1.9  # J and Q hang below the base line
CODE_MM = 15.0  # with its quiet zone
CAPS_MM = 2.32  # 16 minutes of arc at 0.5 m is 2.3 mm (NUREG-0700 rev. 3)
HEAD = style_for_caps(3.3, bold=True, stretch=0.85, pitch=1.1)
TEXT = style_for_caps(CAPS_MM, stretch=0.8, pitch=1.1)
TEXT_BOLD = style_for_caps(CAPS_MM, bold=True, stretch=0.78, pitch=1.1)
WIDTH = (PAGE_MM[0] - 2 * MARGIN_MM) * mm
TOP = (PAGE_MM[1] - MARGIN_MM) * mm
BESIDE = WIDTH - CODE_MM * mm
Row = tuple[str, Style]


@dataclass(frozen=True, slots=True)
class InnerBag:
    """An inner bag: where it goes, which phase, and what is in it."""

    bag: Bag
    number: int
    title: str
    subtitle: str
    shares: tuple[Share, ...]

    @property
    def code(self) -> str:
        """Readable number with check characters."""
        return bag_code(self.bag.job, self.bag.structure, self.bag.number, self.number)


def inner_bags(bag: Bag) -> list[InnerBag]:
    """The inner bags of a bag: end by end, phases in A, B, C order, what serves all phases last; then the spares."""
    found = [part for end in bag.ends for part in _of_end(end)]
    spares = tuple(share for line in bag.spares for share in shares(line) if share.piece)
    if spares:
        found.append((f"{bag.structure} SPARES".strip(), "spare parts", spares))
    return [InnerBag(bag, number, *part) for number, part in enumerate(found, 1)]


def _of_end(end: End) -> Iterator[tuple[str, str, tuple[Share, ...]]]:
    by_phase: dict[str, list[Share]] = {}
    for line in end.lines:
        for share in shares(line):
            by_phase.setdefault(share.phase, []).append(share)
    run = f"run {end.run}" if end.run else ""
    subtitle = " · ".join(part for part in (run, end.conductor) if part)
    for phase in sorted(by_phase, key=lambda phase: (not phase, phase)):
        title = f"{end.name} PHASE {phase}" if phase else f"{end.name} ALL PHASES" if end.phases else end.name
        yield title, subtitle, tuple(by_phase[phase])


def part_text(share: Share) -> str:
    """Quantity, stock code, lot, and the mark of a stand-in or of what is missing."""
    unit = "" if share.line.unit == "ea" else f" {share.line.unit}"
    count = f"{number_text(share.quantity)}{unit}"
    if share.piece is None:
        return f"SHORT {count} {share.line.stock_code or share.line.kind}"
    stand_in = f" STAND-IN for {share.piece.stand_in_for}" if share.piece.stand_in_for else ""
    return f"{count} {share.piece.stock_code}{stand_in} {share.piece.lot}".rstrip()


def _labels(inner: InnerBag, reprint: str, by: str, room: float) -> list[list[Row]]:
    """The lines of each label of an inner bag; the code leaves less room beside it than below it.

    Each label begins with the head, as much of it as leaves room for a part; what doesn't stands on the first alone,
    as does ``by`` whom it is printed, where the foot has no room for that.
    """
    style, titles = fitted(inner.title, HEAD, BESIDE, TEXT.size)
    title = [(line, style) for line in titles]
    below = " · ".join(filter(None, (reprint, inner.subtitle)))
    opening = title + [(line, TEXT_BOLD) for line in (wrapped(below, TEXT_BOLD, BESIDE) if below else ())]
    parts = [part_text(share) for share in inner.shares]
    tallest = max((_height(_set(text, title)) for text in parts), default=0)
    heads = (opening, [*title, (reprint, TEXT_BOLD)] if reprint else title, title)
    rooms = ((one, wanted) for wanted in (max(tallest, 2 * TEXT.leading), tallest) for one in heads)
    head = next((one for one, wanted in rooms if _height(one) + wanted <= room), [])
    pages: list[list[Row]] = [list(head) if head == opening else []]
    items: list[str | list[Row]] = [[row] for row in opening if head != opening]
    for given in (*items, *filter(None, (by,)), *parts):
        rows = given if isinstance(given, list) else _set(given, pages[-1])
        if _height(pages[-1] + rows) > room and pages[-1] not in (head, []):
            pages.append(list(head))
            rows = given if isinstance(given, list) else _set(given, head)
        pages[-1] += rows
    return pages


def _set(text: str, page: Sequence[Row]) -> list[Row]:
    beside = _height(page) < CODE_MM * mm
    return [(line, TEXT) for line in wrapped(text, TEXT, BESIDE if beside else WIDTH)]


def _height(page: Sequence[Row]) -> float:
    return sum(style.leading for _, style in page)


def _foot(papers: PlanPapers, revision: str) -> tuple[str, str]:
    """Revision, moment (by the depot's clock) and person of the printing, and the person alone where one line is short.

    Both are '' where nobody prints.
    """
    printed = papers.printed
    if printed is None:
        return "", ""
    moment = f"{printed.at:%Y-%m-%d %H:%M}" if printed.at else printed.moment
    stood = f"REV {revision} · {moment}"
    whole = f"{stood} {printed.person}"
    return (whole, "") if width(whole, TEXT) <= WIDTH else (stood, f"by {printed.person}")


def _paint(canvas: Canvas, inner: InnerBag, lines: Sequence[Row], foot: str, count: str) -> None:
    left = MARGIN_MM * mm
    draw_code(canvas, left + BESIDE, TOP - CODE_MM * mm, inner.code, CODE_MM)
    y = TOP
    for text, style in lines:
        put(canvas, left, y - style.cap_mm * mm, text, style)
        y -= style.leading
    put(canvas, left, BASE_MM * mm + TEXT.leading, foot, TEXT)
    put(canvas, left, BASE_MM * mm, inner.code, TEXT_BOLD)
    put(canvas, left + WIDTH, BASE_MM * mm, count, TEXT_BOLD, align="right")


def paint_inner_labels(canvas: Canvas, papers: PlanPapers, bag: Bag, recorded: RecordedBag | None = None) -> int:
    """Draw the inner labels of one bag, a page each; gives how many there are."""
    (foot, by), drawn = _foot(papers, bag_revision(bag, recorded)), 0
    demo = papers.plan.book.policies.demo
    room = TOP - (BASE_MM + TEXT_BOLD.cap_mm + 0.7) * mm - (TEXT.leading if foot else 0)
    for one in inner_bags(bag):
        labels = _labels(one, papers.reprint, by, room)
        for number, lines in enumerate(labels, 1):
            _open_page(canvas, demo=demo)
            _paint(canvas, one, lines, foot, f"{'DEMO ' if demo else ''}{number} OF {len(labels)}")
            canvas.showPage()
            drawn += 1
    return drawn


def paint_no_inner_label(canvas: Canvas, papers: PlanPapers, job: str) -> None:
    """A label that says that there is none."""
    demo = papers.plan.book.policies.demo
    _open_page(canvas, demo=demo)
    text = f"{'DEMO ' if demo else ''}{job}: no part is chosen yet, no inner bag"
    for position, line in enumerate(wrapped(text, HEAD, WIDTH)):
        put(canvas, MARGIN_MM * mm, TOP - HEAD.size - position * HEAD.leading, line, HEAD)
    canvas.showPage()


def write_inner_labels(path: Path, papers: PlanPapers, paper: JobPaper) -> Path:
    """All inner labels of a job in one file, in the order of bags, ends and phases; one label saying so if none."""
    canvas = open_canvas(path, f"Inner labels {paper.answer.job}")
    if not sum([paint_inner_labels(canvas, papers, bag) for bag in paper.bags]):
        paint_no_inner_label(canvas, papers, paper.answer.job)
    canvas.save()
    return path


def _open_page(canvas: Canvas, *, demo: bool) -> None:
    across, down = (side * mm for side in PAGE_MM)
    canvas.setPageSize((across, down))
    if demo:
        draw_demo(canvas, across, down, 20)
    canvas.setFillGray(0)
