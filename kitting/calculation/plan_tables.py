"""From promises to the tables of the plan and the answers of its jobs."""

from collections.abc import Mapping, Sequence
from datetime import date

import pandas as pd

from kitting.calculation.job_answers import short_counts
from kitting.calculation.job_dates import day_text
from kitting.calculation.plan_result import REFUSAL_COLUMNS, JobAnswer
from kitting.calculation.promising.model import NEVER, Problem, Promised
from kitting.calculation.quantities import as_decimal
from kitting.calculation.sheets.book import Book

MOST_NAMED = 5  # stock codes or jobs named in one sentence; the table names all


def refusal_table(problem: Problem, promised: Promised, kinds: Mapping[str, str]) -> pd.DataFrame:
    """Why each refused kit can't be completed: the stock codes, what they hold, who holds it, what is missing.

    Args:
        problem: what was asked.
        promised: what was answered.
        kinds: kind of each stock code.
    """
    rows = []
    for refused in promised.refused:
        codes = [problem.items[item] for item in refused.items]
        rows.append(
            (
                problem.kits[refused.kit].job,
                "; ".join(dict.fromkeys(kinds[code] for code in codes)),
                "; ".join(codes),
                as_decimal(refused.stock),
                "; ".join(problem.kits[kit].job for kit in refused.competing_kits),
                as_decimal(refused.competing),
                as_decimal(refused.missing),
                "" if refused.first_day >= NEVER else date.fromordinal(refused.first_day).isoformat(),
            )
        )
    return pd.DataFrame(rows, columns=list(REFUSAL_COLUMNS))


def refusal_sentences(refusals: pd.DataFrame) -> dict[str, str]:
    """Job -> the sentence that says why its kit was refused, from the refusals table."""
    found = {}
    for row in refusals.to_dict("records"):
        codes, holders = row["stock_codes"].split("; "), list(filter(None, row["competing_jobs"].split("; ")))
        stock, held, day = row["stock_pieces"], row["competing_pieces"], row["first_date"]
        many = f"these {len(codes)} stock codes ({_some(codes)}) hold" if len(codes) > 1 else f"{codes[0]} holds"
        earlier = f"; earlier kit{'s' * (len(holders) > 1)} {_some(holders)} hold{'s' * (len(holders) == 1)} {held:f}"
        found[row["job"]] = (
            f"{many} {stock:f} in time{earlier if holders else ''}; "
            f"this kit needs {stock - held + row['missing_pieces']:f}, too late to buy; "
            + (f"first date it would fit {day}" if day else "no later date is known to fit")
        )
    return found


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more


def summary(
    book: Book,
    as_of: date,
    answers: Sequence[JobAnswer],
    requirements: pd.DataFrame,
    shortages: pd.DataFrame,
    promised: Promised,
    problem: Problem,
) -> dict[str, object]:
    """The content of plan.json: plain values with stable keys."""
    served = sum(promised.served_in_turn)
    return {
        "as_of": as_of.isoformat(),
        "digest": book.digest,
        "answers_used": [dict(answer) for answer in book.answers_used],
        "jobs": [
            {
                "job": job.job,
                "answer": job.answer,
                "deciding_line": job.deciding_line,
                "counts": dict(job.counts),
                "short_pieces": job.short_pieces,
                **({"awaits": job.awaits} if job.awaits else {}),
                "staged_by": day_text(job.staged_by),
                **({"days": {depot: day_text(day) for depot, day in job.days.items()}} if job.days else {}),
                **({"waits_for": job.waits_for} if job.waits_for else {}),
            }
            for job in answers
        ],
        "totals": {
            "jobs": short_counts(answers),
            "lines": len(requirements),
            "short_lines": len(shortages),
            "pieces_short": str(sum(shortages["short"], start=as_decimal(0))),
        },
        "promising": {
            "policy": promised.policy,
            "complete_kits": _complete_kits(problem, promised),
            "served_in_turn": served,
            "bound": promised.bound,
            "gap": None if promised.bound is None else promised.bound - served,
            "status": promised.status,
            "cost": str(as_decimal(promised.cost)),
            "cost_status": "proven" if promised.cheapest else "not proven",
            "audit": "passed",
        },
    }


def _complete_kits(problem: Problem, promised: Promised) -> int:
    """Kits whose counted lines are all promised from real pieces; a kit without counted lines is none."""
    counted = {cell.kit for cell in problem.cells if not cell.spare and problem.kits[cell.kit].dated}
    short = {problem.cells[cell].kit for cell, left in promised.short.items() if left and not problem.cells[cell].spare}
    return len(counted - short)
