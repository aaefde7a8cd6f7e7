"""The label on a box that travels between depots, 4 x 6 in: where it goes, for which jobs, and what lies inside."""

from functools import partial

from kitting.calculation.short_codes import make_code
from kitting.documents.bag_labels import BIG_ROW, LOCATION, LOCATION_CAPS_MM, ROW, ROW_CAPS_MM, Label
from kitting.documents.job_papers import amount
from kitting.documents.record_papers import Printed
from kitting.documents.tags import tag_pdf
from kitting.documents.transfer_slip import TransferSlip


def box_label(slip: TransferSlip, printed: Printed) -> bytes:
    """The label as PDF, with the number of the slip that travels along; many lots go on to more labels."""
    code, lines = make_code("V", slip.number), partial(_label, slip, printed)
    return tag_pdf(f"Box label {slip.number}", code, printed, notes=(), lines=lines, word="LABEL")


def _label(slip: TransferSlip, printed: Printed, room: float) -> Label:
    words = printed.words
    number = f"TRANSFER {slip.number}"
    label = Label([(number, BIG_ROW)], room)
    label.lines(f"TO {slip.to_depot}".upper(), LOCATION, floor_mm=LOCATION_CAPS_MM)
    label.lines(f"FROM {slip.from_depot}", BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=1)
    label.lines(f"{number} · BOX ____ OF ____", BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=1)
    label.lines(f"VAN {slip.van_date} · packed by {slip.packed_by or 'nobody yet'}", ROW, floor_mm=ROW_CAPS_MM)
    waiting = "; ".join(slip.arrive_by) or "no job waits for it"
    label.lines(f"ARRIVE BY: {waiting}", BIG_ROW, floor_mm=ROW_CAPS_MM, gap_mm=1)
    for line in slip.lines:
        lot = f"{words('lot')} {line.lot or 'unknown'}"
        label.lines(f"{amount(line.sent, line.unit)} {line.stock_code} · {lot}", ROW, floor_mm=ROW_CAPS_MM, gap_mm=0.6)
    if not slip.lines:
        label.line("Nothing is loaded.", ROW)
    return label
