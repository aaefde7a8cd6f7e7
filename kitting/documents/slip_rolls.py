"""Issue slip and return slip on a roll of paper 80 mm wide: the facts of the sheets, as long as they need.

Printers for such rolls print 72 mm of them (common practice of their makers); nothing stands beyond.
"""

from collections.abc import Sequence
from io import BytesIO

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from kitting.calculation.short_codes import make_code
from kitting.documents.cautions import brief_cautions
from kitting.documents.job_papers import amount, number_text
from kitting.documents.layout import BODY, CODE_MM, SECTION, STRONG, TITLE, Drawing
from kitting.documents.lettering import Style, open_canvas, put, wrapped
from kitting.documents.marks import draw_check_bar, draw_demo
from kitting.documents.record_papers import Printed
from kitting.documents.slips import (
    ALLOWED,
    NO_BAG,
    NO_SPARES,
    NOTHING_TO_ISSUE,
    NOTHING_TO_RETURN,
    SPARES,
    IssueSlip,
    ReturnLine,
    ReturnSlip,
    SlipBag,
    SlipHead,
    SlipLine,
)
from kitting.documents.square_codes import draw_code

ROLL_MM, WIDTH_MM, ENDS_MM = 80.0, 70.0, 6.0
DEMO_EVERY_MM = 120.0


class Roll:
    """Lines from the top of a strip down; its length is known when all stand on it."""

    def __init__(self) -> None:
        self._drawings: list[tuple[float, Drawing]] = []
        self._down = ENDS_MM * mm

    def text(self, text: str, style: Style = BODY, *, gap_mm: float = 0, indent_mm: float = 0) -> None:
        """A paragraph."""
        self._down += gap_mm * mm
        for line in wrapped(text, style, (WIDTH_MM - indent_mm) * mm):
            self._add(style.leading, _text(line, style, indent_mm * mm))

    def rule(self) -> None:
        """A line across, with white above and below."""
        self._down += 1.5 * mm
        self._add(1.5 * mm, _rule)

    def code(self, content: str, number: str) -> None:
        """The square code with its number beside it."""
        self._down += 1 * mm
        self._add(CODE_MM * mm, lambda canvas: _code(canvas, content, number))

    def check_bar(self) -> None:
        """The bar that shows whether the print is true to size."""
        self._add(6 * mm, lambda canvas: draw_check_bar(canvas, 0, 0))

    def _add(self, height: float, drawing: Drawing) -> None:
        self._down += height
        self._drawings.append((self._down, drawing))

    def pdf(self, title: str, *, demo: bool) -> bytes:
        """The strip as one page of its own length."""
        file = BytesIO()
        canvas = open_canvas(file, title)
        across, down = ROLL_MM * mm, self._down + ENDS_MM * mm
        canvas.setPageSize((across, down))
        for start in range(0, int(down / mm) if demo else 0, int(DEMO_EVERY_MM)):
            canvas.saveState()
            canvas.translate(0, down - start * mm - DEMO_EVERY_MM * mm)
            draw_demo(canvas, across, DEMO_EVERY_MM * mm, 55)
            canvas.restoreState()
        canvas.setFillGray(0)
        canvas.setStrokeGray(0)
        for below, drawing in self._drawings:
            canvas.saveState()
            canvas.translate((across - WIDTH_MM * mm) / 2, down - below)
            drawing(canvas)
            canvas.restoreState()
        canvas.showPage()
        canvas.save()
        return file.getvalue()


def issue_slip_roll(slip: IssueSlip, printed: Printed) -> bytes:
    """The issue slip on a roll."""
    roll = _roll(printed, slip.head)
    _bags(roll, slip.bags)
    _issued(roll, "To the crew", slip.lines, printed, NOTHING_TO_ISSUE)
    _issued(roll, SPARES, slip.spares, printed, NO_SPARES)
    if slip.allowed:
        roll.text(ALLOWED, SECTION, gap_mm=2)
    for one in slip.allowed:
        roll.text(one.sentence, STRONG, indent_mm=2)
    return _signed(roll, printed, ("Storekeeper", "Crew")).pdf(f"Issue slip {slip.job}", demo=printed.demo)


def return_slip_roll(slip: ReturnSlip, printed: Printed) -> bytes:
    """The return slip on a roll; what is still open stands in the head too."""
    roll = _roll(printed, slip.head)
    _bags(roll, slip.bags)
    roll.text("What came back", SECTION, gap_mm=2)
    for line in slip.lines:
        _returned(roll, line, printed)
    if not slip.lines:
        roll.text(NOTHING_TO_RETURN)
    return _signed(roll, printed, ("Crew", "Storekeeper")).pdf(f"Return slip {slip.job}", demo=printed.demo)


def _roll(printed: Printed, head: SlipHead) -> Roll:
    roll, code = Roll(), make_code(*head.number)
    named = (printed.words(head.title), printed.reprint_text, "DEMO, invented data" if printed.demo else "")
    roll.text(" · ".join(filter(None, named)), STRONG)
    roll.text(head.subject, TITLE)
    for fact in (*head.facts, printed.text, "page 1 of 1"):
        roll.text(fact)
    roll.code(f"{code} REV {printed.revision}" if printed.revision else code, code)
    roll.rule()
    return roll


def _bags(roll: Roll, bags: Sequence[SlipBag]) -> None:
    roll.text("Bags", SECTION)
    for bag in bags:
        roll.text(f"{bag.number} · {bag.location} · {bag.state}", STRONG)
        if bag.to_lift:
            roll.text(bag.to_lift, indent_mm=2)
    if not bags:
        roll.text(NO_BAG)


def _issued(roll: Roll, title: str, lines: Sequence[SlipLine], printed: Printed, empty: str) -> None:
    roll.text(title, SECTION, gap_mm=2)
    for line in lines:
        roll.text(f"{amount(line.quantity, line.unit)} {line.stock_code}", STRONG, gap_mm=0.6)
        lot = f"{printed.words('lot')} {line.lot_words}"
        roll.text(f"{printed.words(line.part)} · {lot} · bag {line.bag}", indent_mm=2)
    if not lines:
        roll.text(empty)


def _returned(roll: Roll, line: ReturnLine, printed: Printed) -> None:
    roll.text(f"{line.stock_code} {printed.words('lot')} {line.lot_words}", STRONG, gap_mm=0.6)
    became = (("issued", line.issued), ("installed", line.installed), ("turned in", line.turned_in),
              ("scrapped", line.scrapped), ("lost", line.lost))  # fmt: skip
    roll.text(f"{line.unit}: {', '.join(f'{word} {number_text(count)}' for word, count in became)}", indent_mm=2)
    roll.text(f"STILL OPEN {number_text(line.still_open)}", STRONG, indent_mm=2)
    roll.text(" · ".join(filter(None, (f"bag {line.bag}", line.came_back))), indent_mm=2)


def _signed(roll: Roll, printed: Printed, roles: Sequence[str]) -> Roll:
    for role in roles:
        roll.text(f"{role}: ____________________", gap_mm=5)
        roll.text("signature: ____________________", gap_mm=3)
        roll.text("date, time: ____________________", gap_mm=3)
    roll.rule()
    for caution in brief_cautions(printed.words):
        roll.text(caution)
    roll.check_bar()
    return roll


def _text(line: str, style: Style, indent: float) -> Drawing:
    return lambda canvas: put(canvas, indent, style.leading - style.size, line, style)


def _rule(canvas: Canvas) -> None:
    canvas.setLineWidth(0.8)
    canvas.line(0, 1.2 * mm, WIDTH_MM * mm, 1.2 * mm)


def _code(canvas: Canvas, content: str, number: str) -> None:
    draw_code(canvas, 0, 0, content, CODE_MM)
    put(canvas, (CODE_MM + 2) * mm, CODE_MM / 2 * mm, number, STRONG)
