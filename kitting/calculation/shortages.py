"""What is missing, why, and what would cure it: one row a short line."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from kitting.calculation.calendars import order_by
from kitting.calculation.holdings import RESERVE, Holdings
from kitting.calculation.job_dates import JobDates, day_text
from kitting.calculation.needs import NearMiss
from kitting.calculation.plan_result import SHORTAGE_COLUMNS
from kitting.calculation.promising.model import NEVER
from kitting.calculation.quantities import as_decimal

YES, NO = "yes", "no"
CANT_TELL_ORDER_BY = "can't tell"


@dataclass(frozen=True, slots=True)
class ShortLine:
    """A line that is short; quantities are thousandths, ``code`` is '' where no stock code serves."""

    job: str
    line: str
    kind: str
    code: str
    need: int
    short: int
    near_misses: tuple[NearMiss, ...]


@dataclass(frozen=True, slots=True)
class Buying:
    """What buying needs to know: lead days by stock code, receiving days and closed days by depot, the as-of day."""

    lead_days: Mapping[str, int | None]
    receiving: Mapping[str, int]
    closed: Mapping[str, frozenset[date]]
    as_of: date

    def order_by(self, code: str, job: JobDates) -> date | None:
        """Last day to order a stock code for a job; None where its lead days are not known."""
        lead = self.lead_days[code]
        if lead is None or job.staged_by is None:
            return None
        return order_by(
            job.staged_by, receiving_days=self.receiving[job.depot], lead_days=lead, closed=self.closed[job.depot]
        )


def shortage_table(
    lines: Sequence[ShortLine],
    *,
    jobs: Mapping[str, JobDates],
    kits: Mapping[str, int],
    depots: Sequence[str],
    holdings: Holdings,
    buying: Buying,
    refused: Mapping[str, str],
) -> pd.DataFrame:
    """The shortages table, in line order.

    Args:
        lines: the short lines.
        jobs: jobs with their dates.
        kits: place of each job in the order of service.
        depots: depots in index order.
        holdings: where all pieces are.
        buying: leads and calendars.
        refused: job -> why its kit was refused, for the jobs that were.
    """
    told: dict[tuple[str, str], _Told] = {}
    rows = []
    for line in lines:
        job = jobs[line.job]
        key = (line.code, line.job)
        if line.code and key not in told:
            told[key] = _tell(line.code, job, kits[line.job], depots, holdings, buying)
        rows.append(_row(line, job, told.get(key) or _no_code(line), refused.get(line.job, "")))
    return pd.DataFrame(rows, columns=list(SHORTAGE_COLUMNS))


@dataclass(frozen=True, slots=True)
class _Told:
    why: str
    other_depots: str
    on_order: str
    order_by: str
    too_late: str
    cures: tuple[str, ...]


def _row(line: ShortLine, job: JobDates, told: _Told, refused: str) -> tuple[Any, ...]:
    short = as_decimal(line.short)
    cures = [cure.format(n=f"{short:f}") for cure in told.cures]
    return (
        line.job,
        line.line,
        job.depot,
        day_text(job.staged_by),
        line.kind,
        line.code,
        as_decimal(line.need),
        as_decimal(line.need - line.short),
        short,
        "; ".join(filter(None, (refused, told.why))),
        told.other_depots,
        told.on_order,
        told.order_by,
        told.too_late,
        "; or ".join(cures),
    )


def _no_code(line: ShortLine) -> _Told:
    misses = "; ".join(f"{miss.stock_code} (not approved): {miss.sentence}" for miss in line.near_misses)
    why = f"no stock code serves; nearest: {misses}" if misses else "no stock code of this kind serves"
    return _Told(why, "", "", "", "", ("ask standards for an item that serves",))


def _tell(code: str, job: JobDates, kit: int, depots: Sequence[str], holdings: Holdings, buying: Buying) -> _Told:
    held = holdings.of(code, kit)
    total = sum(one.quantity for one in held)
    here = [f"{as_decimal(one.quantity):f} {one.why}" for one in held if one.depot == job.depot]
    away = [f"{one.depot}: {as_decimal(one.quantity):f} {one.why}" for one in held if one.depot != job.depot]
    everywhere = [f"{as_decimal(one.quantity):f} {one.why} at {one.depot}" for one in held]
    last = buying.order_by(code, job)
    too_late = "" if last is None else YES if last < buying.as_of else NO
    cures = []
    if too_late == NO:
        cures.append(f"buy {{n}} by {day_text(last)}")
    cures += [
        f"release up to {as_decimal(one.quantity):f} from reserve at {one.depot} (duty supervisor; adds a refill line)"
        for one in held
        if one.why == RESERVE
    ]
    later = holdings.first_order_left(code, depots.index(job.depot))
    if later is not None and later < NEVER:
        cures.append(f"move the cutover: an open order can be at {job.depot} on {date.fromordinal(later).isoformat()}")
    if too_late == YES:
        cures.append(f"too late to buy (order-by was {day_text(last)}): move the cutover or approve a stand-in")
    if last is None:
        cures.append("lead days are not known: ask the supplier")
    why = f"{as_decimal(total):f} owned: {', '.join(everywhere)}" if here or away else "none owned"
    return _Told(
        why=why,
        other_depots="; ".join(away),
        on_order=holdings.on_order(code),
        order_by=CANT_TELL_ORDER_BY if last is None else day_text(last),
        too_late=too_late,
        cures=tuple(cures),
    )
