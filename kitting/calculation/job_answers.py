"""The answer of each job, and the totals of its parts."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from decimal import Decimal

import pandas as pd

from kitting.calculation.answers import CANT_TELL, WORST_FIRST, worst
from kitting.calculation.job_dates import JobDates
from kitting.calculation.plan_result import TOTAL_COLUMNS, JobAnswer


def job_answers(
    requirements: pd.DataFrame, shortages: pd.DataFrame, jobs: Mapping[str, JobDates]
) -> tuple[JobAnswer, ...]:
    """One answer a job, in the order of ``jobs``: its first line with the worst answer decides; spares never do."""
    lines = requirements.loc[requirements["spare"] == "no", ["job", "line", "answer", "reason"]]
    short = _short_pieces(shortages)
    groups = {str(job): group for job, group in lines.groupby("job", observed=True, sort=False)}
    return tuple(_job_answer(dates, groups.get(job), short.get(job, "")) for job, dates in jobs.items())


def _job_answer(dates: JobDates, lines: pd.DataFrame | None, short: str) -> JobAnswer:
    counts: dict[str, int] = {}
    answer, line, reason = CANT_TELL, "", "no row of the schedule names this job"
    if lines is not None and len(lines):
        found = Counter(lines["answer"].astype(str))
        counts = {name: found[name] for name in WORST_FIRST if found[name]}
        answer = worst(set(counts))
        first = lines.loc[(lines["answer"] == answer).to_numpy()].iloc[0]
        line, reason = str(first["line"]), str(first["reason"])
    return JobAnswer(
        job=dates.job,
        title=dates.title,
        depot=dates.depot,
        answer=answer,
        deciding_line=line,
        deciding_reason=reason,
        counts=counts,
        short_pieces=short,
        staged_by=dates.staged_by,
        cutover=dates.cutover,
        window_hours=dates.window,
    )


def _short_pieces(shortages: pd.DataFrame) -> dict[str, str]:
    """Job -> ``3 EA15-15.3; 1 BI35L``: pieces short by stock code, or by kind where no code serves."""
    sums: dict[str, dict[str, Decimal]] = defaultdict(dict)
    for job, code, kind, short in zip(
        shortages["job"], shortages["stock_code"], shortages["kind"], shortages["short"], strict=True
    ):
        name = code or f"{kind} (no stock code serves)"
        sums[job][name] = sums[job].get(name, Decimal(0)) + short
    return {job: "; ".join(f"{pieces:f} {name}" for name, pieces in named.items()) for job, named in sums.items()}


def totals_table(requirements: pd.DataFrame) -> pd.DataFrame:
    """Pieces by job and stock code, with the ends beneath: structure, position, side and pieces of each line."""
    chosen = requirements[(requirements["stock_code"] != "").to_numpy()]
    totals: dict[tuple[str, str, str], Decimal] = {}
    ends: dict[tuple[str, str, str], list[str]] = {}
    columns = ("job", "stock_code", "kind", "quantity", "structure", "position", "run", "side", "phases", "spare")
    for job, code, kind, quantity, *owner in zip(*(chosen[name].tolist() for name in columns), strict=True):
        key = (job, code, kind)
        totals[key] = totals.get(key, Decimal(0)) + quantity
        ends.setdefault(key, []).append(f"{_owner(*owner)} {quantity:f}")
    rows = [(*key, quantity, "; ".join(ends[key])) for key, quantity in totals.items()]
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
