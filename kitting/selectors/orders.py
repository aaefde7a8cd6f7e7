"""What is on order: when it comes, who waits for it, what has come of it and who got that."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import F, Max

from inventory.models import Movement, OrderLine
from inventory.selectors.words import quantity_text
from kitting.errors import Refusal
from kitting.models import AppliedPlan, Event, Promise
from kitting.selectors.cutovers import last_plan

SOON_DAYS = 20


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

    ``standing`` says, where nobody waits for it, why it is on order all the same; '' where somebody waits.
    """

    line: OrderLine
    waiting: Sequence[Waiting]
    standing: str

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
        """Whether a job hangs on it and it is due soon, overdue, or has no day."""
        day = self.line.promised
        return bool(self.waiting) and (day is None or day <= today + timedelta(SOON_DAYS))


def on_order(number: int | None = None) -> list[OnOrder]:
    """Order lines of which something is to come, those without a day first, then the first to come; three queries.

    Args:
        number: only this one, by the number of its record, also where all of it has come.

    Raises:
        Refusal: ``unknown-order-line``.
    """
    lines = OrderLine.objects.select_related("order", "item", "depot", "supplier", "sent_line__sheet")
    if number is None:
        lines = lines.filter(received__lt=F("quantity")).order_by(F("promised").asc(nulls_first=True), "pk")
    else:
        lines = lines.filter(pk=number)
    found = [*lines]
    if number is not None and not found:
        raise Refusal("unknown-order-line", f"There is no order line {number}.", {"line": number})
    plan = last_plan()
    waiting = _waiting([line.pk for line in found], plan)
    return [OnOrder(line, waiting[line.pk], _standing(line, plan, waiting[line.pk])) for line in found]


def _standing(line: OrderLine, plan: AppliedPlan | None, waiting: Sequence[Waiting]) -> str:
    sent = getattr(line, "sent_line", None)
    if waiting:
        return ""
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
    """Pieces that came: when by the clock of UTC, thousandths, their lot, where they were put, on which paper."""

    on: date
    quantity: int
    lot: str
    place: str
    paper: str
    by: str


def came(line: OrderLine) -> list[Came]:
    """The deliveries of an order line, the first one first; one query."""
    moves = Movement.objects.filter(
        order_line=line, to_place__isnull=False, reverses__isnull=True, reversed_by__isnull=True
    ).select_related("action", "lot__item", "to_place__depot")
    return [
        Came(
            one.action.at.date(), one.quantity, one.lot.number or "lot unknown", str(one.to_place), one.action.paper,
            one.action.by,
        )
        for one in moves.order_by("pk")
    ]  # fmt: skip


def got(line: OrderLine) -> list[tuple[date, str, str]]:
    """Who got pieces of it as they came: the day, the job, and how many; one query."""
    told = f"{line.item.stock_code} of {line}"
    events = Event.objects.filter(name="delivery promised", data__given__has_key=told).order_by("number")
    return [(one.at.date(), one.subject, one.data["given"][told]) for one in events]


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
    events = Event.objects.filter(name="order re-dated", subject=str(line)).order_by("number")
    return [
        Redated(one.at.date(), one.data["before"] or "", one.data["after"], one.by, one.data["why"]) for one in events
    ]


def to_give_out() -> list[str]:
    """Order lines of which something came since somebody last saw to who gets it, and for which a job waits."""
    waiting = Promise.objects.filter(released_at__isnull=True, order_line__received__gt=0)
    made: dict[int, datetime] = {}
    for line, at in waiting.values_list("order_line", "made_at"):
        made[line or 0] = min(at, made.get(line or 0, at))
    moves = Movement.objects.filter(order_line__in=made, to_place__isnull=False, reverses__isnull=True)
    landed = dict(moves.values_list("order_line").annotate(Max("action__at")))
    open_ = {line for line, at in landed.items() if line is not None and at > made[line]}
    found = []
    for one in OrderLine.objects.filter(pk__in=open_).select_related("order", "item").order_by("promised", "pk"):
        told = Event.objects.filter(name="delivery promised", at__gte=landed[one.pk])
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
