"""What the plan applied last asks purchasing to order, what of it is sent, and the sheets that were sent."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from math import lcm

from django.db.models import Count, F, Min, Q, QuerySet, Sum

from inventory.models import BIN, INSTALLED, LOST, SCRAPPED, Balance, Item, Movement, OrderLine, Supplier
from kitting.calculation.bags import YES
from kitting.calculation.one_maker import MAKER
from kitting.calculation.price_breaks import Offer, offer
from kitting.calculation.quantities import PER_UNIT, thousandths
from kitting.calculation.questions import NOTE
from kitting.calculation.sheets.trade_parsers import read_price_breaks
from kitting.errors import Refusal
from kitting.models import AppliedPlan, PlanRow, SentLine, SentSheet
from kitting.selectors.bag_contents import bare
from kitting.selectors.count_lists import OTHER_DAYS
from kitting.selectors.cutovers import last_plan
from kitting.selectors.lateness import NEVER_CAME, Lateness, lateness

PRICE_LASTS_DAYS = 90  # an older price is marked
_USED = (INSTALLED, SCRAPPED, LOST)
_MONTHS = 12  # of a year
_REORDER, _SHORTAGES, _QUESTIONS = "reorder", "shortages", "questions"
_BLOCKED = {"table": _QUESTIONS, "cells__sheet": "items", "cells__column": "per purchase unit"}
_MAKERS = {"table": _QUESTIONS, "cells__sheet": "items", "cells__column": MAKER, "cells__severity": NOTE}

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
class Lead:
    """Days that a supplier takes, and the day on which somebody last said so; None where nobody has."""

    days: int | None
    day: date | None

    def words(self, today: date) -> str:
        """``lead 14 days, said 2025-11-01, OLDER THAN 90 DAYS``; that its age is not known; '' without lead days."""
        if self.days is None:
            return ""
        if self.day is None:
            return f"lead {self.days} days, age not known"
        old = (today - self.day).days > PRICE_LASTS_DAYS
        return f"lead {self.days} days, said {self.day}{f', OLDER THAN {PRICE_LASTS_DAYS} DAYS' if old else ''}"


@dataclass(frozen=True, slots=True)
class ToOrder:
    """A line of the plan's reorder table.

    Args:
        row: its cells.
        unit: stock unit of the item.
        price: what was paid last.
        lead: how long its supplier takes.
        sent_on: number of the sheet that holds it, 0 while none does.
        shelf_months: how long its pieces keep; None: for ever.
        to_count: bins at its depot that nobody has counted for long, in words; '' for none.
        offer: what it costs by the supplier's price breaks; None where the price or the breaks are not known.
        to_chase: order lines of it that are overdue, without a day or too late, in words; '' for none.
        used: thousandths that were installed or scrapped of the item within the last 365 days.
    """

    row: Row
    unit: str
    price: Price
    lead: Lead
    sent_on: int
    shelf_months: int | None
    used: int
    to_count: str = ""
    offer: Offer | None = None
    to_chase: str = ""

    @property
    def too_late(self) -> bool:
        """Whether it can't come in time any more."""
        return self.row["too_late"] == YES

    @property
    def expiry_words(self) -> str:
        """What is bought beyond the need of jobs, where it may not be used before its date; '' elsewhere."""
        return self._may_expire(thousandths(self.row["resulting_quantity"]))

    @property
    def break_words(self) -> str:
        """The next price break beside what is to be ordered, and whether what is bought beyond the need may expire."""
        one = self.offer
        if one is None or one.later is None or one.later_price is None:
            return ""
        told = f"FROM {one.later:f}: {one.later_price:f} each"
        if one.saved <= 0:
            return told
        pieces = int(one.later * thousandths(self.row["resulting_quantity"]) / one.units)
        told = f"{told}, {one.later:f} cost {one.saved:f} LESS than {one.units:f}"
        return " · ".join(filter(None, (told, self._may_expire(pieces))))

    def _may_expire(self, pieces: int) -> str:
        beyond = pieces - thousandths(self.row["need"])
        if self.shelf_months is None or beyond <= 0:
            return ""
        within = f"{self.shelf_months} months"
        if not self.used:
            return f"no use in the last year: nobody knows whether {bare(beyond)} are used within {within}"
        likely = self.used * self.shelf_months // _MONTHS
        told = f"MAY EXPIRE: {bare(beyond)} more than jobs need, about {bare(likely)} are used in {within}"
        return told if beyond > likely else ""


@dataclass(frozen=True, slots=True)
class Buying:
    """What purchasing looks at.

    Args:
        plan: the one applied last; None where there is none.
        by_supplier: its reorder lines by supplier, '' for none named.
        lateness: how late each of these suppliers was.
        shortages: the cells of its table of shortages, the first staged first.
        short_jobs: the jobs in it.
        blocked: what can't be ordered, because nobody has said what a purchase unit holds.
        makers: joints whose pieces come from more than one maker, in words.
    """

    plan: AppliedPlan | None
    by_supplier: Mapping[str, Sequence[ToOrder]]
    lateness: Mapping[str, Lateness]
    shortages: QuerySet[PlanRow, Row]
    short_jobs: Sequence[str]
    blocked: Sequence[Row]
    makers: Sequence[str] = ()

    @property
    def new(self) -> list[ToOrder]:
        """The lines that no sheet holds yet."""
        return [one for lines in self.by_supplier.values() for one in lines if not one.sent_on]


def buying(today: date) -> Buying:
    """The tables of the plan applied last, as purchasing needs them; eleven queries, however many lines there are."""
    plan = last_plan()
    if plan is None:
        return Buying(None, {}, {}, _cells(_SHORTAGES, None).none(), (), ())
    rows: dict[str, list[Row]] = {_REORDER: [], _QUESTIONS: []}
    found = PlanRow.objects.filter(plan=plan, table__in=rows).filter(Q(table=_REORDER) | Q(**_BLOCKED) | Q(**_MAKERS))
    found = found.order_by("position")
    for table, cells in found.values_list("table", "cells"):
        rows[table].append(cells)
    short = _cells(_SHORTAGES, plan)
    sent = {
        (cells["stock_code"], cells["depot"]): number
        for number, cells in SentLine.objects.filter(sheet__plan=plan).values_list("sheet__number", "cells")
    }
    codes = {row["stock_code"] for row in rows[_REORDER]}
    items = {item.stock_code: item for item in Item.objects.filter(stock_code__in=codes)}
    used, uncounted, coming = _used(codes, today), _uncounted(codes, today), _coming(codes)
    by_supplier: dict[str, list[ToOrder]] = {}
    for row in rows[_REORDER]:
        item = items[row["stock_code"]]
        price = Price("" if item.price is None else f"{item.price.normalize():f}", item.price_date)
        sent_on = sent.get((row["stock_code"], row["depot"]), 0)
        lead = Lead(item.lead_days, item.lead_date)
        gone = used.get(row["stock_code"], 0)
        to_count = uncounted.get((item.stock_code, row["depot"]), "")
        line = ToOrder(
            row, item.stock_unit, price, lead, sent_on, item.shelf_months, gone, to_count, _offer(row, item),
            _to_chase(coming.get((item.stock_code, row["depot"]), ()), row["needed_by"], today),
        )  # fmt: skip
        by_supplier.setdefault(row["supplier"], []).append(line)
    jobs = [job for job, _ in short.values_list("job").annotate(first=Min("position")).order_by("first")]
    late = lateness(today)
    known = dict(Supplier.objects.filter(name__in=by_supplier).values_list("name", "pk"))
    told = {name: late.get(known.get(name, 0), NEVER_CAME) for name in by_supplier if name}
    asked = rows[_QUESTIONS]
    makers = [row["problem"] for row in asked if row["column"] == MAKER]
    blocked = [row for row in asked if row["column"] != MAKER]
    return Buying(plan, by_supplier, told, short, jobs, blocked, makers)


def _coming(codes: Collection[str]) -> Mapping[tuple[str, str], list[OrderLine]]:
    """Order lines of which something is to come, by stock code and depot, the first one first; one query."""
    lines = OrderLine.objects.filter(item__stock_code__in=codes, received__lt=F("quantity"), surplus="")
    found: dict[tuple[str, str], list[OrderLine]] = {}
    for line in lines.select_related("order", "item", "depot").order_by(F("promised").asc(nulls_first=True), "pk"):
        found.setdefault((line.item.stock_code, line.depot.depot), []).append(line)
    return found


def _to_chase(lines: Sequence[OrderLine], needed_by: str, today: date) -> str:
    """What is ordered already and doesn't help as it is: to be asked about before more of it is ordered."""
    told = []
    for line in lines:
        if line.promised is None:
            told.append(f"{line} has no day")
        elif line.promised < today:
            told.append(f"{line} was due {line.promised}")
        elif needed_by and line.promised.isoformat() > needed_by:
            told.append(f"{line} comes {line.promised}, too late")
    return f"CHASE FIRST: {', '.join(told)}" if told else ""


def _cells(table: str, plan: AppliedPlan | None) -> QuerySet[PlanRow, Row]:
    return PlanRow.objects.filter(table=table, plan=plan).order_by("position").values_list("cells", flat=True)


def _offer(row: Row, item: Item) -> Offer | None:
    """What a line costs by the price breaks of its item; orders grow by whole purchase units and order multiples."""
    if item.price is None or not item.price_breaks:
        return None
    per = item.per_purchase_unit or PER_UNIT
    step = Decimal(lcm(per, item.order_multiple or per)) / per
    breaks = read_price_breaks(item.price_breaks)
    return offer(Decimal(row["order_quantity"]), price=item.price.normalize(), breaks=breaks, step=step)


def _used(codes: Collection[str], today: date) -> dict[str, int]:
    """Thousandths that went for good within a year, by stock code."""
    gone = Movement.objects.filter(
        lot__item__stock_code__in=codes,
        ending__in=(INSTALLED, SCRAPPED),
        reversed_by__isnull=True,
        action__at__date__gt=today - timedelta(365),
    )
    return dict(gone.values_list("lot__item__stock_code").annotate(Sum("quantity")))


def _uncounted(codes: Collection[str], today: date) -> dict[tuple[str, str], str]:
    """By stock code and depot the bins with pieces that nobody has counted for long: count before you buy."""
    long_ago = Q(counted_on__isnull=True) | Q(counted_on__lt=today - timedelta(OTHER_DAYS))
    rows = Balance.objects.filter(long_ago, quantity__gt=0, place__kind=BIN, lot__item__stock_code__in=codes)
    found: dict[tuple[str, str], dict[str, None]] = {}
    cells = ("lot__item__stock_code", "place__depot__depot", "place__code")
    for code, depot, place in rows.order_by("place__code", "pk").values_list(*cells):
        found.setdefault((code, depot), {})[place] = None
    return {key: f"COUNT FIRST: {', '.join(places)}, uncounted for {OTHER_DAYS} days" for key, places in found.items()}


def to_order_counts() -> tuple[int, int, int]:
    """Lines of the plan applied last that are not sent, those of them that are too late, and what is blocked."""
    plan = last_plan()
    sent = SentLine.objects.filter(sheet__plan=plan)
    lines = PlanRow.objects.filter(plan=plan, table=_REORDER)
    late, sent_late = (found.filter(cells__too_late=YES).count() for found in (lines, sent))
    blocked = PlanRow.objects.filter(plan=plan, **_BLOCKED).count()
    return lines.count() - sent.count(), late - sent_late, blocked


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
    """Pieces of a supplier that were used: what he bills; ``job`` is '' where it was on none; ``pieces`` in words."""

    supplier: str
    stock_code: str
    lot: str
    job: str
    pieces: str


def consumed() -> list[tuple[str, str, str, int]]:
    """Job, stock code, lot and thousandths of the suppliers' pieces that were used: installed, scrapped or lost.

    Wherever that was: what was opened on a job and scrapped after its inspection, or missed at a count, is of no job.
    """
    theirs = Movement.objects.filter(lot__supplier_owned=True)
    theirs = theirs.exclude(lot__loan_moves__isnull=False)  # a neighbour's: the page of loans says what is owed
    found = theirs.filter(Q(ending__in=_USED) | Q(origin__in=_USED)).order_by("pk")
    names = ("from_place__job", "to_place__job", "lot__item__stock_code", "lot__number", "ending", "quantity")
    sums: dict[tuple[str, str, str], int] = defaultdict(int)
    for source, target, code, lot, ending, pieces in found.values_list(*names):
        sums[source or target or "", code, lot] += pieces if ending in _USED else -pieces
    return [(*key, pieces) for key, pieces in sorted(sums.items()) if pieces]


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


@dataclass(frozen=True, slots=True)
class Owned:
    """Pieces that belong to a supplier and lie with us; ``since`` when the first of their lot came; in words."""

    supplier: str
    stock_code: str
    lot: str
    place: str
    pieces: str
    since: datetime


def suppliers_stock() -> list[Owned]:
    """What suppliers keep here, the oldest lot first; two queries. A neighbour's loan is on the page of loans."""
    lying = Balance.objects.filter(lot__supplier_owned=True, quantity__gt=0, lot__loan_moves__isnull=True)
    rows = [*lying.select_related("lot__item__supplier", "place__depot")]
    came = Movement.objects.filter(lot__in={one.lot_id for one in rows}, from_place=None).order_by()
    since = dict(came.values_list("lot").annotate(Min("action__at")))
    found = [
        Owned(
            _supplier(one.lot.item), one.lot.item.stock_code, one.lot.number or "lot unknown", str(one.place),
            f"{bare(one.quantity)} {one.lot.item.stock_unit}", since[one.lot_id],
        )
        for one in rows
    ]  # fmt: skip
    return sorted(found, key=lambda one: (one.since, one.supplier, one.stock_code, one.lot, one.place))


def _supplier(item: Item) -> str:
    return item.supplier.name if item.supplier else ""
