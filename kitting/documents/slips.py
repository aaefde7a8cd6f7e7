"""The slips of a kit that goes out and comes back: issue slip and return slip, with the same bag numbers."""

from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from kitting.documents.job_papers import amount, number_text
from kitting.documents.layout import SECTION, Column, Flow
from kitting.documents.record_papers import (
    Printed,
    csv_bytes,
    pdf_bytes,
    record_flow,
    signatures,
    table_frame,
    table_or_words,
)

ISSUE_COLUMNS = (
    Column("Bag", 34),
    Column("Stock code", 38, bold=True),
    Column("Part", 56),
    Column("Lot", 36),
    Column("Quantity", 26, align="right", bold=True),
)
BAG_COLUMNS = (Column("Bag", 60, bold=True), Column("Location", 60), Column("State", 70, bold=True))
RETURN_COLUMNS = (
    Column("Bag", 22),
    Column("Stock code, lot", 38, bold=True),
    Column("Issued", 16, align="right"),
    Column("Installed", 19, align="right"),
    Column("Turned in", 19, align="right"),
    Column("Scrapped", 19, align="right"),
    Column("Lost", 13, align="right"),
    Column("STILL OPEN", 16, align="right", bold=True),
    Column("Condition, to where", 28),
)
RETURN_HEADERS = (
    "job", "bag", "stock code", "lot", "unit", "issued", "installed", "turned in", "scrapped", "lost", "still open",
    "condition", "to where",
)  # fmt: skip
SPARES, ALLOWED = "Spares", "SHORT OR OVERRIDDEN"
NO_BAG, NOTHING_TO_ISSUE, NO_SPARES, NOTHING_TO_RETURN = (
    "No bag.", "Nothing to issue.", "No spares.", "Nothing was issued, nothing to return.",
)  # fmt: skip


class SlipHead(NamedTuple):
    """What a slip says above its lines, on a sheet and on a roll; ``number``: parts of its readable number."""

    title: str
    subject: str
    facts: tuple[str, ...]
    number: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SlipBag:
    """A bag on a slip: its readable number, location and state (``FULL``, ``SHORT: 1 JS-3``), what it weighs."""

    number: str
    location: str
    state: str
    to_lift: str = ""


@dataclass(frozen=True, slots=True)
class SlipLine:
    """Pieces of one lot in a bag; ``quantity`` in stock units."""

    bag: str
    stock_code: str
    part: str
    lot: str
    quantity: Decimal
    unit: str

    @property
    def lot_words(self) -> str:
        """The lot, or that nobody knows it."""
        return self.lot or "unknown"


@dataclass(frozen=True, slots=True)
class Allowed:
    """Something short or overridden that somebody let go: what, why, by whom."""

    what: str
    why: str
    approved_by: str

    @property
    def sentence(self) -> str:
        """In words."""
        return f"{self.what} · why: {self.why} · approved by {self.approved_by}"


@dataclass(frozen=True, slots=True)
class IssueSlip:
    """What goes out with a crew. ``cutover`` and ``time`` are text with their zone; ``to_lift`` says the weight."""

    job: str
    title: str
    cutover: str
    depot: str
    crew: str
    truck: str
    time: str
    bags: tuple[SlipBag, ...]
    lines: tuple[SlipLine, ...]
    spares: tuple[SlipLine, ...] = ()
    allowed: tuple[Allowed, ...] = ()
    to_lift: str = ""

    @property
    def head(self) -> SlipHead:
        """What stands above its lines: when and where, who takes it, and what it weighs together."""
        taken = f"Crew {self.crew} · truck {self.truck} · {self.time}" if self.crew else self.time
        facts = [f"Cutover {self.cutover} · depot {self.depot}", taken]
        facts += [f"To lift in all: {self.to_lift}"] * bool(self.to_lift)
        return SlipHead(f"ISSUE SLIP · {self.depot}", f"{self.job} · {self.title}", tuple(facts), ("I", self.job))


@dataclass(frozen=True, slots=True)
class ReturnLine:
    """What became of the pieces of one lot of a bag, in stock units."""

    bag: str
    stock_code: str
    lot: str
    unit: str
    issued: Decimal
    installed: Decimal
    turned_in: Decimal
    scrapped: Decimal
    lost: Decimal
    condition: str = ""
    to_where: str = ""

    @property
    def still_open(self) -> Decimal:
        """Issued pieces that nobody has accounted for."""
        return self.issued - self.installed - self.turned_in - self.scrapped - self.lost

    @property
    def lot_words(self) -> str:
        """The lot, or that nobody knows it."""
        return self.lot or "unknown"

    @property
    def came_back(self) -> str:
        """In which condition pieces came back, and where they went."""
        return ", ".join(filter(None, (self.condition, self.to_where)))


@dataclass(frozen=True, slots=True)
class ReturnSlip:
    """What came back of what went out."""

    job: str
    title: str
    cutover: str
    depot: str
    crew: str
    bags: tuple[SlipBag, ...]
    lines: tuple[ReturnLine, ...]

    @property
    def head(self) -> SlipHead:
        """What stands above its lines; what is still open too."""
        left = sum(line.still_open != 0 for line in self.lines)
        facts = (
            f"Cutover {self.cutover} · depot {self.depot}{f' · crew {self.crew}' * bool(self.crew)}",
            f"{left} of {len(self.lines)} lines STILL OPEN" if left else "Balanced: nothing is open",
        )
        return SlipHead(f"RETURN SLIP · {self.depot}", f"{self.job} · {self.title}", facts, ("T", self.job))


def issue_slip(slip: IssueSlip, printed: Printed) -> bytes:
    """The issue slip as PDF."""
    flow = record_flow(printed, **slip.head._asdict())
    _bags(flow, slip.bags)
    flow.gap(4)
    table_or_words(flow, ISSUE_COLUMNS, [_issued(line, printed) for line in slip.lines], NOTHING_TO_ISSUE)
    flow.gap(4)
    flow.text(SPARES, SECTION, keep_mm=12)
    table_or_words(flow, ISSUE_COLUMNS, [_issued(line, printed) for line in slip.spares], NO_SPARES)
    if slip.allowed:
        _allowed(flow, slip.allowed)
    signatures(flow, "Storekeeper", "Crew")
    return pdf_bytes([flow], f"Issue slip {slip.job}")


def return_slip(slip: ReturnSlip, printed: Printed) -> bytes:
    """The return slip as PDF; what is still open stands in the head too."""
    flow = record_flow(printed, **slip.head._asdict())
    _bags(flow, slip.bags)
    flow.gap(4)
    rows = [
        (
            line.bag,
            f"{line.stock_code} {printed.words('lot')} {line.lot_words}",
            amount(line.issued, line.unit),
            *(number_text(count) for count in (line.installed, line.turned_in, line.scrapped, line.lost)),
            number_text(line.still_open),
            line.came_back,
        )
        for line in slip.lines
    ]
    table_or_words(flow, RETURN_COLUMNS, rows, NOTHING_TO_RETURN)
    signatures(flow, "Crew", "Storekeeper")
    return pdf_bytes([flow], f"Return slip {slip.job}")


def return_slip_csv(slip: ReturnSlip) -> bytes:
    """The return slip as CSV, one row a lot and bag."""
    rows = [
        (slip.job, line.bag, line.stock_code, line.lot, line.unit, line.issued, line.installed, line.turned_in,
         line.scrapped, line.lost, line.still_open, line.condition, line.to_where)
        for line in slip.lines
    ]  # fmt: skip
    return csv_bytes(table_frame(RETURN_HEADERS, rows))


def _bags(flow: Flow, bags: tuple[SlipBag, ...]) -> None:
    rows = [(bag.number, bag.location, " · ".join(filter(None, (bag.state, bag.to_lift)))) for bag in bags]
    table_or_words(flow, BAG_COLUMNS, rows, NO_BAG)


def _issued(line: SlipLine, printed: Printed) -> tuple[str, ...]:
    part = printed.words(line.part)
    return line.bag, line.stock_code, part, line.lot_words, amount(line.quantity, line.unit)


def _allowed(flow: Flow, allowed: tuple[Allowed, ...]) -> None:
    """Short and overridden lines, each in a box."""
    flow.gap(4)
    flow.text(ALLOWED, SECTION, keep_mm=16)
    for one in allowed:
        flow.boxed(one.sentence)
