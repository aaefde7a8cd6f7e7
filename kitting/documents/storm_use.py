"""The storm use report: what an event used, where it came from and what it cost, for a claim.

What a claim asks (type and quantity used, inventory or purchase papers, daily logs) follows public guidance on records
for public assistance (FEMA IS-1008 and state pages on it), as summarised, not the full text.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import pandas as pd

from kitting.documents.job_papers import amount, number_text
from kitting.documents.layout import STRONG, Column
from kitting.documents.record_papers import (
    Printed,
    csv_bytes,
    pdf_bytes,
    record_flow,
    table_frame,
    table_or_words,
    workbook_bytes,
)

COLUMNS = (
    Column("Date", 23),
    Column("Place", 42),
    Column("Item", 62, bold=True),
    Column("Quantity", 24, align="right", bold=True),
    Column("Unit price", 24, align="right"),
    Column("Value", 26, align="right"),
    Column("Source", 32),
    Column("Crew", 26),
)
HEADERS = (
    "event", "date", "place", "stock code", "part", "lot", "quantity", "unit", "unit price (owner's currency)",
    "value (owner's currency)", "source", "paper", "received by", "crew", "remark",
)  # fmt: skip
STOCK, PURCHASE, STOCK_OR_PURCHASE, SUPPLIERS = "stock", "purchase", "stock or purchase", "supplier's own"
NO_PRICE = "NO PRICE"


@dataclass(frozen=True, slots=True)
class StormLine:
    """Pieces that an event used; ``unit_price`` is per stock unit, None where no price is known.

    ``source`` says whether they lay in stock or were bought for the event; ``paper`` is the number that proves it: of
    the bag under which they left the stores, or of the order and delivery. ``received`` are the papers by which their
    lot came at all.
    """

    day: date
    place: str
    stock_code: str
    part: str
    lot: str
    quantity: Decimal
    unit: str
    unit_price: Decimal | None
    source: str
    paper: str
    received: str
    crew: str

    @property
    def value(self) -> Decimal | None:
        """Quantity times price."""
        return None if self.unit_price is None else self.quantity * self.unit_price


@dataclass(frozen=True, slots=True)
class StormUse:
    """All that one event used."""

    event: str
    title: str
    lines: tuple[StormLine, ...]

    @property
    def value(self) -> Decimal:
        """Value of all lines that have a price."""
        return sum((line.value for line in self.lines if line.value is not None), Decimal())

    @property
    def without_price(self) -> int:
        """Lines whose price nobody knows."""
        return sum(line.unit_price is None for line in self.lines)

    @property
    def sum_words(self) -> str:
        """How many lines there are and what they cost; lines without a price are left out of the sum, which says so."""
        lines, missing = (_lines(number) for number in (len(self.lines), self.without_price))
        without = f" WITHOUT {missing} that no price is known of" if self.without_price else ""
        return f"{lines}, value {number_text(self.value)}{without}"


def _lines(number: int) -> str:
    return f"{number} {'line' if number == 1 else 'lines'}"


def storm_use(event: str, title: str, lines: Iterable[StormLine]) -> StormUse:
    """The lines of an event by day, place and item."""
    ordered = sorted(lines, key=lambda line: (line.day, line.place, line.stock_code, line.lot, line.paper, line.crew))
    return StormUse(event, title, tuple(ordered))


def storm_use_report(use: StormUse, printed: Printed) -> bytes:
    """The report as PDF."""
    flow = record_flow(
        printed,
        title="STORM USE REPORT",
        subject=f"{use.event} · {use.title}",
        facts=(use.sum_words,),
        number=("S", use.event),
        landscape=True,
    )
    table_or_words(flow, COLUMNS, [_cells(line, printed) for line in use.lines], "Nothing was used.")
    flow.gap(2)
    flow.text(use.sum_words, STRONG)
    return pdf_bytes([flow], f"Storm use report {use.event}")


def _cells(line: StormLine, printed: Printed) -> tuple[str, ...]:
    price, value = ((NO_PRICE, "–") if line.value is None or line.unit_price is None
                    else (number_text(line.unit_price), number_text(line.value)))  # fmt: skip
    lot = f"{printed.words('lot')} {line.lot or 'unknown'}"
    return (
        line.day.isoformat(),
        line.place,
        f"{line.stock_code} · {printed.words(line.part)} · {lot}",
        amount(line.quantity, line.unit),
        price,
        value,
        f"{line.source} {line.paper}".strip(),
        line.crew or "not named",
    )


def _frame(use: StormUse) -> pd.DataFrame:
    rows = [
        (use.event, line.day, line.place, line.stock_code, line.part, line.lot, line.quantity, line.unit,
         line.unit_price, line.value, line.source, line.paper, line.received, line.crew,
         NO_PRICE if line.unit_price is None else "")
        for line in use.lines
    ]  # fmt: skip
    return table_frame(HEADERS, rows)


def storm_use_csv(use: StormUse) -> bytes:
    """The report as CSV."""
    return csv_bytes(_frame(use))


def storm_use_workbook(use: StormUse) -> bytes:
    """The report as a workbook, its total on a sheet of its own."""
    total = (use.event, use.title, len(use.lines), use.value, use.without_price)
    heads = ("event", "title", "lines", "value (owner's currency)", "without so many lines that have no price")
    return workbook_bytes({"storm use": _frame(use), "total": table_frame(heads, [total])})


FILES: Mapping[str, Callable[[StormUse, Printed], bytes]] = {
    "pdf": storm_use_report,
    "xlsx": lambda use, _: storm_use_workbook(use),
    "csv": lambda use, _: storm_use_csv(use),
}
