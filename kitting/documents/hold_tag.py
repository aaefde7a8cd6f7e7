"""The hold tag, 4 x 6 in: HOLD in letters 20 mm high, the lot, the number of the hold and since when."""

from dataclasses import dataclass
from io import BytesIO

from reportlab.lib.units import mm

from kitting.calculation.short_codes import make_code
from kitting.documents.bag_labels import (
    BIG_ROW,
    HEIGHT,
    LOCATION,
    LOCATION_CAPS_MM,
    NUMBER_MM,
    ROW_CAPS_MM,
    SIZES_MM,
    SMALL,
    SMALL_BOLD,
    STATE,
    STATE_CAPS_MM,
    SYMBOL_MM,
    WIDTH,
    Label,
    paint_foot,
)  # fmt: skip
from kitting.documents.cautions import SENTENCES
from kitting.documents.lettering import Style, open_canvas, style_for_caps, wrapped
from kitting.documents.marks import draw_demo
from kitting.documents.record_papers import Printed
from kitting.documents.square_codes import full_size_mm

HOLD_CAPS_MM = 20.05  # a little above, for rounding
HOLD = style_for_caps(HOLD_CAPS_MM, bold=True, stretch=0.95, pitch=1.0)


@dataclass(frozen=True, slots=True)
class HoldTag:
    """A hold. ``number`` is its own, ``placed_at`` text with its zone; ``where`` the place of the tagged pieces."""

    number: str
    stock_code: str
    part: str
    lot: str
    placed_at: str
    placed_by: str
    reason: str
    where: str = ""
    depot: str = ""


def hold_tag(tag: HoldTag, printed: Printed) -> bytes:
    """The tag as PDF; a long reason goes on to more tags, each headed HOLD."""
    code = make_code("H", tag.number)
    beside = WIDTH - (full_size_mm(code, SYMBOL_MM) + 1) * mm
    foot = [(line, style) for text, style in _foot_texts(printed) for line in wrapped(text, style, beside)]
    height = max(sum(style.leading for _, style in foot) + 9 * mm, WIDTH - beside + (NUMBER_MM + 5) * mm)
    label = _label(tag, printed, HEIGHT - height)
    file = BytesIO()
    canvas = open_canvas(file, f"Hold tag {tag.number}")
    across, down = (side * mm for side in SIZES_MM["4x6in"])
    for number, drawings in enumerate(label.pages, 1):
        canvas.setPageSize((across, down))
        if printed.demo:
            draw_demo(canvas, across, down, 55)
        canvas.setFillGray(0)
        canvas.translate((across - WIDTH) / 2, (down - HEIGHT) / 2)
        for drawing in drawings:
            drawing(canvas)
        paint_foot(canvas, (code, code), foot, height, f"TAG {number} OF {len(label.pages)}")
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def _label(tag: HoldTag, printed: Printed, room: float) -> Label:
    words = printed.words
    hold_no = f"HOLD NO. {tag.number}"
    label = Label([("HOLD", HOLD), (hold_no, BIG_ROW)], room)
    label.line("HOLD", HOLD)
    label.line(hold_no, STATE, gap_mm=1)
    label.lines(f"{words('LOT')} {tag.lot or 'UNKNOWN'}", LOCATION, floor_mm=LOCATION_CAPS_MM, gap_mm=2)
    label.lines(tag.stock_code, STATE, floor_mm=STATE_CAPS_MM, gap_mm=1)
    label.lines(words(tag.part), BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=1)
    label.lines(f"SINCE {tag.placed_at} · {tag.placed_by}", BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=1)
    where = " · ".join(filter(None, (tag.depot, tag.where)))
    if where:
        label.lines(where, BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=1)
    label.lines(tag.reason, BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=1)
    return label


def _foot_texts(printed: Printed) -> list[tuple[str, Style]]:
    head = ("DEMO · invented data" if printed.demo else "", printed.reprint_text, "NOT TO BE ISSUED", printed.text)
    texts = [(" ", SMALL_BOLD), *((text, SMALL_BOLD) for text in head if text)]
    return [*texts, (" ".join(printed.words(sentence) for sentence in SENTENCES), SMALL)]
