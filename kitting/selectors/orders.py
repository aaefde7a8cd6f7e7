"""What is on order: when it comes, who waits for it, what has come of it and who got that."""

import itertools
from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import NamedTuple

from django.db.models import Count, F, Max, Min, Q, QuerySet

from inventory.models import BIN, HOLD, KEEP, SEND_BACK, SUPPLIER_OWNED, Balance, Movement, OrderLine
from inventory.selectors.finding import local_day
from inventory.selectors.words import quantity_text
from jobs.models import CANCELLED
from kitting.calculation.quantities import PER_UNIT, thousandths
from kitting.errors import Refusal
from kitting.models import AppliedPlan, Event, PlanRow, Promise, SentLine
from kitting.selectors.bag_contents import bare
from kitting.selectors.cutovers import last_plan
from kitting.selectors.promises import promised_at
from kitting.selectors.stock_on_books import ended_jobs

SOON_DAYS = 20
_DECIDED = {KEEP: "kept as stock", SEND_BACK: "what has come goes back to the supplier"}
_TO_SEND_BACK = (BIN, HOLD, SUPPLIER_OWNED)
PIECES_CAME = "its pieces have come"  # why a promise of an order was released


@dataclass(frozen=True, slots=True)
class Waiting:
    """A job that waits for pieces of an order line: thousandths; ``ready_on``: when they would be at its depot."""

    job: str
    quantity: int
    ready_on: date
    staged_by: date | None

    @property
    def is_late(self) -> bool:
        """Whether the bag must be ready before they are there."""
        return self.staged_by is not None and self.ready_on > self.staged_by


@dataclass(frozen=True, slots=True)
class OnOrder:
    """An order line with who waits for it, in the order in which the jobs are served.

    ``lacking`` says, where nobody is promised it, which jobs are short of its item: it comes too late for them, or
    nobody knows when; ``standing`` why else it is on order. Both are '' where somebody waits. ``is_new``: it
    was ordered by the plan applied last, so that only the next one can promise its pieces.
    """

    line: OrderLine
    waiting: Sequence[Waiting]
    standing: str
    lacking: str = ""
    is_new: bool = False

    @property
    def left(self) -> int:
        """Thousandths that are still to come."""
        return max(self.line.quantity - self.line.received, 0)

    def words(self, quantity: int) -> str:
        """Thousandths of its item in words."""
        return quantity_text(quantity, self.line.item.stock_unit)

    def is_overdue(self, today: date) -> bool:
        """Whether its day has passed."""
        return self.line.promised is not None and self.line.promised < today

    def matters(self, today: date) -> bool:
        """Whether a job hangs on it and it is due soon, overdue, or has no day; or it comes too late for one."""
        day = self.line.promised
        return bool(self.lacking) or (bool(self.waiting) and (day is None or day <= today + timedelta(SOON_DAYS)))


class BoughtUnit(NamedTuple):
    """What an item is ordered by: its name, thousandths of the stock unit in one, and whether anybody sells it so."""

    name: str
    pieces: int
    is_bought: bool
    stock_unit: str

    @property
    def holds(self) -> str:
        """`` of 3 ea``; '' where it is the stock unit."""
        return "" if self.pieces == PER_UNIT else f" of {quantity_text(self.pieces, self.stock_unit)}"


def in_purchase_units(line: OrderLine) -> BoughtUnit:
    """The unit in which a line is ordered: the stock unit where nobody has said what a purchase unit holds."""
    item = line.item
    if item.purchase_unit and item.per_purchase_unit:
        return BoughtUnit(item.purchase_unit, item.per_purchase_unit, True, item.stock_unit)
    return BoughtUnit(item.stock_unit or "ea", PER_UNIT, False, item.stock_unit)


def family_of(line: OrderLine) -> list[OrderLine]:
    """A line with all its parts, those without a day last; one query."""
    root = line.part_of_id or line.pk
    found = OrderLine.objects.filter(Q(pk=root) | Q(part_of=root)).select_related("order", "item", "depot")
    return [*found.order_by(F("promised").asc(nulls_last=True), "pk")]


def free_part_name(line: OrderLine) -> str:
    """The line number for the next part: ``1.2`` is the second part of line 1."""
    root = line.part_of or line
    taken = set(OrderLine.objects.filter(order=line.order).values_list("line", flat=True))
    return next(name for number in itertools.count(2) if (name := f"{root.line}.{number}") not in taken)


def on_order(number: int | None = None) -> list[OnOrder]:
    """Order lines of which something is to come, those without a day first, then the first to come; five queries.

    Args:
        number: only this one, by the number of its record, also where all of it has come.

    Raises:
        Refusal: ``unknown-order-line``.
    """
    lines = OrderLine.objects.select_related(
        "order", "item", "depot", "supplier", "sent_line__sheet", "part_of__order", "part_of__sent_line__sheet"
    )
    if number is None:
        lines = lines.filter(received__lt=F("quantity")).order_by(F("promised").asc(nulls_first=True), "pk")
    else:
        lines = lines.filter(pk=number)
    found = [*lines]
    if number is not None and not found:
        raise Refusal("unknown-order-line", f"There is no order line {number}.", {"line": number})
    plan = last_plan()
    waiting = _waiting([line.pk for line in found], plan)
    short = _short({line.item.stock_code for line in found}, plan)
    return [_on_order(line, plan, waiting[line.pk], short.get(line.item.stock_code, {})) for line in found]


def _on_order(
    line: OrderLine, plan: AppliedPlan | None, waiting: Sequence[Waiting], short: Mapping[str, int]
) -> OnOrder:
    sent = sent_line_of(line)
    is_new = sent is not None and plan is not None and sent.sheet.plan_id == plan.pk
    if waiting or line.surplus or is_new or not short or line.received >= line.quantity:
        return OnOrder(line, waiting, _standing(line, plan, waiting), is_new=is_new)
    lacking = ", ".join(f"{job} lacks {bare(pieces)}" for job, pieces in short.items())
    return OnOrder(line, waiting, "", f"{lacking}: ask the supplier for a day in time")


def _short(codes: Collection[str], plan: AppliedPlan | None) -> Mapping[str, Mapping[str, int]]:
    """Thousandths that jobs are short of by the plan, by stock code and job, the first staged first; two queries."""
    ended, found = ended_jobs(), defaultdict[str, Counter[str]](Counter)
    rows = PlanRow.objects.filter(plan=plan, table="shortages", cells__stock_code__in=codes)
    alike = rows.values_list("cells__stock_code", "job", "cells__short")
    for code, job, pieces, lines, _ in alike.annotate(lines=Count("pk"), first=Min("position")).order_by("first"):
        if job not in ended:
            found[code][job] += lines * thousandths(pieces)
    return found


def sent_line_of(line: OrderLine) -> SentLine | None:
    """The line of a reorder sheet by which a line, or the line that it is a part of, was ordered."""
    found: SentLine | None = getattr(line.part_of or line, "sent_line", None)
    return found


def _standing(line: OrderLine, plan: AppliedPlan | None, waiting: Sequence[Waiting]) -> str:
    sent = sent_line_of(line)
    if waiting:
        return ""
    if line.surplus:
        return f"{_DECIDED[line.surplus]}: {line.surplus_why}"
    if sent is None:
        return "no job waits for it: keep, return or cancel?"
    jobs = sent.cells["jobs"]
    if plan is not None and sent.sheet.plan_id == plan.pk:
        return f"ordered for {jobs or 'a refill'}: the next plan promises it"
    return f"ordered for {jobs}; no job waits for it now: keep, return or cancel?" if jobs else "a refill"


def _waiting(lines: Sequence[int], plan: AppliedPlan | None) -> Mapping[int, list[Waiting]]:
    jobs = plan.summary["jobs"] if plan else ()
    turns = {one["job"]: turn for turn, one in enumerate(jobs)}
    staged = {one["job"]: date.fromisoformat(one["staged_by"]) for one in jobs if one["staged_by"]}
    wanted: dict[tuple[int, str], tuple[int, date]] = {}
    rows = Promise.objects.filter(released_at__isnull=True, order_line__in=lines).order_by("pk")
    for line, job, quantity, ready in rows.values_list("order_line", "job__job", "quantity", "ready_on"):
        before, day = wanted.get((line or 0, job), (0, ready))
        wanted[line or 0, job] = (before + quantity, max(day, ready))
    found: dict[int, list[Waiting]] = defaultdict(list)
    for (line, job), (quantity, ready) in sorted(wanted.items(), key=lambda one: turns.get(one[0][1], len(turns))):
        found[line].append(Waiting(job, quantity, ready, staged.get(job)))
    return found


@dataclass(frozen=True, slots=True)
class Came:
    """Pieces that came: on which day at their depot, thousandths, their lot, where they were put, on which paper."""

    on: date
    quantity: int
    lot: str
    place: str
    paper: str
    by: str


def _standing_moves(lines: Collection[int]) -> QuerySet[Movement]:
    """The movements that brought pieces of order lines; a receipt that was taken back brought none."""
    return Movement.objects.filter(
        order_line__in=lines, to_place__isnull=False, reverses__isnull=True, reversed_by__isnull=True
    )


def landed(lines: Collection[int], kinds: Collection[str]) -> Mapping[tuple[int, int], Counter[int]]:
    """By place, of these kinds, and lot: thousandths that came there, by order line; one query."""
    moves = _standing_moves(lines).filter(to_place__kind__in=kinds).order_by("pk")
    found: dict[tuple[int, int], Counter[int]] = defaultdict(Counter)
    for line, place, lot, pieces in moves.values_list("order_line", "to_place", "lot", "quantity"):
        found[place or 0, lot][line or 0] += pieces
    return found


def came(line: OrderLine) -> list[Came]:
    """The deliveries of an order line, the first one first; one query."""
    moves = _standing_moves([line.pk]).select_related("action", "lot__item", "to_place__depot")
    return [
        Came(
            local_day(line.depot, one.action.at), one.quantity, one.lot.number or "lot unknown", str(one.to_place),
            one.action.paper, one.action.by,
        )
        for one in moves.order_by("pk")
    ]  # fmt: skip


class LyingFree(NamedTuple):
    """Thousandths that came of an order line, lie at a place, and are promised to nobody."""

    quantity: int
    balance: Balance


def lying_free(lines: Collection[OrderLine]) -> Mapping[int, list[LyingFree]]:
    """By order line what came of it and lies free, set aside or held pieces as well; three queries."""
    came_to = landed([line.pk for line in lines], _TO_SEND_BACK)
    lots = {lot for _, lot in came_to}
    promised = promised_at(lot__in=lots)
    balances = Balance.objects.filter(lot__in=lots, quantity__gt=0).select_related("lot__item", "place__depot")
    there = {(one.place_id, one.lot_id): one for one in balances}
    found: dict[int, list[LyingFree]] = defaultdict(list)
    for key, pieces_of in came_to.items():
        balance = there.get(key)
        for line, pieces in pieces_of.items():
            free = min(pieces, balance.quantity - promised[key]) if balance else 0
            if balance and free > 0:
                found[line].append(LyingFree(free, balance))
    return found


def came_for_nothing() -> list[OrderLine]:
    """Lines of which pieces came for a job that was cancelled then, about which purchasing has not decided yet."""
    theirs = {"promises__released_why": PIECES_CAME, "promises__job__ended": CANCELLED}
    found = OrderLine.objects.filter(surplus="", **theirs).distinct()
    lines = [*found.select_related("order", "item", "depot", "supplier").order_by("pk")]
    free = lying_free(lines)
    return [one for one in lines if free[one.pk]]


def got(line: OrderLine) -> list[tuple[date, str, str]]:
    """Who got pieces of it as they came: the day, the job, and how many; one query."""
    told = f"{line.item.stock_code} of {line}"
    events = Event.objects.filter(name="delivery promised", data__given__has_key=told).order_by("number")
    return [(local_day(line.depot, one.at), one.subject, one.data["given"][told]) for one in events]


@dataclass(frozen=True, slots=True)
class Redated:
    """A day that a supplier promised after another: both as text, '' for none, when it was noted, by whom and why."""

    on: date
    before: str
    after: str
    by: str
    why: str


def redated(line: OrderLine) -> list[Redated]:
    """The days that were promised for an order line one after the other, the first one first; one query."""
    own = Q(name="order re-dated", subject=str(line))
    events = Event.objects.filter(own | Q(name="order split", data__part=str(line))).order_by("number")
    return [
        Redated(local_day(line.depot, one.at), one.data["before"] or "", one.data["after"], one.by, one.data["why"])
        for one in events
    ]


def to_give_out(depots: Collection[str] = ()) -> list[str]:
    """Order lines of which something came since somebody last saw to who gets it, and for which a job waits.

    Args:
        depots: only what is ordered for these; none named: all.
    """
    waiting = Promise.objects.filter(released_at__isnull=True, order_line__received__gt=0)
    if depots:
        waiting = waiting.filter(order_line__depot__depot__in=depots)
    made: dict[int, datetime] = {}
    for line, at in waiting.values_list("order_line", "made_at"):
        made[line or 0] = min(at, made.get(line or 0, at))
    last = dict(_standing_moves(made).values_list("order_line").annotate(Max("action__at")))
    open_ = {line for line, at in last.items() if line is not None and at > made[line]}
    found = []
    for one in OrderLine.objects.filter(pk__in=open_).select_related("order", "item").order_by("promised", "pk"):
        told = Event.objects.filter(name="delivery promised", at__gte=last[one.pk])
        if not told.filter(data__given__has_key=f"{one.item.stock_code} of {one}").exists():
            found.append(str(one))
    return found


def given_out(after: int) -> Iterator[tuple[str, Mapping[str, str]]]:
    """Job and pieces by code of the deliveries that were given out after an event of this number."""
    for event in Event.objects.filter(name="delivery promised", number__gt=after).order_by("number"):
        yield event.subject, event.data["given"]


def last_event() -> int:
    """The number of the last event; 0 where there is none."""
    return Event.objects.order_by("-number").values_list("number", flat=True).first() or 0
