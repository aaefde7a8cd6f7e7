"""What is missing, why, and what would cure it: one row a short line."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from kitting.calculation.calendars import order_by, transfer_arrival
from kitting.calculation.holdings import RESERVE, TOO_FAR, Holding, Holdings, pieces_text
from kitting.calculation.job_dates import JobDates, day_text
from kitting.calculation.needs import NearMiss
from kitting.calculation.plan_result import SHORTAGE_COLUMNS
from kitting.calculation.quantities import as_decimal

YES, NO = "yes", "no"
CANT_TELL_ORDER_BY = "can't tell"
NOBODY_YET = "nobody yet"
MOST_CODES = 3  # stock codes told of one line


@dataclass(frozen=True, slots=True)
class ShortLine:
    """A line that is short.

    Args:
        job: the job.
        line: name of the line.
        kind: kind of part.
        code: first choice; '' where no stock code serves.
        need: thousandths that the line needs.
        short: thousandths that can't be had.
        near_misses: the nearest items that don't serve, told where no stock code does.
        others: further stock codes that serve, in the order of choice.
        readings: for items that a gauge reading might let serve, which reading would do.
        depot: at which its bag is staged; '' where the job has one.
    """

    job: str
    line: str
    kind: str
    code: str
    need: int
    short: int
    near_misses: tuple[NearMiss, ...]
    others: tuple[str, ...] = ()
    readings: tuple[str, ...] = ()
    depot: str = ""

    @property
    def codes(self) -> tuple[str, ...]:
        """All stock codes that serve, in the order of choice."""
        return (self.code, *self.others) if self.code else ()


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
        return None if lead is None or job.staged_by is None else self.last_day(job.staged_by, lead, job.depot)

    def last_day(self, staged: date, lead: int, depot: str) -> date:
        """Last day to order what has so many lead days and is staged at a depot on a day."""
        return order_by(staged, receiving_days=self.receiving[depot], lead_days=lead, closed=self.closed[depot])

    def best(self, codes: Sequence[str], job: JobDates) -> str:
        """The stock code to buy: the first that can be bought in time, else the first choice."""
        days = ((code, self.order_by(code, job)) for code in codes)
        return next((code for code, day in days if day is not None and day >= self.as_of), codes[0])


@dataclass(frozen=True, slots=True)
class Care:
    """Who sees to a short line, '' for nobody yet, and since which day it is short; None where that is not known."""

    owner: str
    since: date | None

    @property
    def words(self) -> str:
        """The owner in words."""
        return self.owner or NOBODY_YET

    def age_days(self, today: date) -> int | None:
        """Days since it turned short; None where nobody knows."""
        return None if self.since is None else max((today - self.since).days, 0)


def with_care(table: pd.DataFrame, cares: Mapping[str, Care], as_of: date) -> pd.DataFrame:
    """The shortages table with owner and age in days of each line, by the name of the line; a new line has age 0."""
    known = [cares[line] for line in table["line"]]
    return table.assign(owner=[one.words for one in known], age_days=[one.age_days(as_of) or 0 for one in known])


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
    teller = _Teller(jobs, kits, depots, holdings, buying)
    rows = [
        _row(
            line,
            jobs[line.job].at(line.depot),
            teller.tell(line) if line.code else _no_code(line),
            refused.get(line.job, ""),
        )
        for line in lines
    ]
    return pd.DataFrame(rows, columns=list(SHORTAGE_COLUMNS))


@dataclass(frozen=True, slots=True)
class _Told:
    why: str
    other_depots: str
    on_order: str
    order_by: str
    too_late: str
    cures: tuple[str, ...]


class _Teller:
    """Tells why a stock code is short and what would cure it, once for all jobs with the same depot and dates."""

    def __init__(
        self,
        jobs: Mapping[str, JobDates],
        kits: Mapping[str, int],
        depots: Sequence[str],
        holdings: Holdings,
        buying: Buying,
    ) -> None:
        self._jobs, self._kits, self._depots = jobs, kits, depots
        self._holdings, self._buying = holdings, buying
        self._told: dict[tuple[Any, ...], _Told] = {}
        self._orders: dict[str, str] = {}

    def tell(self, line: ShortLine) -> _Told:
        """What is told of every line that wants these stock codes at the same depot on the same days."""
        job = self._jobs[line.job].at(line.depot)
        key = (line.codes, line.readings, job.depot, job.staged_by, job.good_through)
        told = self._told.get(key)
        if told is None:
            told = self._told[key] = self._tell(line, job)
        return told

    def _tell(self, line: ShortLine, job: JobDates) -> _Told:
        kit, depot = self._kits[line.job], self._depots.index(line.depot) if line.depot else -1
        held = {code: self._holdings.of(code, kit, depot) for code in line.codes[:MOST_CODES]}
        whys = [_owned(held[line.code])]
        whys += [f"{code} serves too: {_owned(held[code])}" for code in line.codes[1:MOST_CODES]]
        away = [one for one in held[line.code] if one.depot != job.depot]
        bought = self._buying.best(line.codes, job)
        last = self._buying.order_by(bought, job)
        late = "" if last is None else YES if last < self._buying.as_of else NO
        cures = [f"buy {{n}}{_other(bought, line)} by {day_text(last)}"] if late == NO else []
        for code, pieces in held.items():
            cures += self._from_reserve(_other(code, line), pieces, job)
        cures += [f"measure the cable: {reading}" for reading in line.readings]
        cures += self._later(line.code, away, job)
        if late == YES:
            cures.append(f"move the cutover or approve a stand-in: too late to buy, order-by was {day_text(last)}")
        if last is None:
            cures.append("can't be bought yet: lead days or pieces in a purchase unit are not given")
        return _Told(
            why="; ".join(whys),
            other_depots="; ".join(f"{one.depot}: {pieces_text(one.quantity)} {one.why}" for one in away),
            on_order=self._on_order(line.code),
            order_by=CANT_TELL_ORDER_BY if last is None else day_text(last),
            too_late=late,
            cures=tuple(cures),
        )

    def _on_order(self, code: str) -> str:
        if code not in self._orders:
            self._orders[code] = self._holdings.on_order(code)
        return self._orders[code]

    def _from_reserve(self, code: str, held: Sequence[Holding], job: JobDates) -> list[str]:
        """Releases of reserve pieces that are still good at the cutover and can be there in time."""
        cures = []
        for one in held:
            day = self._arrival(one.depot, job.depot) if one.why == RESERVE else None
            if day is not None and job.staged_by is not None and day <= job.staged_by:
                here = "" if one.depot == job.depot else f", here by {day_text(day)}"
                pieces = f"{pieces_text(one.quantity)}{code} from reserve at {one.depot}{here}"
                cures.append(f"release up to {pieces} (duty supervisor; adds a refill line)")
        return cures

    def _later(self, code: str, away: Sequence[Holding], job: JobDates) -> list[str]:
        """What a later cutover would bring: pieces that are too far, and open orders."""
        cures = []
        for one in away:
            day = self._arrival(one.depot, job.depot) if one.why == TOO_FAR else None
            if day is not None:
                pieces = f"{pieces_text(one.quantity)} at {one.depot}"
                cures.append(f"move the cutover: {pieces} can be at {job.depot} on {day_text(day)}")
        of_order = self._holdings.first_order_left(code, self._depots.index(job.depot))
        if of_order is not None:
            day = date.fromordinal(of_order)
            cures.append(f"move the cutover: an open order can be at {job.depot} on {day_text(day)}")
        return cures

    def _arrival(self, start: str, destination: str) -> date | None:
        """The day on which pieces that leave on the as-of day are at the other depot."""
        days = self._holdings.transfer_days(start, destination)
        if days is None:
            return None
        return transfer_arrival(self._buying.as_of, days, self._buying.closed[destination])


def _other(code: str, line: ShortLine) -> str:
    """The stock code where it is not the line's first choice."""
    return "" if code == line.code else f" {code}"


def _owned(held: Sequence[Holding]) -> str:
    """Every owned piece and where it is; the numbers add up."""
    if not held:
        return "none owned"
    total = pieces_text(sum(one.quantity for one in held))
    return f"{total} owned: {', '.join(f'{pieces_text(one.quantity)} {one.why} at {one.depot}' for one in held)}"


def _row(line: ShortLine, job: JobDates, told: _Told, refused: str) -> tuple[Any, ...]:
    short = as_decimal(line.short)
    cures = [cure.replace("{n}", f"{short:f}") for cure in told.cures]
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
