"""The reorder sheet: what to buy from whom, in purchase units beside the need, ready to be sent."""

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path

import pandas as pd

from kitting.calculation.bags import YES
from kitting.calculation.short_codes import make_code
from kitting.documents.cautions import cautions
from kitting.documents.job_papers import amount, number_text
from kitting.documents.layout import Cell, Column, Flow, Frame, sheet_area
from kitting.documents.plan_papers import PlanPapers, Row, records
from kitting.documents.wording import Words
from kitting.spreadsheets.writing import SheetContent, write_people_csv, write_workbook

HEADERS = (
    "supplier", "our code", "their number", "part", "need", "unit", "already on order", "net",
    "order quantity", "purchase unit", "factor", "resulting quantity", "over by", "depot", "needed by", "order by",
    "too late", "jobs served", "last price", "price date", "notes", "sheet number", "as of",
)  # fmt: skip
COLUMNS = (
    Column("Supplier", 25),
    Column("Our code", 21, bold=True),
    Column("Their number", 20),
    Column("Part", 31),
    Column("Need", 13, align="right"),
    Column("On order", 13, align="right"),
    Column("Net", 13, align="right", bold=True),
    Column("Order", 25, bold=True),
    Column("Gives", 13, align="right"),
    Column("Over", 11, align="right"),
    Column("Needed at, by", 20),
    Column("Order by", 20, bold=True),
    Column("Jobs", 14),
    Column("Last price", 20),
)


def many(unit: str) -> str:
    """``kits``, ``boxes``; short unit names such as ea and ft stay as they are."""
    return unit if len(unit) < 3 else f"{unit}es" if unit.endswith(("x", "s", "ch")) else f"{unit}s"


def plural(count: Decimal, unit: str) -> str:
    """``3 kits``, ``1 kit``."""
    return f"{number_text(count)} {unit if count == 1 else many(unit)}"


def in_words(row: Row, unit: str) -> str:
    """``need 7 ea, order 3 kits of 3 ea (9 ea), 2 over``, with the refill where there is one."""
    need, net, factor = (Decimal(str(row[name])) for name in ("need", "net", "per_purchase_unit"))
    refill = f" and {amount(net - need, unit)} refill" if net > need else ""
    over = Decimal(str(row["over_by"]))
    tail = f", {number_text(over)} over" if over else ""
    ordered = plural(Decimal(str(row["order_quantity"])), str(row["purchase_unit"]) or unit)
    factor_text = f" of {amount(factor, unit)}" if factor != 1 else ""
    gives = f" ({amount(Decimal(str(row['resulting_quantity'])), unit)})" if factor != 1 else ""
    due = Decimal(str(row.get("due_back", "0") or "0"))
    back = f"; {amount(due, unit)} due back from crews, free once sorted" if due else ""
    return f"need {amount(need, unit)}{refill}, order {ordered}{factor_text}{gives}{tail}{back}"


def sheet_number(papers: PlanPapers) -> str:
    """Readable number of the sheet, made from the digest of the inputs."""
    return make_code("R", papers.plan.book.digest[:6])


def _item(papers: PlanPapers, row: Row) -> tuple[Mapping[str, object], str]:
    item = papers.items.get(str(row["stock_code"]), {})
    return item, str(item.get("stock_unit") or "ea")


def _noun(papers: PlanPapers, row: Row, words: Words) -> str:
    item, _ = _item(papers, row)
    return papers.noun(str(row["stock_code"]), words(str(item.get("kind") or "")))


def reorder_frame(papers: PlanPapers, words: Words) -> pd.DataFrame:
    """The sheet as a table: codes are text, quantities numbers, dates ISO text."""
    number, as_of = sheet_number(papers), papers.plan.as_of.isoformat()
    rows = []
    for row in records(papers.plan.reorder):
        item, unit = _item(papers, row)
        bought = str(row["purchase_unit"]) or unit
        rows.append((
            row["supplier"], row["stock_code"], row["supplier_code"], _noun(papers, row, words),
            row["need"], unit, row["on_order"], row["net"], row["order_quantity"], bought,
            f"1 {bought} = {amount(Decimal(str(row['per_purchase_unit'])), unit)}", row["resulting_quantity"],
            row["over_by"], row["depot"], row["needed_by"], row["order_by"], row["too_late"], row["jobs"],
            item.get("price"), item.get("price_date"), in_words(row, unit), number, as_of,
        ))  # fmt: skip
    return pd.DataFrame(rows, columns=list(HEADERS), dtype=object)


def reorder_flow(papers: PlanPapers, words: Words) -> Flow:
    """The sheet as pages."""
    policies, number = papers.plan.book.policies, sheet_number(papers)
    late = sum(row["too_late"] == YES for row in records(papers.plan.reorder))
    count = len(papers.plan.reorder)
    frame = Frame(
        title=papers.titled("REORDER SHEET"),
        subject=_subject(count, late),
        facts=(f"Sheet {number} · stock as of {papers.plan.as_of.isoformat()} · {papers.print_text}",),
        number=number,
        code=number,
        cautions=cautions(words)[:1],
        demo=policies.demo,
    )
    flow = Flow(sheet_area(policies.paper, landscape=True), frame)
    if count:
        flow.table(COLUMNS, [_cells(papers, row, words) for row in records(papers.plan.reorder)])
    else:
        flow.text("Nothing to order.")
    return flow


def _subject(count: int, late: int) -> str:
    rows = f"{count} {'row' if count == 1 else 'rows'} to order" if count else "Nothing to order"
    return f"{rows}, {late} TOO LATE" if late else rows


def row_cells(row: Row, *, part: str, unit: str, last: str) -> list[Cell]:
    """The cells of ``COLUMNS`` of a row of a plan's reorder table.

    Args:
        row: its cells.
        part: what the item is, in words.
        unit: its stock unit.
        last: the last cell: the price that was paid, or what stands in its place.
    """
    need, on_order, net, factor, gives, over, order = (
        Decimal(str(row[name]))
        for name in ("need", "on_order", "net", "per_purchase_unit", "resulting_quantity", "over_by", "order_quantity")
    )
    ordered = plural(order, str(row["purchase_unit"]) or unit)
    return [
        str(row["supplier"]) or "not named",
        str(row["stock_code"]),
        str(row["supplier_code"]) or "–",
        part,
        amount(need, unit),
        amount(on_order, unit),
        amount(net, unit),
        f"{ordered} of {amount(factor, unit)}" if factor != 1 else ordered,
        amount(gives, unit),
        number_text(over),
        f"{row['depot']} by {row['needed_by']}",
        f"{row['order_by']} TOO LATE" if row["too_late"] == YES else str(row["order_by"]),
        str(row["jobs"]),
        last,
    ]


def price_words(price: object, day: object) -> str:
    """``4.50 on 2026-01-05``; that there is no date, or no price."""
    return "–" if price in (None, "") else f"{price} on {day or 'no date'}"


def _cells(papers: PlanPapers, row: Row, words: Words) -> list[Cell]:
    item, unit = _item(papers, row)
    last = price_words(item.get("price"), item.get("price_date"))
    return row_cells(row, part=_noun(papers, row, words), unit=unit, last=last)


def write_reorder_tables(folder: Path, papers: PlanPapers, words: Words) -> list[Path]:
    """The sheet as a workbook and as CSV that a person opens."""
    frame = reorder_frame(papers, words)
    workbook, text = folder / "reorder-sheet.xlsx", folder / "reorder-sheet.csv"
    write_workbook(workbook, {"reorder": SheetContent(frame, wrapped=("part", "notes"))})
    write_people_csv(frame, text)
    return [workbook, text]
