"""The bag label: one for each location, readable at 1.5 m standing over the bag, on 4 x 6 in or A6.

Letter heights follow a limit of 16 minutes of arc (NUREG-0700 rev. 3): 7.0 mm at 1.5 m, 3.3 mm at 0.7 m and 2.3 mm at
0.5 m.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from kitting.calculation.answers import NO_RULE, READY, READY_IF, SHORT
from kitting.documents.cautions import SENTENCES
from kitting.documents.diameters import spans_text
from kitting.documents.job_papers import Bag, End, JobPaper, answer_details, number_text, shares
from kitting.documents.layout import Drawing
from kitting.documents.lettering import Style, fitted, open_canvas, put, style_for_caps, wrapped
from kitting.documents.marks import draw_answer, draw_check_bar, draw_demo
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.square_codes import draw_code, full_size_mm
from kitting.documents.wording import Words

SIZES_MM = {"4x6in": (101.6, 152.4), "A6": (105.0, 148.0)}
DESIGN_MM = (95.0, 141.0)  # both sizes hold it with margins of 3 mm and more
LOCATION_CAPS_MM, LOCATION_LARGEST_MM = 7.05, 14.0  # a little above the limits, for rounding
ROW_CAPS_MM, SMALL_CAPS_MM, STATE_CAPS_MM = 3.32, 2.32, 4.72
SYMBOL_MM = 25.5
LONGEST_CODE = 106  # bytes that a code of 41 modules holds at level M (ISO/IEC 18004)
LOCATION = style_for_caps(LOCATION_LARGEST_MM, bold=True, stretch=0.9, pitch=1.0)
STATE = style_for_caps(STATE_CAPS_MM, bold=True, stretch=0.85, pitch=1.1)
BIG_ROW = style_for_caps(ROW_CAPS_MM, bold=True, stretch=0.85, pitch=1.1)
ROW = style_for_caps(ROW_CAPS_MM, stretch=0.8, pitch=1.1)
SMALL = style_for_caps(SMALL_CAPS_MM, stretch=0.82, pitch=1.15)
SMALL_BOLD = replace(SMALL, bold=True)
WIDTH, HEIGHT = DESIGN_MM[0] * mm, DESIGN_MM[1] * mm
MOST_SPARES_NAMED = 4
NO_BAG = "no line, no bag"
NUMBER_MM, BAR_MM = 5.5, 5.0
INDENT = 5 * mm


@dataclass(frozen=True, slots=True)
class RecordedBag:
    """A bag as the books have it, for a label that says more than the plan.

    Args:
        structure: its location.
        number: of the bag in its job.
        state: ``FULL``, ``SHORT: 1 JS-3``, ``ON HOLD``, or the state's word where it is none of these.
        revision: schedule revision that the bag was listed for; '' keeps the plan's.
        surplus: pieces inside that no line wants, in words.
        place: of the bag, as the books name it.
    """

    structure: str
    number: int
    state: str
    revision: str = ""
    surplus: tuple[str, ...] = ()
    place: str = ""

    @property
    def shape(self) -> str:
        """The answer whose shape stands beside the state."""
        shapes = {"FULL": READY, "SHORT": SHORT, "ON HOLD": NO_RULE}
        return shapes.get(self.state.split(":")[0], READY_IF)


class Label:
    """Lines of one bag's label from top to bottom, on as many labels as they need."""

    def __init__(self, head: Sequence[tuple[str, Style]], room: float) -> None:
        self._room = room
        self.pages: list[list[Drawing]] = [[]]
        self._head = head
        self._y = 0.0

    def line(self, text: str, style: Style, *, indent: float = 0, gap_mm: float = 0, answer: str = "") -> None:
        """One line; on a fresh label it stands below the repeated head. ``answer`` draws its shape before the line."""
        if self._y + style.leading + gap_mm * mm > self._room:
            self.pages.append([])
            self._y = 0.0
            for repeated, repeated_style in self._head:
                self._add(repeated, repeated_style, 0, 0, "")
            gap_mm = 1.5
        self._add(text, style, indent, gap_mm, answer)

    def _add(self, text: str, style: Style, indent: float, gap_mm: float, answer: str) -> None:
        top = self._y + gap_mm * mm
        base = HEIGHT - top - style.cap_mm * mm
        self._y = top + style.leading

        def drawing(canvas: Canvas) -> None:
            put(canvas, indent, base, text, style)
            if answer:
                draw_answer(canvas, 0, base, style.cap_mm * mm, answer)

        self.pages[-1].append(drawing)

    def lines(self, text: str, style: Style, *, floor_mm: float, gap_mm: float = 0, indent: float = 0) -> None:
        """Text that shrinks to the floor size, then wraps."""
        floor = style_for_caps(floor_mm).size
        used, lines = fitted(text, style, WIDTH - indent, floor)
        for position, line in enumerate(lines):
            self.line(line, used, indent=indent, gap_mm=0 if position else gap_mm)


def bag_label(
    papers: PlanPapers, paper: JobPaper, bag: Bag, words: Words, *, room: float, recorded: RecordedBag | None = None
) -> Label:
    """The label of one bag, in the order in which it is read."""
    name, lines = fitted(
        (bag.structure or paper.answer.job).upper(), LOCATION, WIDTH, style_for_caps(LOCATION_CAPS_MM).size
    )
    bag_line = f"{bag.job}   BAG {bag.number} OF {bag.total}"
    head = [*((line, name) for line in lines)] if len(lines) < 3 else []
    label = Label([*head, (bag_line, STATE)], room)
    for line in lines:
        label.line(line, name)
    feeders = papers.feeders_at(bag.structure)
    if feeders:
        label.lines(f"FEEDER {', '.join(feeders)}", BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=1)
    label.lines(paper.answer.title, BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=1)
    label.line(bag_line, STATE, gap_mm=1)
    if paper.elsewhere(bag):
        label.lines(f"STAGED AT DEPOT {papers.depot_text(bag.depot)}", BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=1)
    label.lines(f"CUTOVER {paper.cutover}", BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=0.6)
    if recorded:
        _recorded_state(label, recorded)
    else:
        _states(label, bag, words)
    if papers.reprint:
        label.line(papers.reprint, BIG_ROW, indent=(STATE.cap_mm + 1.5) * mm)
    label.lines(system_text(papers, bag, words), BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=1)
    for end in bag.ends:
        _end_rows(label, papers, end)
    return label


def _states(label: Label, bag: Bag, words: Words) -> None:
    lines = [line for line in bag.lines if not line.spare]
    for position, answer in enumerate(bag.answers):
        if position and answer == READY:
            continue
        style = STATE if position == 0 else BIG_ROW
        details = answer_details(lines, answer, bag.staged_by, words)
        text = f"{answer.upper()}: {details}" if details else answer.upper()
        shift = (style.cap_mm + 1.5) * mm
        texts = wrapped(text, style, WIDTH - shift)
        if len(texts) > 2:
            style = SMALL_BOLD
            texts = [answer.upper(), *wrapped(details, style, WIDTH - shift)]
        for number, shown in enumerate(texts):
            big = STATE if len(texts) > 2 and number == 0 else style
            label.line(shown, big, indent=shift, gap_mm=1.2 if number == 0 else 0, answer="" if number else answer)


def _recorded_state(label: Label, recorded: RecordedBag) -> None:
    shift = (STATE.cap_mm + 1.5) * mm
    for number, line in enumerate(wrapped(recorded.state, STATE, WIDTH - shift)):
        label.line(line, STATE, indent=shift, gap_mm=0 if number else 1.2, answer="" if number else recorded.shape)


def system_text(papers: PlanPapers, bag: Bag, words: Words) -> str:
    """System voltage, earthing and interfaces at the bag's location."""
    systems = " / ".join(words(text) for text in papers.systems_at(bag.job, bag.structure))
    interfaces = ", ".join(dict.fromkeys(line.interface for line in bag.lines if line.interface))
    return " · ".join(part for part in (systems, interfaces) if part) or "system not known"


def _end_rows(label: Label, papers: PlanPapers, end: End) -> None:
    fits = list(_fitted_parts(papers, end))
    if not fits and not end.conductor:
        return
    heading = " · ".join(part for part in (end.name, f"run {end.run}" if end.run else "", end.conductor) if part)
    label.line(heading, BIG_ROW, gap_mm=1.2)
    for row in fits:
        for text in row:
            label.lines(text, ROW, floor_mm=ROW_CAPS_MM, indent=INDENT)


def _fitted_parts(papers: PlanPapers, end: End) -> Iterator[tuple[str, ...]]:
    """For each part fitted over the insulation: its phases, code and range, then the cable's band; also each stand-in.

    Phases that get the same stand together.
    """
    for line in end.lines:
        phases: dict[tuple[str, str], list[str]] = {}
        for share in shares(line):
            code = share.piece.stock_code if share.piece else line.stock_code
            wanted = share.piece.stand_in_for if share.piece else ""
            phases.setdefault((code, wanted), []).append(share.phase or line.phases)
        for (code, wanted), found in phases.items():
            letters = " ".join("".join(dict.fromkeys(found)))
            shown = f"{code} STAND-IN for {wanted}" if wanted else code or line.kind
            ranges = papers.item_spans(code, "doi")
            if line.doi and ranges:
                yield f"{letters}  {shown}  {spans_text(ranges)}", f"cable  {spans_text(line.doi)}"
            elif wanted:
                yield (f"{letters}  {shown}",)


def code_content(bag: Bag, recorded: RecordedBag | None = None) -> str:
    """What the code holds: number, revision and, as far as it fits, the plain text that helps without a network."""
    ends = ", ".join(dict.fromkeys(f"{end.name} {end.phases}".strip() for end in bag.ends))
    parts = (f"BAG {bag.code} REV {bag_revision(bag, recorded)}", bag.structure, bag.job, ends)
    content = ""
    for part in parts:
        longer = f"{content} | {part}" if content else part
        if part and len(longer.encode()) <= LONGEST_CODE:
            content = longer
    return content


def bag_revision(bag: Bag, recorded: RecordedBag | None) -> str:
    """The revision that the bag was listed for; of its content, where it is only planned."""
    return (recorded.revision if recorded else "") or bag.revision


def paint_labels(
    canvas: Canvas,
    papers: PlanPapers,
    paper: JobPaper,
    bag: Bag,
    *,
    size: str,
    words: Words,
    recorded: RecordedBag | None = None,
) -> None:
    """Draw the labels of one bag in one size, true to size."""
    content = code_content(bag, recorded)
    beside = WIDTH - (full_size_mm(content, SYMBOL_MM) + 1) * mm
    foot = _foot_lines(papers, bag, beside, words, recorded)
    text_height = sum(style.leading for _, style in foot) + (BAR_MM + 2) * mm
    foot_height = max(text_height, WIDTH - beside + (NUMBER_MM + 5) * mm)
    label = bag_label(papers, paper, bag, words, room=HEIGHT - foot_height, recorded=recorded)
    page_width, page_height = (side * mm for side in SIZES_MM[size])
    demo = papers.plan.book.policies.demo
    for number, drawings in enumerate(label.pages, 1):
        canvas.setPageSize((page_width, page_height))
        if demo:
            draw_demo(canvas, page_width, page_height, 55)
        canvas.setFillGray(0)
        canvas.translate((page_width - WIDTH) / 2, (page_height - HEIGHT) / 2)
        for drawing in drawings:
            drawing(canvas)
        count = f"{'DEMO · ' if demo else ''}LABEL {number} OF {len(label.pages)}"
        paint_foot(canvas, (bag.code, content), foot, foot_height, count)
        canvas.showPage()


def _foot_lines(
    papers: PlanPapers, bag: Bag, room: float, words: Words, recorded: RecordedBag | None
) -> list[tuple[str, Style]]:
    paragraphs = (
        (f"USE BY {_earliest_use_by(bag, words)}", SMALL_BOLD),
        (_spares_text(bag), SMALL_BOLD),
        (f"REV {bag_revision(bag, recorded)} · stock as of {papers.plan.as_of.isoformat()}", SMALL_BOLD),
        (papers.print_text, SMALL),
        (" ".join(words(sentence) for sentence in SENTENCES), SMALL),
    )
    return [(line, style) for text, style in paragraphs if text for line in wrapped(text, style, room)]


def paint_foot(
    canvas: Canvas, code: tuple[str, str], lines: Sequence[tuple[str, Style]], height: float, count: str
) -> None:
    """Foot of a label, up to ``height``: what is read last, number and content of the code, and the check bar."""
    readable, content = code
    side = full_size_mm(content, SYMBOL_MM)
    draw_code(canvas, WIDTH - side * mm, NUMBER_MM * mm, content, side)
    number, shown = fitted(readable, BIG_ROW, 36 * mm, SMALL.size)
    for position, line in enumerate(reversed(shown)):
        put(canvas, WIDTH, 1 * mm + position * number.leading, line, number, align="right")
    canvas.setLineWidth(0.8)
    canvas.line(0, height - 1 * mm, WIDTH, height - 1 * mm)
    y = height - 2 * mm
    for line, style in lines:
        y -= style.leading
        put(canvas, 0, y, line, style)
    put(canvas, WIDTH, height - 2 * mm - SMALL.leading, count, SMALL_BOLD, align="right")
    draw_check_bar(canvas, 0, 0)


def _earliest_use_by(bag: Bag, words: Words) -> str:
    days: list[date] = [piece.use_by for line in bag.lines for piece in line.pieces if piece.use_by]
    return min(days).isoformat() if days else f"– ({words('no dated lot')})"


def _spares_text(bag: Bag) -> str:
    parts = []
    for line in bag.spares:
        got = sum(piece.quantity for piece in line.pieces)
        short = f" (SHORT {number_text(line.missing)})" if line.missing > 0 else ""
        parts.append(f"{number_text(got) if got else 0} {line.stock_code}{short}")
    count = f"SPARES {len(parts)}"
    if len(parts) > MOST_SPARES_NAMED:
        return f"{count}, {sum(line.missing > 0 for line in bag.spares)} SHORT (see night card)"
    return f"{count}: {', '.join(parts)}" if parts else count


def write_bag_labels(path: Path, papers: PlanPapers, paper: JobPaper, *, size: str, words: Words) -> Path:
    """All bag labels of a job in one file, in bag order; one label saying so where there is no bag."""
    canvas = open_canvas(path, f"Bag labels {paper.answer.job}")
    for bag in paper.bags:
        paint_labels(canvas, papers, paper, bag, size=size, words=words)
    if not paper.bags:
        width, height = (side * mm for side in SIZES_MM[size])
        canvas.setPageSize((width, height))
        put(canvas, width / 2, height / 2, f"{paper.answer.job}: {NO_BAG}", BIG_ROW, align="centre")
        canvas.showPage()
    canvas.save()
    return path
