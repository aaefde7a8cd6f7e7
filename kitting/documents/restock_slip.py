"""The restock slip: which free pieces of the shelf bring a truck up to its list, and what comes off it."""

from dataclasses import dataclass
from decimal import Decimal

from inventory.models import Balance
from kitting.calculation.quantities import as_decimal
from kitting.documents.job_papers import amount
from kitting.documents.layout import SECTION, Column
from kitting.documents.record_papers import (
    Printed,
    csv_bytes,
    pdf_bytes,
    record_flow,
    signatures,
    table_frame,
    table_or_words,
)
from kitting.selectors.trucks import Restock, Truck

TAKE_COLUMNS = (
    Column("Bin", 26, bold=True),
    Column("Stock code", 30, bold=True),
    Column("Part", 46),
    Column("Lot", 28),
    Column("Use by", 22),
    Column("Take", 18, align="right", bold=True),
    Column("Loaded", 20),
)
OFF_COLUMNS = (
    Column("Stock code", 30, bold=True),
    Column("Lot", 34),
    Column("On it", 22, align="right"),
    Column("Why it comes off", 64),
)
HEADERS = ("truck", "what", "place", "stock code", "part", "lot", "use by", "quantity", "unit", "why")
TAKE, OFF, NONE_FREE = "take", "take off", "none free"
BLANK = "______"


@dataclass(frozen=True, slots=True)
class RestockLine:
    """Pieces of a lot in stock units; ``what`` is ``take``, ``take off``, or ``none free`` where the shelf lacks it."""

    what: str
    place: str
    stock_code: str
    part: str
    lot: str
    use_by: str
    quantity: Decimal
    unit: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class RestockSlip:
    """What one truck needs.

    Args:
        truck, depot: codes.
        lines: what to take, what is lacking, what comes off.
    """

    truck: str
    depot: str
    lines: tuple[RestockLine, ...]

    def of(self, what: str) -> list[RestockLine]:
        """The lines of one sort."""
        return [line for line in self.lines if line.what == what]


def restock_slip_of(truck: Truck, needed: Restock) -> RestockSlip:
    """The slip of a truck as it stands."""
    takes = [_line(TAKE, one.balance, one.quantity) for one in needed.takes]
    lacking = [
        RestockLine(
            NONE_FREE, "", item.stock_code, item.called, "", "", as_decimal(pieces), item.stock_unit,
            "the depot has none free that is good for another month",
        )
        for item, pieces in needed.lacking
    ]  # fmt: skip
    off = [_line(OFF, one.balance, one.balance.quantity, one.wrong) for one in truck.to_take_off]
    return RestockSlip(truck.place.code, truck.place.depot.depot, (*takes, *lacking, *off))


def _line(what: str, lying: Balance, quantity: int, why: str = "") -> RestockLine:
    lot, item = lying.lot, lying.lot.item
    return RestockLine(
        what, lying.place.code, item.stock_code, item.called, lot.number or "unknown", lot.day_words,
        as_decimal(quantity), item.stock_unit, why,
    )  # fmt: skip


def restock_slip(slip: RestockSlip, printed: Printed) -> bytes:
    """The slip as PDF."""
    flow = record_flow(
        printed,
        title="RESTOCK SLIP",
        subject=f"{slip.truck} · depot {slip.depot}",
        facts=(
            "Take these free pieces from the bins, and book them when they are on the truck.",
            "They are no part of a kit: what is used of them is booked to the job by scan.",
        ),
        number=("R", slip.depot, slip.truck),
    )
    rows = [
        (line.place, line.stock_code, printed.words(line.part), line.lot, line.use_by, amount(line.quantity, line.unit),
         BLANK)
        for line in slip.of(TAKE)
    ]  # fmt: skip
    table_or_words(flow, TAKE_COLUMNS, rows, "Nothing is to be taken from the shelf.")
    lacking = slip.of(NONE_FREE)
    if lacking:
        flow.gap(4)
        flow.text("NOT FREE ON THE SHELF", SECTION, keep_mm=16)
        for line in lacking:
            flow.boxed(f"SHORT: {amount(line.quantity, line.unit)} {line.stock_code} {printed.words(line.part)}")
    off = slip.of(OFF)
    if off:
        flow.gap(4)
        flow.text("TAKE OFF THE TRUCK", SECTION, keep_mm=16)
        flow.table(OFF_COLUMNS, [(one.stock_code, one.lot, amount(one.quantity, one.unit), one.why) for one in off])
    signatures(flow, "Loaded by", "Crew")
    return pdf_bytes([flow], f"Restock slip {slip.truck}")


def restock_slip_csv(slip: RestockSlip) -> bytes:
    """The slip as CSV, one row a lot."""
    rows = [
        (slip.truck, line.what, line.place, line.stock_code, line.part, line.lot, line.use_by, line.quantity, line.unit,
         line.why)
        for line in slip.lines
    ]  # fmt: skip
    return csv_bytes(table_frame(HEADERS, rows))
