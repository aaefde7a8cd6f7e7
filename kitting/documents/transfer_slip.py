"""The transfer slip that travels with pieces from one depot to another."""

from dataclasses import dataclass
from decimal import Decimal

from kitting.documents.job_papers import amount, number_text
from kitting.documents.layout import Column
from kitting.documents.record_papers import Printed, pdf_bytes, record_flow, signatures, table_or_words

COLUMNS = (
    Column("Stock code", 34, bold=True),
    Column("Part", 47),
    Column("Lot", 31),
    Column("Sent", 20, align="right", bold=True),
    Column("Counted", 22, align="right"),
    Column("Difference", 36),
)
TO_COUNT = "________"


@dataclass(frozen=True, slots=True)
class TransferLine:
    """Pieces of one lot, in stock units; ``counted`` is None until the van is counted out."""

    stock_code: str
    part: str
    lot: str
    sent: Decimal
    unit: str
    counted: Decimal | None = None

    @property
    def difference(self) -> str:
        """``2 ea MISSING``, ``1 ea TOO MANY``, ``none``; '' until it is counted."""
        if self.counted is None:
            return ""
        change = self.counted - self.sent
        return f"{amount(abs(change), self.unit)} {'MISSING' if change < 0 else 'TOO MANY'}" if change else "none"


@dataclass(frozen=True, slots=True)
class TransferSlip:
    """A van's load.

    Args:
        number: of the transfer.
        from_depot, to_depot: names.
        van_date: day on which it leaves, as text.
        arrive_by: why it must arrive by when: jobs and their staged-by dates.
        packed_by, received_by: persons; '' until somebody did.
        lines: what it holds.
    """

    number: str
    from_depot: str
    to_depot: str
    van_date: str
    arrive_by: tuple[str, ...]
    packed_by: str
    received_by: str
    lines: tuple[TransferLine, ...]


def transfer_slip(slip: TransferSlip, printed: Printed) -> bytes:
    """The slip as PDF."""
    flow = record_flow(
        printed,
        title="TRANSFER SLIP",
        subject=f"{slip.from_depot} to {slip.to_depot}",
        facts=(
            f"Transfer {slip.number} · van {slip.van_date}",
            f"Arrive by: {'; '.join(slip.arrive_by) or 'no job waits for it'}",
            f"Packed by {slip.packed_by or 'nobody yet'} · received by {slip.received_by or 'nobody yet'}",
        ),
        number=("V", slip.number),
    )
    rows = [
        (
            line.stock_code,
            printed.words(line.part),
            line.lot or "unknown",
            amount(line.sent, line.unit),
            TO_COUNT if line.counted is None else number_text(line.counted),
            line.difference or TO_COUNT,
        )
        for line in slip.lines
    ]
    table_or_words(flow, COLUMNS, rows, "Nothing is loaded.")
    signatures(flow, "Packed by", "Received by")
    return pdf_bytes([flow], f"Transfer slip {slip.number}")
