"""The count sheet: places in walk order with a blank for each count; a blind sheet shows no book figure."""

from dataclasses import dataclass
from decimal import Decimal

from kitting.documents.job_papers import amount
from kitting.documents.layout import Column
from kitting.documents.record_papers import (
    Printed,
    csv_bytes,
    pdf_bytes,
    record_flow,
    signatures,
    table_frame,
    table_or_words,
)

BLANK = "________"
NOTHING = "Nothing to count."
HEADERS = ("line", "place", "stock code", "part", "lot", "unit", "pack", "book quantity", "count", "recount", "remark")


@dataclass(frozen=True, slots=True)
class CountLine:
    """One lot at one place (bin, staged bag, van or truck); a place that should be empty has no stock code.

    Args:
        place: as on its sign.
        stock_code, part, lot: what should lie there.
        unit: stock unit in which to count.
        pack: ratio to the pack, such as ``1 kit = 3 ea``; '' where there is none.
        book: stock units on the books; printed only on a sheet that is not blind.
    """

    place: str
    stock_code: str
    part: str
    lot: str
    unit: str
    pack: str = ""
    book: Decimal | None = None


@dataclass(frozen=True, slots=True)
class CountSheet:
    """Lines in walk order, by whose numbers the figures are typed back."""

    number: str
    depot: str
    day: str
    counter: str
    lines: tuple[CountLine, ...]
    blind: bool = True


def count_sheet(sheet: CountSheet, printed: Printed) -> bytes:
    """The sheet as PDF."""
    flow = record_flow(
        printed,
        title=f"COUNT SHEET · {sheet.depot}",
        subject=f"Count {sheet.number} · {sheet.day}",
        facts=(
            f"Depot {sheet.depot} · counter {sheet.counter or '________________'}",
            "Blind count: count what lies there. " if sheet.blind else "Book figures are printed: not a blind count.",
            "Write 0 where nothing lies; leave no line blank. The recount is another person's.",
        ),
        number=("C", sheet.number),
    )
    rows = [(str(number), *_cells(sheet, line, printed)) for number, line in enumerate(sheet.lines, 1)]
    table_or_words(flow, _columns(sheet), rows, NOTHING)
    signatures(flow, "Counted by", "Recounted by")
    return pdf_bytes([flow], f"Count sheet {sheet.number}")


def _columns(sheet: CountSheet) -> tuple[Column, ...]:
    head = (Column("Line", 12, align="right"), Column("Place", 24, bold=True), Column("Stock code", 27, bold=True))
    wide = 19 if sheet.blind else 17
    tail = (Column("Count", wide), Column("Recount", wide), Column("Remark", 16))
    if sheet.blind:
        return (*head, Column("Part", 30), Column("Lot", 23), Column("Unit, pack", 20), *tail)
    book = Column("Book", 13, align="right")
    return (*head, Column("Part", 25), Column("Lot", 21), Column("Unit, pack", 18), book, *tail)


def _cells(sheet: CountSheet, line: CountLine, printed: Printed) -> tuple[str, ...]:
    lot = (line.lot or "unknown") if line.stock_code else "–"
    unit = f"{line.unit} ({line.pack})" if line.pack else line.unit
    part = printed.words(line.part) or "should be empty"
    book = () if sheet.blind else ("–" if line.book is None else amount(line.book, ""),)
    return (line.place, line.stock_code or "–", part, lot, unit, *book, BLANK, BLANK, "")


def count_sheet_csv(sheet: CountSheet) -> bytes:
    """The sheet as CSV with blank counts; the book quantity stays blank on a blind sheet."""
    rows = [
        (number, line.place, line.stock_code, line.part, line.lot, line.unit, line.pack,
         None if sheet.blind else line.book, "", "", "")
        for number, line in enumerate(sheet.lines, 1)
    ]  # fmt: skip
    return csv_bytes(table_frame(HEADERS, rows))
