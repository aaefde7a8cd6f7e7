"""The borrow note, on half a page: what was taken from which bag, why, and when it comes back."""

from dataclasses import dataclass
from decimal import Decimal

from kitting.documents.job_papers import amount
from kitting.documents.layout import STRONG, Column, card_area
from kitting.documents.record_papers import Printed, pdf_bytes, record_flow, table_or_words

COLUMNS = (Column("Stock code", 45, bold=True), Column("Lot", 45), Column("Pieces", 37, align="right", bold=True))


@dataclass(frozen=True, slots=True)
class BorrowedPieces:
    """Pieces of one lot, in stock units."""

    stock_code: str
    lot: str
    quantity: Decimal
    unit: str


@dataclass(frozen=True, slots=True)
class BorrowNote:
    """A loan from a bag.

    Args:
        number: of the loan.
        from_bag, from_job, to_job: as people call them.
        cutover: of the job that lends, with its zone; '' for none.
        depot: of the bag.
        pieces: what was taken.
        why: reason.
        free_first: free stock that was looked at first, and why it would not do.
        pay_back_by: day, as text.
        asked_by, authorised_by: two persons.
    """

    number: str
    from_bag: str
    from_job: str
    to_job: str
    cutover: str
    depot: str
    pieces: tuple[BorrowedPieces, ...]
    why: str
    free_first: tuple[str, ...]
    pay_back_by: str
    asked_by: str
    authorised_by: str


def borrow_note(note: BorrowNote, printed: Printed) -> bytes:
    """The note as PDF."""
    flow = record_flow(
        printed,
        title=f"BORROW NOTE · {note.depot}",
        subject=f"{note.from_job} lends to {note.to_job}",
        facts=(f"From bag {note.from_bag} · {note.from_job} cutover {note.cutover or 'none'}", f"To job {note.to_job}"),
        number=("B", note.number),
        area=card_area(printed.paper),
    )
    rows = [(one.stock_code, one.lot or "unknown", amount(one.quantity, one.unit)) for one in note.pieces]
    table_or_words(flow, COLUMNS, rows, "Nothing was taken.")
    flow.gap(2)
    flow.text(f"Why: {note.why}")
    flow.gap(2)
    flow.text("Free stock that was looked at first:", STRONG, keep_mm=5)
    for looked in note.free_first or ("none was found",):
        flow.text(looked, indent_mm=4)
    flow.gap(2)
    flow.boxed(f"PAY BACK BY {note.pay_back_by}")
    flow.text(f"Asked by {note.asked_by} · authorised by {note.authorised_by}", STRONG)
    flow.gap(4)
    flow.text("Signature: ________________________", keep_mm=2)
    return pdf_bytes([flow], f"Borrow note {note.number}")
