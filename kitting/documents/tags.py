"""Tags of 4 x 6 in: lines from the largest down, a square code, and what all tags say at the foot."""

from collections.abc import Callable, Sequence
from io import BytesIO

from reportlab.lib.units import mm

from kitting.documents.bag_labels import (
    HEIGHT,
    NUMBER_MM,
    SIZES_MM,
    SMALL,
    SMALL_BOLD,
    SYMBOL_MM,
    WIDTH,
    Label,
    paint_foot,
)
from kitting.documents.cautions import SENTENCES
from kitting.documents.lettering import open_canvas, wrapped
from kitting.documents.marks import draw_demo
from kitting.documents.record_papers import Printed
from kitting.documents.square_codes import full_size_mm


def tag_pdf(
    title: str, code: str, printed: Printed, *, notes: Sequence[str], lines: Callable[[float], Label], word: str
) -> bytes:
    """A tag as PDF, as many of them as its lines need.

    Args:
        title: of the file.
        code: readable number with check characters.
        printed: who prints, when, the how many-th time.
        notes: what stands at the foot above the printing.
        lines: makes the lines, given the height that they may take, in points.
        word: what one of them is called, such as ``TAG``.
    """
    beside = WIDTH - (full_size_mm(code, SYMBOL_MM) + 1) * mm
    head = ("DEMO · invented data" if printed.demo else "", printed.reprint_text, *notes, printed.text)
    cautions = " ".join(printed.words(sentence) for sentence in SENTENCES)
    texts = [(" ", SMALL_BOLD), *((text, SMALL_BOLD) for text in head if text), (cautions, SMALL)]
    foot = [(line, style) for text, style in texts for line in wrapped(text, style, beside)]
    height = max(sum(style.leading for _, style in foot) + 9 * mm, WIDTH - beside + (NUMBER_MM + 5) * mm)
    label = lines(HEIGHT - height)
    file = BytesIO()
    canvas = open_canvas(file, title)
    across, down = (side * mm for side in SIZES_MM["4x6in"])
    for number, drawings in enumerate(label.pages, 1):
        canvas.setPageSize((across, down))
        if printed.demo:
            draw_demo(canvas, across, down, 55)
        canvas.setFillGray(0)
        canvas.translate((across - WIDTH) / 2, (down - HEIGHT) / 2)
        for drawing in drawings:
            drawing(canvas)
        paint_foot(canvas, (code, code), foot, height, f"{word} {number} OF {len(label.pages)}")
        canvas.showPage()
    canvas.save()
    return file.getvalue()
