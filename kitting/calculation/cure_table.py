"""What would complete each short kit, in words: verified sets of moves, one row a move."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from kitting.calculation.calendars import staged_by
from kitting.calculation.demand import Demand
from kitting.calculation.expansion.lines import SPARE_ENDING
from kitting.calculation.expansion.slots import Template
from kitting.calculation.fit_matching import Matcher
from kitting.calculation.holdings import pieces_text
from kitting.calculation.job_dates import JobDates, depot_days
from kitting.calculation.natural_order import natural_key
from kitting.calculation.plan_result import CURE_COLUMNS, SPLIT_COLUMNS
from kitting.calculation.promising import promise
from kitting.calculation.promising.cures import Cure, CureSearch
from kitting.calculation.promising.model import NEVER, Kit, Problem, Promised
from kitting.calculation.promising.move_candidates import Chances
from kitting.calculation.promising.moves import (
    BORROW,
    BUY,
    EXPEDITE,
    FROM_OTHERS,
    HURRY,
    RESERVE,
    SLIP,
    STAND_IN,
    SWAP,
    TRANSFER,
    TRUCK,
    Move,
    Slip,
)
from kitting.calculation.quantities import as_decimal
from kitting.calculation.records import records
from kitting.calculation.sheets.book import Book
from kitting.calculation.shortages import Buying
from kitting.calculation.supply import Supply, locked_lots

MOST_KITS = 25  # short kits looked at, the first in the order of service
NOT_LOOKED_FOR, NONE_FOUND = "not looked for", "none found"
YES, NO = "yes", "no"

_WORDS = {
    BUY: "buy {n} {code} by {day}",
    TRANSFER: "bring {n} {code} from {place} by {day}",
    TRUCK: "take {n} {code} from a truck at {place} by {day} (a person must release them)",
    RESERVE: "release {n} {code} from reserve at {place} by {day} (duty supervisor; adds a refill line)",
    STAND_IN: "let standards approve {n} {code} at {place} as a stand-in by {day}",
    HURRY: "let {place} bring {n} {code} by {day}",
    EXPEDITE: "buy {n} {code} to be there by {day}, sooner than the lead time",
    SLIP: "move the cutover to {day}",
    SWAP: "let {holder} give {n} {code}{lot}{at} by {day}",
    BORROW: "borrow {n} {code}{lot} from the bag of {holder}{at} by {day} (it needs reopening)",
}


@dataclass(frozen=True, slots=True)
class Facts:
    """What the cures are looked for in: the sheets, the problem, its answer, and where lines and lots are named."""

    book: Book
    jobs: Mapping[str, JobDates]
    problem: Problem
    promised: Promised
    demand: Demand
    supply: Supply
    template_of_line: np.ndarray
    templates: Sequence[Template]
    matcher: Matcher
    buying: Buying


KitCures = Mapping[int, list[Cure] | None]


def find_cures(facts: Facts) -> KitCures:
    """Cures of the short kits in the order of service; None where they were not looked for."""
    # What pieces cost decides nothing about who is short, but for who uses a stand-in of which only some are approved.
    solve = promise if facts.problem.stand_in_caps else partial(promise, priced=False)
    calendar = _Calendar(facts)
    chances = Chances(
        locked=locked_lots(
            facts.book,
            as_of=facts.buying.as_of,
            items={code: place for place, code in enumerate(facts.problem.items)},
            depots=facts.problem.depots,
        ),
        unapproved=_Unapproved(facts).of,
        buy_day=calendar.buy_day,
        slip=calendar.slip,
    )
    search = CureSearch(facts.problem, facts.promised, chances, solve)
    return {kit: search.cures(kit) if number < MOST_KITS else None for number, kit in enumerate(search.short_kits())}


class _Calendar:
    """Days of buying and of later cutovers, by the calendars of the depots."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self._jobs = list(facts.jobs.values())
        depots = depot_days(facts.book, "staging_days", facts.book.policies.staging_days)
        self._staging = {
            (row["job"], depot): row["staging_days"] if isinstance(row["staging_days"], int) else days
            for row in records(facts.book, "jobs")
            for depot, days in depots.items()
        }
        self._known: dict[tuple[int, str], int] = {}

    def buy_day(self, item: int, kit: int, depot: int) -> int:
        """The first staged-by day for which a stock code can still be bought on the as-of day, or NEVER."""
        job, buying = self._jobs[kit].at(self._depot(depot)), self._facts.buying
        lead = buying.lead_days[self._facts.problem.items[item]]
        if lead is None:
            return NEVER
        if (lead, job.depot) not in self._known:
            day = buying.as_of + timedelta(days=lead)
            while buying.last_day(day, lead, job.depot) < buying.as_of:
                day += timedelta(days=1)
            self._known[lead, job.depot] = day.toordinal()
        return self._known[lead, job.depot]

    def _depot(self, depot: int) -> str:
        return self._facts.problem.depots[depot] if depot >= 0 else ""

    def slip(self, kit: int, day: int) -> Slip:
        """The kit with its outage that many days later that its bags are ready on a day, or on the first after it.

        Where its bags are staged at several depots, the day is that of the first, and each is as much later.
        """
        job, was = self._jobs[kit], self._facts.problem.kits[kit]
        if job.cutover is None:
            raise ValueError(job.job)
        first = cutover = job.cutover.date()
        parts = was.parts or (was,)
        while any(self._staged(kit, one, cutover) < one.staged_by_day + day - was.staged_by_day for one in parts):
            cutover += timedelta(days=1)
        later = [self._later(kit, one, cutover, one.good_through_day + (cutover - first).days) for one in parts]
        earliest = min(one.staged_by_day for one in later)
        whole = replace(later[0], depot=was.depot, staged_by_day=earliest, parts=tuple(later) if was.parts else ())
        order = (date.fromordinal(earliest), job.priority, natural_key(job.job))
        before = sum(
            (other.staged_by or date.max, other.priority, natural_key(other.job)) < order
            for other in self._jobs
            if other is not job
        )
        return Slip(whole, before, cutover.toordinal())

    def _staged(self, kit: int, part: Kit, cutover: date) -> int:
        """The staged-by day of a part of a kit, as an ordinal, for an outage on a day."""
        depot = self._depot(part.depot)
        days = self._staging[self._jobs[kit].job, depot]
        return staged_by(cutover, days, self._facts.buying.closed[depot]).toordinal()

    def _later(self, kit: int, part: Kit, cutover: date, good_through: int) -> Kit:
        staged, items = self._staged(kit, part, cutover), range(len(self._facts.problem.items))
        buyable = frozenset(item for item in items if self.buy_day(item, kit, part.depot) <= staged)
        return Kit(part.job, part.depot, staged, good_through, buyable)


class _Unapproved:
    """Items that nothing but an approval keeps from serving a cell."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self._places = {code: place for place, code in enumerate(facts.problem.items)}

    def of(self, index: int) -> tuple[int, ...]:
        """The items that would serve every line of the cell, best first."""
        lines = np.flatnonzero(self._facts.demand.cell_of_line == index)
        found: tuple[str, ...] | None = None
        for number in np.unique(self._facts.template_of_line[lines]).tolist():
            need = self._facts.templates[number].need
            codes = () if need is None else self._facts.matcher.not_approved(need)
            found = codes if found is None else tuple(code for code in found if code in codes)
        cell = self._facts.problem.cells[index]
        items = (self._places[code] for code in found or ())
        return tuple(item for item in items if item not in cell.options + cell.stand_ins)


def cure_table(facts: Facts, found: KitCures) -> pd.DataFrame:
    """The cures table: one row a move, in the order of service."""
    rows: list[tuple[Any, ...]] = []
    to: list[str] = []
    for kit, cures in found.items():
        job = facts.problem.kits[kit].job
        if not cures:
            rows.append((job, "", NOT_LOOKED_FOR if cures is None else NONE_FOUND, *[""] * 8, NO))
            to.append("")
        for number, cure in enumerate(cures or (), start=1):
            told = _instead(facts, cure), _breaks(facts, cure), YES
            for move in (part for whole in cure.moves for part in _by_lot(facts, whole)):
                rows.append((job, number, *_row(facts, kit, move), *told))
                to.append(facts.problem.depots[move.to] if move.to >= 0 else "")
    table = pd.DataFrame(rows, columns=list(CURE_COLUMNS))
    return table.assign(**{SPLIT_COLUMNS["cures"]: to}) if any(kit.parts for kit in facts.problem.kits) else table


def _by_lot(facts: Facts, move: Move) -> list[Move]:
    """A move of pieces that another job holds as one a lot and depot; any other as it is."""
    if move.kind not in FROM_OTHERS:
        return [move]
    found: dict[tuple[str, str, str, int], Move] = {}
    left = move.quantity
    for lot, most in move.lots:
        taken = min(left, most)
        left -= taken
        if taken:
            source, depot = facts.supply.sources[facts.problem.lots[lot].key], facts.problem.lots[lot].depot
            key = source.lot, source.order, source.order_line, depot
            before = found[key].quantity if key in found else 0
            found[key] = replace(move, quantity=before + taken, depot=depot, lots=((lot, most),))
    return list(found.values())


def _row(facts: Facts, kit: int, move: Move) -> tuple[Any, ...]:
    if move.item < 0:
        return move.kind, "", "", "", "", "", _day(facts, kit, move)
    code, lot, holder = facts.problem.items[move.item], "", ""
    if move.kind in FROM_OTHERS:
        lot = facts.supply.sources[facts.problem.lots[move.lots[0][0]].key].lot
        holder = facts.problem.kits[move.lender].job
    return move.kind, code, lot, as_decimal(move.quantity), holder, _place(facts, move), _day(facts, kit, move)


def _place(facts: Facts, move: Move) -> str:
    """Where the pieces are now: a depot, ``order PO-1 at N``, '' where they are still to be bought or on the road."""
    depot = facts.problem.depots[move.depot] if move.depot >= 0 else ""
    order = facts.supply.sources[facts.problem.lots[move.lots[0][0]].key].order if move.lots else ""
    return f"order {order} at {depot}" if order and move.kind in (HURRY, *FROM_OTHERS) else depot


def _day(facts: Facts, kit: int, move: Move) -> str:
    """The day of a move: of buying the last to order, of a slip the new cutover, else the day they must be there."""
    day = date.fromordinal(move.day)
    if move.kind == BUY:
        lead = facts.buying.lead_days[facts.problem.items[move.item]]
        depot = facts.problem.depots[facts.problem.kits[kit].at(move.to).depot]
        day = day if lead is None else facts.buying.last_day(day, lead, depot)
    return day.isoformat()


def _breaks(facts: Facts, cure: Cure) -> str:
    """Who goes short by how many: ``J10 3 CS15-2``."""
    problem = facts.problem
    pieces: dict[tuple[str, str], int] = {}
    for kit, index, quantity in cure.breaks:
        key = problem.kits[kit].job, problem.items[problem.cells[index].options[0]]
        pieces[key] = pieces.get(key, 0) + quantity
    return "; ".join(f"{job} {pieces_text(quantity)} {code}" for (job, code), quantity in pieces.items())


def _instead(facts: Facts, cure: Cure) -> str:
    """What those who give pieces take then: ``J06 3 CS15-2 lot L-7 at H``."""
    told: dict[tuple[int, str], int] = {}
    for kit, position, quantity in cure.instead:
        lot = facts.problem.lots[position]
        source = facts.supply.sources[lot.key]
        named = f" lot {source.lot}" if source.lot else f" of order {source.order}" if source.order else ""
        there = f" at {facts.problem.depots[lot.depot]}" if lot.depot >= 0 else ""
        what = kit, f"{facts.problem.items[lot.item]}{named}{there}"
        told[what] = told.get(what, 0) + quantity
    jobs = facts.problem.kits
    return "; ".join(
        f"{jobs[kit].job} {pieces_text(quantity)} {what}" for (kit, what), quantity in sorted(told.items())
    )


def cure_sentences(table: pd.DataFrame) -> dict[str, list[str]]:
    """Job -> a sentence for each of its verified cures, best first."""
    found: dict[str, dict[int, list[str]]] = {}
    breaks: dict[tuple[str, int], str] = {}
    for row in table[table["verified"] == YES].to_dict("records"):
        quantity = "" if row["quantity"] == "" else f"{row['quantity']:f}"
        words = _WORDS[row["move"]].format(
            n=quantity, code=row["stock_code"], place=row["from"], day=row["by_day"],
            lot=f" of lot {row['lot']}" if row.get("lot") else "", holder=row.get("holder", ""),
            at=f" {'of' if row['from'].startswith('order ') else 'at'} {row['from']}" if row["from"] else "",
        )  # fmt: skip
        there = f" for its bags at {row['to']}" if row.get(SPLIT_COLUMNS["cures"]) else ""
        found.setdefault(row["job"], {}).setdefault(row["cure"], []).append(f"{words}{there}")
        after = {"instead": row.get("instead"), "then short": row["breaks"]}
        breaks[row["job"], row["cure"]] = "".join(f" ({word}: {told})" for word, told in after.items() if told)
    return {
        job: [" and ".join(words) + breaks[job, number] for number, words in cures.items()]
        for job, cures in found.items()
    }


def with_cures(shortages: pd.DataFrame, sentences: Mapping[str, Sequence[str]], refused: Mapping[str, str]) -> None:
    """Put the verified cures of refused kits into the shortages, for the lines that they cure."""
    told = {job: "; or ".join(found) for job, found in sentences.items() if job in refused}
    columns = (shortages[name].astype(str) for name in ("job", "line", "stock_code", "cure"))
    shortages["cure"] = [
        told[job] if job in told and is_of_kit(line, code) else cure
        for job, line, code, cure in zip(*columns, strict=True)
    ]


def is_of_kit(line: str, stock_code: str) -> bool:
    """Whether a short line of a refused kit is cured only with all of it: one that counts and has a stock code."""
    return bool(stock_code) and not line.endswith(SPARE_ENDING)
