"""What is to be bought, by supplier and in the units they sell; the sheets that were sent; what suppliers may bill."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import partial

import pandas as pd
from django.http import HttpResponse
from django.urls import reverse

from inventory.selectors.words import quantity_text
from kitting.calculation.cure_table import is_of_kit
from kitting.documents.record_papers import csv_bytes, table_frame, workbook_bytes
from kitting.documents.reorder_sheet import in_words
from kitting.documents.sent_sheet import Sent, SentRow, sent_frame, sent_sheet_pdf
from kitting.errors import Refusal
from kitting.models import AppliedPlan, SentLine, SentSheet
from kitting.pages.asked import ANY_REFUSAL, Asked, done, page, refused
from kitting.pages.cutover_pages import WITH_KIT, why_cell
from kitting.pages.paper_pages import exported, file_response, printed
from kitting.pages.short_line_pages import owner_cell, owner_choices
from kitting.pages.tables import Cell, RowsOf, Table, figure, link
from kitting.roles import DO, SEE
from kitting.selectors.bag_contents import label_code
from kitting.selectors.buying import (
    PRICE_LASTS_DAYS,
    Price,
    ToOrder,
    buying,
    consumption,
    price_of,
    sent_sheet,
    sent_sheets,
    suppliers_stock,
)
from kitting.selectors.job_sheet import cured_whole
from kitting.selectors.returns_due import returns_due
from kitting.selectors.short_lines import cares
from kitting.services.change_orders import ORDER_SHEET
from kitting.services.send_orders import send_reorder_sheet

PRICES = "prices"
_NO_SUPPLIER = "no supplier named"
_SHEETS_SHOWN = 20
_SHORT = ("Job", "What", "Short", "Order by", "On order", "What would cure it", "Who sees to it")
_USED = ("Supplier", "Stock code", "Lot", "Job", "Used")
_OWNED = ("Supplier", "Stock code", "Lot", "Place", "Pieces", "Since")


def buying_page(asked: Asked) -> HttpResponse:
    """The reorder lines of the plan applied last by supplier, its shortages, and the sheets that were sent."""
    if asked.request.method == "POST":
        return _send(asked)
    known = buying(asked.today)
    money = asked.actor.may(PRICES, SEE)
    suppliers = [
        {
            "name": name,
            "label": name or _NO_SUPPLIER,
            "new": sum(not one.sent_on and asked.actor.may(ORDER_SHEET, DO, one.row["depot"]) for one in lines),
            "late": known.lateness[name].words if name else "",
            "table": _lines(asked, name or _NO_SUPPLIER, lines, money=money),
        }
        for name, lines in known.by_supplier.items()
    ]
    context = {
        "plan": known.plan,
        "suppliers": suppliers,
        "to_send": len(known.new),
        "late": sum(one.too_late for one in known.new),
        "blocked": known.blocked,
        "makers": known.makers,
        "shortages": Table(
            "Lines that are short", _SHORT, RowsOf(known.shortages, partial(_shortages, asked, known.plan)),
            "Nothing is short by the plan applied last.",
        ),
        "owners": owner_choices(asked, jobs=known.short_jobs),
        "returns": _returns(asked),
        "sheets": _sheets(asked, sent_sheets()[:_SHEETS_SHOWN]),
        "may_send": any(asked.actor.may(ORDER_SHEET, DO, one.row["depot"]) for one in known.new),
    }  # fmt: skip
    return page(asked, "buying.html", context)


def _send(asked: Asked) -> HttpResponse:
    chosen = asked.request.POST.getlist("supplier")
    address = reverse("buying")
    if not chosen:
        none = Refusal("no-supplier", "Nothing was sent: tick the suppliers whose lines go on the sheet.", {})
        return refused(asked, none, address)
    seen = asked.text("plan")
    plan = int(seen) if seen.isascii() and seen.isdigit() else 0
    try:
        sheet = send_reorder_sheet(suppliers=chosen, seen=plan, **asked.scan())
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, address)
    count = sheet.lines.count()
    sentence = f"{'1 line is' if count == 1 else f'{count} lines are'} on order now, and on no later sheet."
    return done(asked, "SENT", sentence, reverse("sent-sheet", args=[sheet.number]))


def _lines(asked: Asked, name: str, lines: Sequence[ToOrder], *, money: bool) -> Table:
    heads = ("Stock code", "To order", "Already on order", "Order by", "Deliver to", "Jobs served")
    rows = []
    for one in lines:
        row = one.row
        state = f"on sheet {one.sent_on}" if one.sent_on else ""
        late = "" if one.sent_on else _late(row)
        told = Cell(state or row["order_by"], note=" · ".join(filter(None, (late, one.lead.words(asked.today)))))
        cells = [
            Cell(row["stock_code"], note=" · ".join(filter(None, (row["supplier_code"], row["description"])))),
            Cell(
                in_words(row, one.unit),
                note=" · ".join(filter(None, (one.expiry_words, "" if one.sent_on else one.to_count))),
            ),
            figure(
                f"{row['on_order']} {one.unit}" if row["on_order"] != "0" else "–",
                note="" if one.sent_on else one.to_chase,
            ),
            told,
            Cell(row["depot"], note=f"by {row['needed_by']}" if row["needed_by"] else ""),
            Cell(row["jobs"] or "refill"),
        ]
        rows.append([*cells, price_cell(asked, one.price, "" if one.sent_on else one.break_words)] if money else cells)
    sent = frozenset(at for at, one in enumerate(lines) if one.sent_on)
    return Table(name, (*heads, "Last price") if money else heads, rows, "", sent)


def _late(row: Mapping[str, str]) -> str:
    if row["order_by"] == "can't tell":
        return "the lead days are not known"
    return "TOO LATE" if row["too_late"] == "yes" else ""


def price_cell(asked: Asked, price: Price, more: str = "") -> Cell:
    """A price with its day, marked where it may mislead; ``more`` stands below."""
    if not price.price:
        return Cell("not known")
    mark = f", OLDER THAN {PRICE_LASTS_DAYS} DAYS" if price.is_old(asked.today) else ""
    said = f"{price.day}{mark}" if price.day else "NO DATE"
    return Cell(price.price, note=" · ".join(filter(None, (said, more))))


def _shortages(asked: Asked, plan: AppliedPlan | None, found: Iterable[Mapping[str, str]]) -> list[list[Cell]]:
    rows = [*found]
    cared = cares([row["line"] for row in rows])
    return [
        [
            link(row["job"], "job", row["job"]),
            why_cell(row["stock_code"] or row["kind"], row, note=row["line"]),
            figure(row["short"], note=f"{row['have']} of {row['need']}"),
            Cell(row["order_by"] or "–", note=_late(row)),
            Cell(row["on_order"] or "–"),
            cure,
            owner_cell(asked, cared[row["line"]]),
        ]
        for row, cure in zip(rows, _cure_cells(plan, rows), strict=True)
    ]


def _cure_cells(plan: AppliedPlan | None, rows: Sequence[Mapping[str, str]]) -> Iterator[Cell]:
    """What would cure each line; where that is what completes a whole kit, it stands at the first line of its job."""
    whole = cured_whole(plan, {row["job"] for row in rows})
    told: dict[str, str] = {}
    for row in rows:
        job, code = row["job"], row["stock_code"]
        if job not in whole or not is_of_kit(row["line"], code):
            yield Cell(row["cure"] or "none found")
        elif job in told:
            yield Cell(WITH_KIT, note=f"as told above at {told[job]} of {job}")
        else:
            told[job] = code
            yield Cell(row["cure"], note=f"completes the whole kit of {job}")


def _returns(asked: Asked) -> Table:
    """What crews are to bring back, whose job is done."""
    rows = [
        [
            Cell(one.item.stock_code, note=one.item.description),
            figure(quantity_text(one.quantity, one.item.stock_unit)),
            link(one.bag, "bag", label_code(one.bag)),
            Cell(one.bag.crew or "–", note=one.bag.whereabouts),
            Cell(one.bag.depot.depot),
            Cell(one.since, note=f"{(asked.today - one.since).days} days ago"),
        ]
        for one in returns_due(asked.today)
    ]
    heads = ("Stock code", "Due back", "Bag", "With", "Depot", "Outage ended")
    return Table("Due back from crews whose job is done", heads, rows, "No crew has pieces of a job that is done.")


def _sheets(asked: Asked, sheets: Iterable[SentSheet]) -> Table:
    rows = [
        [link(str(one), "sent-sheet", one.number), figure(getattr(one, "count", 0)), one.sent_by,
         one.sent_at.astimezone(asked.zone).date(), str(one.plan)]
        for one in sheets
    ]  # fmt: skip
    heads = ("Sheet", "Lines", "Sent by", "On", "Asked for by")
    return Table("Sheets that were sent", heads, rows, "No reorder sheet was sent yet.")


def sheet_page(asked: Asked, number: str) -> HttpResponse:
    """A sheet as it was sent, and what was known then."""
    sheet, lines = sent_sheet(int(number))
    money = asked.actor.may(PRICES, SEE)
    rows = []
    for line, row in zip(lines, _sent(sheet, lines).rows, strict=True):
        known = line.cells
        cells = [
            Cell(known["stock_code"], note=" · ".join(filter(None, (known["supplier_code"], known["description"])))),
            Cell(known["supplier"] or _NO_SUPPLIER),
            Cell(row.words),
            Cell(known["order_by"], note=_late(known)),
            Cell(known["depot"], note=f"by {known['needed_by']}" if known["needed_by"] else ""),
            Cell(known["jobs"] or "refill"),
            link(row.order_line, "order-line", line.order_line_id),
        ]
        rows.append([*cells, price_cell(asked, price_of(line))] if money else cells)
    heads = ("Stock code", "Supplier", "Ordered", "Order by, then", "Deliver to", "For jobs", "Order line")
    table = Table("Its lines, locked to it", (*heads, "Price, then") if money else heads, rows, "")
    return page(asked, "sent_sheet.html", {"sheet": sheet, "table": table})


def sheet_file(asked: Asked, number: str, ending: str) -> HttpResponse:
    """A sent sheet as a workbook for the supplier, or as CSV for finance."""
    sheet, lines = sent_sheet(int(number))
    frame = sent_frame(_sent(sheet, lines), prices=asked.actor.may(PRICES, SEE))
    stem = f"reorder-sheet-{number}"
    return exported(asked, f"{stem}.{ending}", str(sheet), number, _written(stem, ending, frame))


def sheet_paper(asked: Asked, number: int) -> HttpResponse:
    """Print a sent sheet; a second print of the same says REPRINT."""
    sheet, lines = sent_sheet(number)
    sent, money = _sent(sheet, lines), asked.actor.may(PRICES, SEE)
    about = printed(asked, "sent reorder sheet", str(number), (sent, money))
    return file_response(f"reorder-sheet-{number}.pdf", sent_sheet_pdf(sent, about, prices=money))


def _sent(sheet: SentSheet, lines: Iterable[SentLine]) -> Sent:
    rows = tuple(SentRow(one.cells, str(one.order_line)) for one in lines)
    return Sent(sheet.number, sheet.plan.as_of, rows)


def consumption_page(asked: Asked) -> HttpResponse:
    """What was used of pieces that belong to suppliers: a line a supplier, stock code, lot and job."""
    rows = [[one.supplier or _NO_SUPPLIER, one.stock_code, one.lot, link(one.job, "job", one.job), figure(one.pieces)]
            for one in consumption()]  # fmt: skip
    table = Table("Suppliers' pieces that were used", _USED, rows, "No piece of a supplier was used on a job yet.")
    lying = [[one.supplier or _NO_SUPPLIER, one.stock_code, one.lot, one.place, figure(one.pieces),
              Cell(f"{one.since.astimezone(asked.zone):%Y-%m-%d}", note=f"{(asked.at - one.since).days} days here")]
             for one in suppliers_stock()]  # fmt: skip
    title, none = "Suppliers' pieces that lie here, the oldest first", "No piece of a supplier lies here."
    here = Table(title, _OWNED, lying, none)
    return page(asked, "consumption.html", {"table": table, "here": here})


def consumption_file(asked: Asked, ending: str) -> HttpResponse:
    """The same as a file; that it was taken is noted."""
    rows = [(one.supplier, one.stock_code, one.lot, one.job, one.pieces) for one in consumption()]
    frame = table_frame([head.lower() for head in _USED], rows)
    stem = "suppliers-pieces-used"
    return exported(asked, f"{stem}.{ending}", stem, f"{len(rows)} lines", _written(stem, ending, frame))


def _written(stem: str, ending: str, frame: pd.DataFrame) -> bytes:
    if ending == "xlsx":
        return workbook_bytes({stem: frame})
    if ending == "csv":
        return csv_bytes(frame)
    raise Refusal("unknown-paper", f"There is a workbook (xlsx) and CSV, no {ending}.", {"ending": ending})
