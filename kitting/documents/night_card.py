"""The night card: one for each bag, on half a Letter page or A5, read by one lamp with no battery and no signal.

The front lists the bag by end and phase, with what each part fits; the back holds spares, what to do when something
does not fit, where the nearest other pieces lie, boxes for lots and initials, and pictures of the location.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from kitting.calculation.answers import READY
from kitting.calculation.short_codes import make_code
from kitting.documents.bag_labels import NO_BAG, RecordedBag, bag_revision, system_text
from kitting.documents.card_pictures import CardPicture, flow_pictures
from kitting.documents.cautions import brief_cautions
from kitting.documents.diameters import Span, margin_text, spans_text
from kitting.documents.job_papers import Bag, End, JobPaper, Line, amount, answer_details, number_text, shares
from kitting.documents.layout import BODY, SECTION, STRONG, Cell, Column, Flow, Frame, card_area, save
from kitting.documents.lettering import put, wrapped
from kitting.documents.marks import draw_answer, draw_fit_bar
from kitting.documents.nearest_pieces import NearestPieces
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.wording import Words

LEAST_BOXES = 6
BOX_HEIGHT_MM, BOXES_ACROSS = 10.5, 2
BAR_MM = 40.0
CARD_MM, PHASE_MM, ALL_MM = 127.0, 21.5, 13.0
ORIGINS = {
    "gauge": "gauge reading",
    "maker": "maker's sheet",
    "cable type": "type sheet",
    "schedule": "schedule",
    "calculated": "estimated from standard limits",
}


def night_card(
    papers: PlanPapers,
    nearest: NearestPieces,
    paper: JobPaper,
    bag: Bag,
    words: Words,
    recorded: RecordedBag | None = None,
    pictures: Sequence[CardPicture] = (),
) -> Flow:
    """The card of one bag: an even number of sides, so that cards printed on both sides stay apart.

    ``recorded`` is the bag as the books have it; its pieces are then those that lie inside. ``pictures`` are of its
    location.
    """
    title = f"NIGHT CARD · BAG {bag.number} OF {bag.total}"
    number, subject, rev = bag.code, (bag.structure or paper.answer.job).upper(), bag_revision(bag, recorded)
    flow = _card(papers, paper, words, (title, subject, number, f"BAG {number} REV {rev}", rev), bag.depot)
    flow.text(system_text(papers, bag, words), STRONG)
    if recorded:
        _recorded(flow, recorded)
    else:
        _answers(flow, bag, words)
    _front(flow, papers, bag, words)
    if len(flow.pages) == 1:
        flow.new_page()
    else:
        flow.gap(4)
    _back(flow, nearest, papers, bag, words)
    flow_pictures(flow, pictures)
    if len(flow.pages) % 2:
        flow.new_page()
        flow.text("Nothing on this side.")
    return flow


def _card(papers: PlanPapers, paper: JobPaper, words: Words, named: tuple[str, str, str, str, str], depot: str) -> Flow:
    """An empty card; ``named`` holds title, subject, number, what its code holds, and revision."""
    title, subject, number, code, rev = named
    policies, answer = papers.plan.book.policies, paper.answer
    facts = (
        f"{answer.job} {answer.title}",
        f"Cutover {paper.cutover} · depot {papers.depot_text(depot)}",
        " · ".join(filter(None, (papers.reprint, papers.stand_text(rev)))),
    )
    cautions = brief_cautions(words)
    frame = Frame(title, subject, facts, number, code, cautions, demo=policies.demo, check_bar=False)
    return Flow(card_area(policies.paper), frame, pad_mm=0.9)


def _answers(flow: Flow, bag: Bag, words: Words) -> None:
    lines = [line for line in bag.lines if not line.spare]
    for answer in bag.answers[:1] + [answer for answer in bag.answers[1:] if answer != READY]:
        details = answer_details(lines, answer, bag.staged_by, words)
        _state(flow, answer, f"{answer.upper()}: {details}" if details else answer.upper())


def _recorded(flow: Flow, recorded: RecordedBag) -> None:
    _state(flow, recorded.shape, recorded.state)
    if recorded.surplus:
        flow.gap(1)
        flow.boxed(f"TAKE OUT: {', '.join(recorded.surplus)}, which no line of this bag wants")


def _front(flow: Flow, papers: PlanPapers, bag: Bag, words: Words) -> None:
    for end in bag.ends:
        if not end.structure:
            continue
        flow.gap(1.5)
        heading = " · ".join(part for part in (end.name, f"run {end.run}" if end.run else "", end.conductor) if part)
        flow.text(heading, SECTION, keep_mm=18)
        _parts(flow, papers, end, words)
    fits = _fits(papers, bag)
    if fits:
        flow.gap(1.5)
        flow.text("Hollow bar: what the part takes. Solid bar: the cable. DOI: diameter over insulation.", keep_mm=14)
    for fit, ends in fits.items():
        _draw_fit(flow, fit, ends)


def _state(flow: Flow, answer: str, text: str) -> None:
    lines = wrapped(text, STRONG, flow.area.width - 6 * mm)
    for position, line in enumerate(lines):
        y = flow.take(STRONG.leading) - STRONG.size
        flow.draw(_state_line(flow.area.left, y, line, "" if position else answer))


def _state_line(x: float, y: float, line: str, answer: str) -> Callable[[Canvas], None]:
    def drawing(canvas: Canvas) -> None:
        put(canvas, x + 5 * mm, y, line, STRONG)
        if answer:
            draw_answer(canvas, x, y - 0.3 * mm, 3 * mm, answer)

    return drawing


def _parts(flow: Flow, papers: PlanPapers, end: End, words: Words) -> None:
    """Parts down, phases across; a cell holds the number and the lot."""
    phases = [*end.phases]
    whole = any(share.phase == "" for line in end.lines for share in shares(line)) or not phases
    across = [*phases, *([""] if whole else [])]
    widths = [PHASE_MM if phase or not phases else ALL_MM for phase in across]
    heads = [phase or ("all" if phases else "number") for phase in across]
    columns = [Column("Part", CARD_MM - sum(widths)), *map(Column, heads, widths)]
    rows: list[list[Cell]] = []
    for line in end.lines:
        if line.open:
            continue
        cells: dict[str, list[str]] = {phase: [] for phase in across}
        for share in shares(line):
            unit = "" if line.unit == "ea" else f" {line.unit}"
            lot = share.piece.lot if share.piece else "SHORT"
            cells[share.phase].append(f"{number_text(share.quantity)}{unit} {lot}".strip())
        rows.append([_part_name(papers, line, words), *(", ".join(cells[phase]) for phase in across)])
    if rows:
        flow.table(columns, rows)
    for line in end.lines:
        if line.open:
            flow.text(f"{words(line.kind)}: {line.answer.upper()}, no part is chosen.")


def _part_name(papers: PlanPapers, line: Line, words: Words) -> str:
    codes = dict.fromkeys(
        f"{piece.stock_code} STAND-IN for {piece.stand_in_for}" if piece.stand_in_for else piece.stock_code
        for piece in line.pieces
    ) or {line.stock_code or "no code": None}
    return f"{' / '.join(codes)} · {papers.noun(line.stock_code, words(line.kind))}"


@dataclass(frozen=True, slots=True)
class Fit:
    """A part on a cable: its ranges, the cable's bands over insulation (DOI) or jacket, and their origin."""

    stock_code: str
    over: str
    ranges: tuple[Span, ...]
    bands: tuple[Span, ...]
    origin: str

    @property
    def verdict(self) -> str:
        """``FITS`` with the smallest margin, where every band lies inside a range."""
        inside = [
            (part, band) for band in self.bands for part in self.ranges if part[0] <= band[0] and band[1] <= part[1]
        ]
        held = {band for _, band in inside}
        return f"FITS, margin {margin_text(*min(inside, key=_room))}" if held == set(self.bands) else ""


def _fits(papers: PlanPapers, bag: Bag) -> dict[Fit, list[str]]:
    """Each distinct fit in the bag, with the ends it stands for."""
    found: dict[Fit, list[str]] = {}
    for line in bag.lines:
        for field, bands in (("doi", line.doi), ("jacket", line.jacket)):
            for code in dict.fromkeys([piece.stock_code for piece in line.pieces] or [line.stock_code]):
                ranges = papers.item_spans(code, field)
                if bands and ranges:
                    origin = ORIGINS.get(line.doi_origin, line.doi_origin) if field == "doi" else ""
                    over = "DOI" if field == "doi" else "jacket"
                    found.setdefault(Fit(code, over, ranges, bands, origin), []).append(line.place_name)
    return found


def _draw_fit(flow: Flow, fit: Fit, ends: list[str]) -> None:
    """A heading with the verdict, then the bar with both ranges in words beside it."""
    verdict = f": {fit.verdict}" if fit.verdict else ""
    heading = f"{fit.stock_code} at {', '.join(dict.fromkeys(ends))}{verdict}"
    origin = f", {fit.origin}" if fit.origin else ""
    texts = (f"takes {spans_text(fit.ranges)}", f"{fit.over} {spans_text(fit.bands)}{origin}")
    lines = [one for text in texts for one in wrapped(text, BODY, flow.area.width - (BAR_MM + 3) * mm)]
    height = len(lines) * BODY.leading + 1.2 * mm
    flow.text(heading, STRONG, keep_mm=height / mm)
    top = flow.take(height)
    flow.draw(_fit_drawing(flow.area.left, top, lines, fit))


def _room(pair: tuple[Span, Span]) -> int:
    part, band = pair
    return min(band[0] - part[0], part[1] - band[1])


def _fit_drawing(x: float, top: float, lines: list[str], fit: Fit) -> Callable[[Canvas], None]:
    def drawing(canvas: Canvas) -> None:
        draw_fit_bar(canvas, x, top - 6.2 * mm, BAR_MM * mm, parts=fit.ranges, cables=fit.bands)
        for position, line in enumerate(lines):
            put(canvas, x + (BAR_MM + 3) * mm, top - BODY.size - position * BODY.leading, line, BODY)

    return drawing


def _back(flow: Flow, nearest: NearestPieces, papers: PlanPapers, bag: Bag, words: Words) -> None:
    flow.text("Spares and what serves the whole job", SECTION)
    rows = [_extra_cells(papers, line, words) for line in bag.lines if not line.structure and not line.open]
    if rows:
        flow.table((Column("Part", 80), Column("Number", 30), Column("", 17, bold=True)), rows)
    else:
        flow.text("None in this bag.")
    flow.gap(2)
    flow.text("If it does not fit, or one is lost", SECTION, keep_mm=30)
    flow.text("1  Stop. Gauge the insulation:  ______________  in / mm.")
    flow.text("2  A part may go on only where the reading lies inside the range printed for it.")
    flow.text("3  Ring before taking another part, or one from the reserve.")
    _whom_to_ring(flow, papers, bag.depot)
    flow.gap(1.5)
    _nearest_table(flow, nearest, bag)
    flow.gap(2.5)
    _boxes(flow, bag, words)


def _whom_to_ring(flow: Flow, papers: PlanPapers, depot: str) -> None:
    """The depot's hours and who answers at night, or a warning and a line to fill in by hand."""
    row, name = papers.depots.get(depot, {}), papers.depot_text(depot)
    if row.get("hours"):
        flow.text(f"Depot {name} is open {row['hours']}.", indent_mm=3)
    if row.get("night_contact"):
        flow.text(f"RING AT NIGHT: {row['night_contact']}", STRONG, indent_mm=3)
        return
    flow.text(f"NO NIGHT CONTACT is known for depot {name}: write here who answers before the crew leaves.", STRONG)
    flow.text("Name ______________________  number ______________________", indent_mm=3)


def _extra_cells(papers: PlanPapers, line: Line, words: Words) -> list[Cell]:
    there = (line.quantity or Decimal()) - line.missing
    lots = ", ".join(dict.fromkeys(piece.lot for piece in line.pieces if piece.lot))
    short = f" SHORT {number_text(line.missing)}" if line.missing > 0 else ""
    return [
        _part_name(papers, line, words),
        f"{amount(there, line.unit)} {lots}".strip() + short,
        "SPARE" if line.spare else "",
    ]


def _nearest_table(flow: Flow, nearest: NearestPieces, bag: Bag) -> None:
    depot = bag.depot
    codes = list(dict.fromkeys(line.stock_code for line in bag.lines if line.stock_code))
    places = {code: nearest.places(code, depot) for code in codes}
    rows: list[list[Cell]] = [[code, "the same part", places[code]] for code in codes if places[code]]
    none = [code for code in codes if not places[code]]
    others = {other.stock_code: other for code in codes for other in nearest.other_ranges(code)}
    rows += [
        [code, f"other range: {spans_text(other.spans)}", nearest.places(code, depot) or "none that is free"]
        for code, other in others.items()
        if code not in codes
    ]
    if rows:
        columns = (Column("Part", 24, bold=True), Column("Is", 42), Column("Where: depot, place, number", 61))
        flow.table(columns, rows)
    if none:
        flow.text(f"No other free piece of {', '.join(none)}.")


def _boxes(flow: Flow, bag: Bag, words: Words) -> None:
    """Six boxes or more for lot and initials, each named by end and phase where the bag has one for it."""
    names = [f"{end.name} {phase}" for end in bag.ends if any(line.doi for line in end.lines) for phase in end.phases]
    names += [""] * (LEAST_BOXES - len(names))
    height = BOX_HEIGHT_MM * mm
    flow.text(words("Lot and initials, where no phone works"), SECTION, keep_mm=BOX_HEIGHT_MM)
    width = flow.area.width / BOXES_ACROSS
    for start in range(0, len(names), BOXES_ACROSS):
        top = flow.take(height)
        for position, name in enumerate(names[start : start + BOXES_ACROSS]):
            flow.draw(_box(flow.area.left + position * width, top, width, name, words("lot")))


def _box(x: float, top: float, width: float, name: str, lot: str) -> Callable[[Canvas], None]:
    def drawing(canvas: Canvas) -> None:
        canvas.setLineWidth(0.7)
        canvas.rect(x + 0.5 * mm, top - (BOX_HEIGHT_MM - 0.8) * mm, width - 1.5 * mm, (BOX_HEIGHT_MM - 1.4) * mm)
        put(canvas, x + 2 * mm, top - 4.6 * mm, name or "end, phase", STRONG)
        put(canvas, x + 2 * mm, top - 8.9 * mm, f"{lot} ________________ initials ______", BODY)

    return drawing


def write_night_cards(path: Path, papers: PlanPapers, nearest: NearestPieces, paper: JobPaper, words: Words) -> Path:
    """The night cards of all bags of a job in one file, in bag order; one card saying so where there is no bag."""
    cards = [night_card(papers, nearest, paper, bag, words) for bag in paper.bags]
    if not cards:
        job = paper.answer.job
        number = make_code("J", job)
        named = ("NIGHT CARD", job.upper(), number, number, paper.revision)
        cards = [_card(papers, paper, words, named, paper.answer.depot)]
        cards[0].text(f"{job}: {NO_BAG}.")
    return save(path, cards, f"Night cards {paper.answer.job}")
