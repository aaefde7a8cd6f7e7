"""A reorder sheet as it was sent, for a supplier and for finance: the same columns as the sheet of a plan."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import pandas as pd

from kitting.calculation.bags import YES
from kitting.documents.job_papers import amount
from kitting.documents.layout import Cell, Column
from kitting.documents.record_papers import Printed, pdf_bytes, record_flow, table_frame, table_or_words
from kitting.documents.reorder_sheet import COLUMNS, HEADERS, in_words, price_words, row_cells

_MONEY = ("last price", "price date")
_PRICE = "Last price"
_NUMBERS = ("need", "on_order", "net", "order_quantity", "resulting_quantity", "over_by")


@dataclass(frozen=True, slots=True)
class SentRow:
    """A line of a sent sheet: the plan's row as text with what was known of the item then, and the order line."""

    cells: dict[str, str]
    order_line: str

    @property
    def words(self) -> str:
        """``need 7 ea, order 3 kits of 3 ea (9 ea), 2 over``."""
        return in_words(self.cells, self.cells.get("unit") or "ea")


@dataclass(frozen=True, slots=True)
class Sent:
    """A sheet that was sent; ``as_of`` is the day of the plan that asked for it."""

    number: int
    as_of: date
    rows: Sequence[SentRow]


def sent_frame(sent: Sent, *, prices: bool) -> pd.DataFrame:
    """The sheet as a table: codes are text, quantities decimals, days ISO text; money only where it may be seen."""
    headers = [*(name for name in HEADERS if prices or name not in _MONEY), "order line"]
    rows = []
    for row in sent.rows:
        told = _cells(row, sent)
        rows.append([told[name] for name in headers])
    return table_frame(headers, rows)


def _cells(row: SentRow, sent: Sent) -> dict[str, object]:
    cells = row.cells
    unit = cells.get("unit") or "ea"
    bought = cells["purchase_unit"] or unit
    need, on_order, net, ordered, gives, over = (Decimal(cells[name]) for name in _NUMBERS)
    price = cells.get("price", "")
    values = (
        cells["supplier"], cells["stock_code"], cells["supplier_code"], cells["description"], need, unit, on_order, net,
        ordered, bought, f"1 {bought} = {amount(Decimal(cells['per_purchase_unit']), unit)}", gives, over,
        cells["depot"], cells["needed_by"], cells["order_by"], cells["too_late"], cells["jobs"],
        Decimal(price) if price else None, cells.get("price_date", ""), row.words, str(sent.number),
        sent.as_of.isoformat(),
    )  # fmt: skip
    return {**dict(zip(HEADERS, values, strict=True)), "order line": row.order_line}


def sent_sheet_pdf(sent: Sent, printed: Printed, *, prices: bool) -> bytes:
    """The sheet on paper, as it was sent; money only where it may be seen, the order lines in its place elsewhere."""
    columns = [one if one.heading != _PRICE or prices else Column("Order line", one.width_mm) for one in COLUMNS]
    late = sum(row.cells["too_late"] == YES for row in sent.rows)
    count = f"{len(sent.rows)} {'row' if len(sent.rows) == 1 else 'rows'} ordered"
    flow = record_flow(
        printed, title=f"REORDER SHEET {sent.number} · AS SENT", subject=f"{count}, {late} TOO LATE" if late else count,
        facts=(f"Planned from the stock as of {sent.as_of.isoformat()}",), number=("R", str(sent.number)),
        landscape=True,
    )  # fmt: skip
    table_or_words(flow, columns, [_paper_cells(row, prices=prices) for row in sent.rows], "Nothing was ordered.")
    return pdf_bytes([flow], f"Reorder sheet {sent.number}")


def _paper_cells(row: SentRow, *, prices: bool) -> list[Cell]:
    cells = row.cells
    last = price_words(cells.get("price"), cells.get("price_date")) if prices else row.order_line
    return row_cells(cells, part=cells["description"], unit=cells.get("unit") or "ea", last=last)
