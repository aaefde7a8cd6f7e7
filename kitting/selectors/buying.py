"""What the plan applied last asks purchasing to order, what of it is sent, and the sheets that were sent."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Q, QuerySet

from inventory.models import Item
from kitting.calculation.bags import YES
from kitting.errors import Refusal
from kitting.models import AppliedPlan, PlanRow, SentLine, SentSheet
from kitting.selectors.bag_contents import bare, consumed
from kitting.selectors.cutovers import last_plan

PRICE_LASTS_DAYS = 90  # an older price is marked
_REORDER, _SHORTAGES, _QUESTIONS = "reorder", "shortages", "questions"

Row = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Price:
    """What was paid last for a purchase unit, and when; both '' where nobody has said."""

    price: str
    day: date | None

    def is_old(self, today: date) -> bool:
        """Whether it may mislead: older than the limit, or of an unknown day."""
        return bool(self.price) and (self.day is None or (today - self.day).days > PRICE_LASTS_DAYS)


@dataclass(frozen=True, slots=True)
class ToOrder:
    """A line of the plan's reorder table; ``sent_on`` is the number of the sheet that holds it, 0 while none does."""

    row: Row
    unit: str
    price: Price
    sent_on: int

    @property
    def too_late(self) -> bool:
        """Whether it can't come in time any more."""
        return self.row["too_late"] == YES


@dataclass(frozen=True, slots=True)
class Buying:
    """What purchasing looks at.

    Args:
        plan: the one applied last; None where there is none.
        by_supplier: its reorder lines by supplier, '' for none named.
        shortages: rows of its table of shortages.
        blocked: what can't be ordered, because nobody has said what a purchase unit holds.
    """

    plan: AppliedPlan | None
    by_supplier: Mapping[str, Sequence[ToOrder]]
    shortages: Sequence[Row]
    blocked: Sequence[Row]

    @property
    def new(self) -> list[ToOrder]:
        """The lines that no sheet holds yet."""
        return [one for lines in self.by_supplier.values() for one in lines if not one.sent_on]


def buying(*, shortages: bool = True) -> Buying:
    """The tables of the plan applied last, as purchasing needs them; four queries, however many lines there are."""
    plan = last_plan()
    if plan is None:
        return Buying(None, {}, (), ())
    rows: dict[str, list[Row]] = {_REORDER: [], _SHORTAGES: [], _QUESTIONS: []}
    wanted = Q(table=_REORDER) | Q(table=_QUESTIONS, cells__sheet="items", cells__column="per purchase unit")
    if shortages:
        wanted |= Q(table=_SHORTAGES)
    found = PlanRow.objects.filter(wanted, plan=plan).order_by("position")
    for table, cells in found.values_list("table", "cells"):
        rows[table].append(cells)
    sent = {
        (cells["stock_code"], cells["depot"]): number
        for number, cells in SentLine.objects.filter(sheet__plan=plan).values_list("sheet__number", "cells")
    }
    codes = {row["stock_code"] for row in rows[_REORDER]}
    items = {item.stock_code: item for item in Item.objects.filter(stock_code__in=codes)}
    by_supplier: dict[str, list[ToOrder]] = {}
    for row in rows[_REORDER]:
        item = items[row["stock_code"]]
        price = Price("" if item.price is None else f"{item.price.normalize():f}", item.price_date)
        line = ToOrder(row, item.stock_unit, price, sent.get((row["stock_code"], row["depot"]), 0))
        by_supplier.setdefault(row["supplier"], []).append(line)
    return Buying(plan, by_supplier, rows[_SHORTAGES], rows[_QUESTIONS])


def to_order_counts() -> tuple[int, int, int]:
    """Lines of the plan applied last that are not sent, those of them that are too late, and what is blocked."""
    known = buying(shortages=False)
    new = known.new
    return len(new), sum(one.too_late for one in new), len(known.blocked)


def sent_sheets() -> QuerySet[SentSheet]:
    """The sheets that were sent, the last first, with the number of their lines as ``count``."""
    return SentSheet.objects.select_related("plan").annotate(count=Count("lines")).order_by("-number")


def sent_sheet(number: int) -> tuple[SentSheet, list[SentLine]]:
    """A sheet that was sent with its lines in their order; two queries.

    Raises:
        Refusal: ``unknown-sheet``.
    """
    sheet = SentSheet.objects.select_related("plan").filter(number=number).first()
    if sheet is None:
        raise Refusal("unknown-sheet", f"No reorder sheet {number} was sent.", {"number": number})
    return sheet, [*sheet.lines.select_related("order_line__order", "order_line__depot").order_by("pk")]


def price_of(line: SentLine) -> Price:
    """The price as it was when the line was sent."""
    day = line.cells.get("price_date", "")
    return Price(line.cells.get("price", ""), date.fromisoformat(day) if day else None)


@dataclass(frozen=True, slots=True)
class Consumed:
    """Pieces of a supplier that were used on a job: what he bills; ``pieces`` in words."""

    supplier: str
    stock_code: str
    lot: str
    job: str
    pieces: str


def consumption() -> list[Consumed]:
    """A line a supplier, stock code, lot and job; two queries."""
    used = consumed()
    items = Item.objects.filter(stock_code__in={code for _, code, _, _ in used}).select_related("supplier")
    known = {item.stock_code: item for item in items}
    found = [
        Consumed(_supplier(known[code]), code, lot or "lot unknown", job, f"{bare(pieces)} {known[code].stock_unit}")
        for job, code, lot, pieces in used
    ]
    return sorted(found, key=lambda one: (one.supplier, one.stock_code, one.lot, one.job))


def _supplier(item: Item) -> str:
    return item.supplier.name if item.supplier else ""
