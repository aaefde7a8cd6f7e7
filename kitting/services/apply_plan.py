"""Apply a reviewed plan: store its promises in one transaction, or refuse and say which facts have changed since."""

from collections import Counter
from collections.abc import Iterator, Sequence, Set
from dataclasses import astuple, dataclass, fields
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import NamedTuple, cast

import pandas as pd
from django.apps import apps
from django.db import connection

from inventory.models import Balance, Depot, Item, LotHold, OrderLine
from inventory.services.actions import use_case
from jobs.models import Job
from kitting.calculation.answers import CANT_TELL, NO_RULE, WORST_FIRST
from kitting.calculation.calendars import add_working_days
from kitting.calculation.plan_result import SPLIT_COLUMNS, JobAnswer, Plan
from kitting.calculation.promising.model import ORDER
from kitting.calculation.quantities import as_decimal, thousandths
from kitting.calculation.questions import Question
from kitting.calculation.sheets.raw import RawBook, RawSheet
from kitting.calculation.supply import BAG, FREE_PLACES, STAGING, VAN
from kitting.errors import Refusal
from kitting.models import PLAN_TABLES, AppliedPlan, Event, JobReadiness, Promise, Recipe
from kitting.roles import BUYER, PLANNER, STANDARDS_ENGINEER, STOREKEEPER
from kitting.selectors.clock import day_at
from kitting.selectors.notice_kinds import IS_NEAR
from kitting.selectors.sheets import sheets_from_records
from kitting.selectors.working_days import closed_days
from kitting.services.list_bags import relist, store_rows
from kitting.services.recipes import make_up_again
from kitting.services.record_events import Happening, record_events
from kitting.services.release_promises import release
from kitting.services.short_lines import keep_short_lines

_NAMED = 5
# Until when a job that is less ready changes today's work (owner's default): working days before the outage by which
# pieces can hardly be had any more, and days by which somebody must have said what nobody can tell.
_SHORT_DAYS, _OPEN_DAYS = 3, timedelta(days=10)
_BATCH = 1_000


@dataclass(frozen=True, slots=True)
class ReviewedPlan:
    """A plan made from records, with the sheets it was made from."""

    sheets: RawBook
    plan: Plan


@use_case
def apply_plan(*, reviewed: ReviewedPlan, by: str, at: datetime) -> AppliedPlan:
    """Store the plan's promises in the place of all former ones; recipes of kits whose rules are live now follow.

    Args:
        reviewed: the plan that a person has looked at.
        by: that person.
        at: moment of applying.

    Raises:
        Refusal: ``facts-changed`` where any fact the plan used is another now; the message names them.
    """
    _hold_facts_still()
    changed = changed_rows(reviewed.sheets, sheets_from_records(reviewed.plan.as_of))
    if changed:
        more = f"; and {len(changed) - _NAMED} more" if len(changed) > _NAMED else ""
        message = f"Since the plan was made these facts have changed: {'; '.join(changed[:_NAMED])}{more}. Plan again."
        raise Refusal("facts-changed", message, {"changed": changed})
    plan = reviewed.plan
    before = AppliedPlan.objects.order_by("-pk").first()
    applied = AppliedPlan.objects.create(
        digest=plan.book.digest, as_of=plan.as_of, applied_by=by, applied_at=at, summary=plan.summary
    )
    replaced = release(Promise.objects.all(), why=f"plan {applied.pk} applied", at=at)
    promises = Promise.objects.bulk_create(_promises(plan, applied), batch_size=_BATCH)
    JobReadiness.objects.bulk_create(_readiness(plan, applied), batch_size=_BATCH)
    short = plan.shortages
    keep_short_lines(dict(zip(short["line"], short["job"], strict=True)), as_of=plan.as_of)
    store_rows(applied, {name: _table(plan, name) for name in PLAN_TABLES})
    relist(Job.objects.filter(bags__isnull=False, ended="").distinct(), by=by, at=at)
    if Recipe.objects.filter(to_come_on__lte=day_at(at)).exists():
        make_up_again(by=by, at=at)
    told = {"digest": plan.book.digest, "promises": len(promises), "replaced": replaced, "jobs": plan.summary["jobs"]}
    planned = Happening("plan applied", f"plan {applied.pk} as of {plan.as_of.isoformat()}", told)
    record_events([planned, *_worse(plan, before)], by=by, at=at)
    return applied


def _worse(plan: Plan, before: AppliedPlan | None) -> Iterator[Happening]:
    """Jobs that are less ready than by the plan before, told to who acts on it; missing rules to standards.

    At once where the outage is near, and to stores too; else with the rest of the day.
    """
    closed = {depot.depot: closed_days(depot) for depot in Depot.objects.all()}
    answers = dict(JobReadiness.objects.filter(plan=before).values_list("job", "answer"))
    for one in plan.jobs:
        was = answers.get(one.job, one.answer)
        if WORST_FIRST.index(one.answer) < WORST_FIRST.index(was):
            near = _is_near(one, plan.as_of, closed.get(one.depot, frozenset()))
            told = {
                "before": was, "after": one.answer, "short": one.short_pieces, "why": one.deciding_line, IS_NEAR: near,
            }  # fmt: skip
            roles = [PLANNER, BUYER, *([STOREKEEPER] if near else [])]
            if one.answer in (CANT_TELL, NO_RULE):
                roles.append(STANDARDS_ENGINEER)
            for role in roles:
                yield Happening("job less ready", one.job, told, addressed_to=role, depot=one.depot)


def _is_near(job: JobAnswer, today: date, closed: Set[date]) -> bool:
    if job.cutover is None:
        return False
    last = add_working_days(today, _SHORT_DAYS, closed)
    if job.answer in (CANT_TELL, NO_RULE):
        last = max(last, today + _OPEN_DAYS)
    return job.cutover.date() <= last


def _readiness(plan: Plan, applied: AppliedPlan) -> Iterator[JobReadiness]:
    """Each job's answer, kept for its history."""
    for one in plan.jobs:
        yield JobReadiness(
            plan=applied, job=one.job, answer=one.answer, deciding_line=one.deciding_line, short=one.short_pieces,
            staged_by=one.staged_by,
        )  # fmt: skip


def _table(plan: Plan, name: str) -> pd.DataFrame:
    if name != "questions":
        return cast("pd.DataFrame", getattr(plan, name))
    titles = [field.name for field in fields(Question)]
    return pd.DataFrame(map(astuple, plan.questions), columns=titles, dtype=object)


def _hold_facts_still() -> None:
    """Keep all writers of facts out until this transaction ends; SQLite's immediate transaction does so by itself.

    Events are left open: they are no facts, and their chain has a lock of its own.
    """
    if connection.vendor == "postgresql":
        models = [
            model for package in ("jobs", "inventory", "kitting") for model in apps.get_app_config(package).get_models()
        ]
        tables = (connection.ops.quote_name(model._meta.db_table) for model in models if model is not Event)  # noqa: SLF001
        with connection.cursor() as cursor:
            cursor.execute(f"LOCK TABLE {', '.join(sorted(tables))} IN SHARE ROW EXCLUSIVE MODE")


def changed_rows(before: RawBook, after: RawBook) -> list[str]:
    """Rows of sheets that are not the same, in words: ``stock: BI15, N, N-01-1, bin is gone or changed``."""
    found: list[str] = []
    for name in sorted({*before.sheets, *after.sheets}):
        was, now = _rows(before.sheets.get(name)), _rows(after.sheets.get(name))
        found += [f"{name}: {_told(row)} is gone or changed" for row in was - now]
        found += [f"{name}: {_told(row)} is new or changed" for row in now - was]
    return found


def _rows(sheet: RawSheet | None) -> Counter[tuple[str, ...]]:
    """Rows with the headers they stand under, so that an added column changes them all."""
    return Counter() if sheet is None else Counter(sheet.cells.itertuples(index=False, name=None))


def _told(row: Sequence[str]) -> str:
    return ", ".join(cell for cell in row[:_NAMED] if cell)


class _Row(NamedTuple):
    """A row of the promises table."""

    line: str
    job: str
    stock_code: str
    lot: str
    depot: str
    place: str
    quantity: Decimal
    source: str
    order: str
    order_line: str
    ready_on: str


def _rows_of(plan: Plan) -> Iterator[_Row]:
    return map(_Row._make, zip(*(plan.promises[name].tolist() for name in _Row._fields), strict=True))


def _promises(plan: Plan, applied: AppliedPlan) -> Iterator[Promise]:
    """The plan's promises as records: what is taken, where it lies or with which order it comes."""
    jobs = {job.job: job for job in Job.objects.all()}
    items = {item.stock_code: item for item in Item.objects.all()}
    rule_of = dict(
        zip(
            plan.requirements["line"],
            zip(plan.requirements["rule"], plan.requirements["rule_revision"], strict=True),
            strict=True,
        )
    )
    split = plan.requirements.get(SPLIT_COLUMNS["requirements"], pd.Series(dtype=object))
    depots = dict(zip(plan.requirements["line"], split, strict=False))
    pieces_left = _PiecesLeft()
    for row in _rows_of(plan):
        rule, revision = rule_of[row.line]
        for pieces, where in pieces_left.take(row):
            yield Promise(
                plan=applied,
                job=jobs[row.job],
                line=row.line,
                item=items[row.stock_code],
                quantity=pieces,
                depot=depots.get(row.line) or jobs[row.job].depot,
                source=row.source,
                ready_on=date.fromisoformat(row.ready_on),
                made_at=applied.applied_at,
                rule=rule,
                rule_revision=revision,
                lot=None if isinstance(where, OrderLine) else where.lot,
                place=None if isinstance(where, OrderLine) else where.place,
                order_line=where if isinstance(where, OrderLine) else None,
            )


class _PiecesLeft:
    """Balances and order lines as a plan names them, less what was taken, so that no two promises take one piece."""

    def __init__(self) -> None:
        held = set(LotHold.objects.filter(released_at=None).values_list("item_id", "lot_number"))
        balances = Balance.objects.select_related("lot__item", "place__depot").filter(
            quantity__gt=0, place__kind__in=FREE_PLACES
        )
        self._left: dict[tuple[str, ...], list[list[int]]] = {}
        self._where: list[Balance | OrderLine] = []
        for balance in balances.order_by("lot__use_by", "pk"):
            if (balance.lot.item_id, balance.lot.number) not in held:
                place = balance.place
                owner = place.job if place.kind in (STAGING, BAG, VAN) else ""
                key = (balance.lot.item.stock_code, place.depot.depot, place.code, balance.lot.number, "", "", owner)
                self._add(key, balance, balance.quantity)
        for line in OrderLine.objects.select_related("order", "item", "depot").order_by("promised", "pk"):
            key = (line.item.stock_code, line.depot.depot, "", "", line.order.number, line.line, "")
            self._add(key, line, line.quantity - line.received)

    def _add(self, key: tuple[str, ...], where: Balance | OrderLine, quantity: int) -> None:
        self._left.setdefault(key, []).append([len(self._where), quantity])
        self._where.append(where)

    def take(self, row: _Row) -> Iterator[tuple[int, Balance | OrderLine]]:
        """Thousandths and where they are, for one row of the promises table.

        Raises:
            Refusal: ``pieces-not-there``: the records hold fewer than the plan takes.
        """
        wanted = thousandths(row.quantity)
        named = (row.stock_code, row.depot, row.place, row.lot, row.order, row.order_line)
        owners = ("",) if row.source == ORDER else (row.job, "")
        for left in (entry for owner in owners for entry in self._left.get((*named, owner), ())):
            pieces = min(left[1], wanted)
            if pieces > 0:
                left[1] -= pieces
                wanted -= pieces
                yield pieces, self._where[left[0]]
        if wanted:
            message = (
                f"The records hold {as_decimal(wanted)} fewer {' '.join(filter(None, named))} than the plan takes."
            )
            raise Refusal("pieces-not-there", message, {"line": row.line, "missing": str(as_decimal(wanted))})
