"""The answer of each job, and the totals of its parts."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from kitting.calculation.answers import CANT_TELL, READY_IF, WORST_FIRST
from kitting.calculation.expansion.lines import SPARE_ENDING
from kitting.calculation.job_dates import JobDates
from kitting.calculation.order_marks import urgency
from kitting.calculation.plan_result import TOTAL_COLUMNS, JobAnswer
from kitting.calculation.promising.model import SHELF, TRANSFER
from kitting.calculation.quantities import as_decimal, thousandths
from kitting.calculation.shortages import YES

_MOST_AWAITED = 3
_NO_CODE, _NOT_SHORT = (False, False, ""), (True, True, "~")  # before and after every day to order by


def job_answers(
    requirements: pd.DataFrame, shortages: pd.DataFrame, promises: pd.DataFrame, jobs: Mapping[str, JobDates]
) -> tuple[JobAnswer, ...]:
    """One answer a job, in the order of ``jobs``: its first line with the worst answer decides; spares never do.

    Among short lines the one decides that is hardest to cure: no stock code serves, too late to buy, nobody can tell
    the order-by, the earliest order-by.
    """
    lines = requirements[(requirements["spare"] == "no").to_numpy()]
    short, awaited = _short_pieces(shortages), _awaited(promises)
    job_of, names = pd.factorize(lines["job"])
    answers = pd.Categorical(lines["answer"], categories=WORST_FIRST)
    counts = np.zeros((len(names), len(WORST_FIRST)), dtype=np.int64)
    np.add.at(counts, (job_of, answers.codes), 1)
    worst_first = np.lexsort((_turns(lines["line"], shortages), answers.codes, job_of))
    deciding = worst_first[np.searchsorted(job_of[worst_first], np.arange(len(names)))]
    told = {
        str(name): _Told(
            counts={answer: int(count) for answer, count in zip(WORST_FIRST, row, strict=True) if count},
            line=str(line),
            reason=str(reason),
        )
        for name, row, line, reason in zip(
            names, counts, lines["line"].iloc[deciding], lines["reason"].iloc[deciding], strict=True
        )
    }
    nothing = _Told({}, "", "no row of the schedule names this job")
    return tuple(
        _job_answer(dates, told.get(job, nothing), short.get(job, ""), awaited.get(job, ()))
        for job, dates in jobs.items()
    )


def _turns(lines: pd.Series, shortages: pd.DataFrame) -> np.ndarray:
    """The turn in which each line decides among those of the same answer; equal where none comes first."""
    columns = (shortages[name] for name in ("line", "order_by", "too_late"))
    hard = {
        line: urgency(day, late == YES) if day else _NO_CODE for line, day, late in zip(*columns, strict=True)
    }  # fmt: skip
    turns = {rank: turn for turn, rank in enumerate(sorted({*hard.values(), _NOT_SHORT}))}
    return np.array([turns[hard.get(line, _NOT_SHORT)] for line in lines], dtype=np.int64)


@dataclass(frozen=True, slots=True)
class _Told:
    """How many lines of a job carry each answer, worst first, and the first line with the worst."""

    counts: Mapping[str, int]
    line: str
    reason: str


def _job_answer(dates: JobDates, told: _Told, short: str, awaited: Sequence[str]) -> JobAnswer:
    answer = next(iter(told.counts), CANT_TELL)
    return JobAnswer(
        job=dates.job,
        title=dates.title,
        depot=dates.depot,
        answer=answer,
        deciding_line=told.line,
        deciding_reason=told.reason,
        counts=told.counts,
        short_pieces=short,
        staged_by=dates.staged_by,
        cutover=dates.cutover,
        window_hours=dates.window,
        awaits=_some(awaited) if answer == READY_IF else "",
    )


def _some(awaited: Sequence[str]) -> str:
    more = f" and {len(awaited) - _MOST_AWAITED} more" if len(awaited) > _MOST_AWAITED else ""
    return "; ".join(awaited[:_MOST_AWAITED]) + more


def _short_pieces(shortages: pd.DataFrame) -> dict[str, str]:
    """Job -> ``3 BI35L; 1 spare JS-3``: pieces short by stock code, or by kind where no code serves; spares last."""
    sums: dict[str, dict[tuple[bool, str], Decimal]] = defaultdict(dict)
    columns = (shortages[name] for name in ("job", "line", "stock_code", "kind", "short"))
    for job, line, code, kind, short in zip(*columns, strict=True):
        name = (line.endswith(SPARE_ENDING), code or f"{kind} (no stock code serves)")
        sums[job][name] = sums[job].get(name, Decimal(0)) + short
    return {
        job: "; ".join(
            f"{pieces:f} {'spare ' * spare}{name}"
            for (spare, name), pieces in sorted(named.items(), key=lambda one: one[0][0])
        )
        for job, named in sums.items()
    }


def _awaited(promises: pd.DataFrame) -> dict[str, list[str]]:
    """Job -> ``2 EL15-2 from H``, ``6 CA-6 on order PO-2, due 2026-04-09``: what must still arrive for its lines."""
    sums: dict[str, dict[str, Decimal]] = defaultdict(dict)
    columns = ("job", "line", "stock_code", "quantity", "source", "depot", "order", "ready_on")
    for job, line, code, pieces, source, depot, order, day in zip(*(promises[name] for name in columns), strict=True):
        if source != SHELF and not line.endswith(SPARE_ENDING):
            name = f"{code} from {depot}" if source == TRANSFER else f"{code} on order {order}, due {day}"
            sums[job][name] = sums[job].get(name, Decimal(0)) + pieces
    return {job: [f"{pieces:f} {name}" for name, pieces in named.items()] for job, named in sums.items()}


def totals_table(requirements: pd.DataFrame) -> pd.DataFrame:
    """Pieces by job and stock code, with the ends beneath: structure, position, side and pieces of each line."""
    chosen = requirements[(requirements["stock_code"] != "").to_numpy()]
    keys = [pd.factorize(chosen[name]) for name in ("job", "stock_code", "kind")]
    group = np.zeros(len(chosen), dtype=np.int64)
    for codes, names in keys:
        group = group * (len(names) + 1) + codes
    group, _ = pd.factorize(group)
    amount_of, amounts = pd.factorize(chosen["quantity"])
    pieces = np.array([thousandths(amount) for amount in amounts], dtype=np.int64)
    total = np.zeros(int(group.max(initial=-1)) + 1, dtype=np.int64)
    np.add.at(total, group, pieces[amount_of])
    owner = ("structure", "position", "run", "side", "phases", "spare")
    owners = zip(*(chosen[name].tolist() for name in owner), amount_of.tolist(), strict=True)
    texts = [f"{amount:f}" for amount in amounts]
    told: dict[tuple[Any, ...], str] = {}
    ends: list[list[str]] = [[] for _ in total]
    for number, place in zip(group.tolist(), owners, strict=True):
        if place not in told:
            told[place] = f"{_owner(*place[:-1])} {texts[place[-1]]}"
        ends[number].append(told[place])
    first = np.unique(group, return_index=True)[1]
    columns = [names[codes[first]] for codes, names in keys]
    rows = zip(*columns, map(as_decimal, total.tolist()), map("; ".join, ends), strict=True)
    return pd.DataFrame(rows, columns=list(TOTAL_COLUMNS))


def _owner(structure: str, position: str, run: str, side: str, phases: str, spare: str) -> str:
    if spare == "yes":
        return "spare"
    if not structure:
        return "job"
    place = f"{structure}-{position}" if position else structure
    return f"{place} r{run}-{side} {phases}" if run else f"{place} {phases}".strip()


def short_counts(answers: Sequence[JobAnswer]) -> dict[str, int]:
    """How many jobs carry each answer."""
    found = Counter(job.answer for job in answers)
    return {name: found[name] for name in WORST_FIRST if found[name]}
