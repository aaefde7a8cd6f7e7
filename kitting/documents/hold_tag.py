"""The hold tag, 4 x 6 in: HOLD in letters 20 mm high, the lot, the number of the hold and since when."""

from dataclasses import dataclass
from functools import partial

from kitting.calculation.short_codes import make_code
from kitting.documents.bag_labels import BIG_ROW, LOCATION, LOCATION_CAPS_MM, ROW_CAPS_MM, STATE, STATE_CAPS_MM, Label
from kitting.documents.lettering import style_for_caps
from kitting.documents.record_papers import Printed
from kitting.documents.tags import tag_pdf

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
    code, lines = make_code("H", tag.number), partial(_label, tag, printed)
    return tag_pdf(f"Hold tag {tag.number}", code, printed, notes=("NOT TO BE ISSUED",), lines=lines, word="TAG")


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
