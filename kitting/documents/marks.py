"""Marks beside words: the shape of each answer, the box to tick, the check bar, the bar of a fit, DEMO across a page.

A state is told by its word and by its shape, never by colour; everything is black on white (grey-print safe).
"""

from collections.abc import Callable, Mapping, Sequence

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from kitting.documents.diameters import Span
from kitting.documents.lettering import Style, put

INCH = 25.4 * mm


def _filled_square(canvas: Canvas, x: float, y: float, side: float) -> None:
    canvas.rect(x, y, side, side, stroke=1, fill=1)


def _half_square(canvas: Canvas, x: float, y: float, side: float) -> None:
    canvas.rect(x, y, side, side, stroke=1, fill=0)
    canvas.rect(x, y, side, side / 2, stroke=0, fill=1)


def _triangle(canvas: Canvas, x: float, y: float, side: float) -> None:
    outline = canvas.beginPath()
    outline.moveTo(x, y)
    outline.lineTo(x + side, y)
    outline.lineTo(x + side / 2, y + side)
    outline.close()
    canvas.drawPath(outline, stroke=1, fill=1)


def _hollow_diamond(canvas: Canvas, x: float, y: float, side: float) -> None:
    half = side / 2
    outline = canvas.beginPath()
    outline.moveTo(x + half, y)
    outline.lineTo(x + side, y + half)
    outline.lineTo(x + half, y + side)
    outline.lineTo(x, y + half)
    outline.close()
    canvas.drawPath(outline, stroke=1, fill=0)


def _barred_circle(canvas: Canvas, x: float, y: float, side: float) -> None:
    canvas.circle(x + side / 2, y + side / 2, side / 2, stroke=1, fill=0)
    canvas.line(x + side * 0.15, y + side * 0.15, x + side * 0.85, y + side * 0.85)


def _crossed_lines(canvas: Canvas, x: float, y: float, side: float) -> None:
    canvas.line(x, y, x + side, y + side)
    canvas.line(x, y + side, x + side, y)


_SHAPES: Mapping[str, Callable[[Canvas, float, float, float], None]] = {
    "ready": _filled_square,
    "ready if": _half_square,
    "short": _triangle,
    "can't tell": _hollow_diamond,
    "no rule": _barred_circle,
    "conflict": _crossed_lines,
}


def draw_answer(canvas: Canvas, x: float, y: float, side: float, answer: str) -> None:
    """Draw the shape of ``answer`` with its lower left corner at ``x``, ``y``."""
    canvas.setLineWidth(max(0.8, side / 10))
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    _SHAPES[answer](canvas, x, y, side)


def draw_tick_box(canvas: Canvas, x: float, y: float, side: float) -> None:
    """Draw an empty box to tick."""
    canvas.setLineWidth(0.9)
    canvas.setStrokeGray(0)
    canvas.rect(x, y, side, side, stroke=1, fill=0)


def draw_check_bar(canvas: Canvas, x: float, y: float) -> None:
    """Draw the bar that shows whether the print is true to size: 50 mm above, 2 in below; 58 mm wide, 4 mm high."""
    canvas.setLineWidth(0.6)
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    middle = y + 1.6 * mm
    canvas.line(x, middle, x + 2 * INCH, middle)
    canvas.line(x, y, x, y + 3.2 * mm)
    canvas.line(x + 50 * mm, middle, x + 50 * mm, y + 3.2 * mm)
    canvas.line(x + 2 * INCH, y, x + 2 * INCH, middle)
    small = Style(size=9)
    put(canvas, x + 49 * mm, middle + 0.6 * mm, "50 mm when true to size", small, align="right")
    put(canvas, x + 2 * INCH + 1 * mm, y, "2 in", small)


def draw_demo(canvas: Canvas, page_width: float, page_height: float, angle: float) -> None:
    """Write DEMO across the page, in letters that stay readable under a table and on a grey printer."""
    size = min(page_width, page_height) * 0.34
    canvas.saveState()
    canvas.translate(page_width / 2, page_height / 2)
    canvas.rotate(angle)
    canvas.setFillGray(0.9)
    put(canvas, 0, -size * 0.36, "DEMO", Style(size=size, bold=True, stretch=1.0), align="centre")
    canvas.restoreState()


def draw_fit_bar(
    canvas: Canvas, x: float, y: float, width: float, *, parts: Sequence[Span], cables: Sequence[Span]
) -> None:
    """Draw each range a part takes as a hollow bar, with each cable's band as a solid bar over it; 4.4 mm high.

    Args:
        canvas: where to draw.
        x: left end in points.
        y: foot in points.
        width: length of the whole scale in points.
        parts: lowest and highest diameter of each range, nanometres.
        cables: lowest and highest diameter of each cable, nanometres.
    """
    ends = [end for span in (*parts, *cables) for end in span]
    low, high = min(ends), max(ends)
    margin = max((high - low) / 12, 1)
    scale = width / (high - low + 2 * margin)

    def bar(span: Span, foot_mm: float, height_mm: float, *, solid: bool) -> None:
        start = x + (span[0] - low + margin) * scale
        length = max((span[1] - span[0]) * scale, 0.7 * mm)
        canvas.rect(start, y + foot_mm * mm, length, height_mm * mm, stroke=0 if solid else 1, fill=1)

    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.5)
    canvas.line(x, y + 2.2 * mm, x + width, y + 2.2 * mm)
    canvas.setLineWidth(1.1)
    canvas.setFillGray(1)
    for part in parts:
        bar(part, 0.2, 4, solid=False)
    canvas.setFillGray(0)
    for cable in cables:
        bar(cable, 1.4, 1.6, solid=True)
