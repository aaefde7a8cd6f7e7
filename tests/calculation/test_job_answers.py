"""What a job says of itself: the line that decides it, and what is short."""

import pandas as pd
import pytest

from kitting.calculation.job_answers import job_answers
from kitting.calculation.job_dates import JobDates
from kitting.calculation.plan_result import PROMISE_COLUMNS, JobAnswer

DATES = JobDates("J1", "First", "N", None, None, None, 0, "", "")
CHEAP, DEAR, ODD, SPARE = "J1/a/phase tag", "J1/b/bushing insert", "J1/c/lug", "J1/job/jacket seal/JS-1/spare"


def told(*short: tuple[str, str, int, str, str]) -> JobAnswer:
    """The answer of a job with these lines short: line, stock code, pieces, order-by and too late."""
    lines = [(line, "J1", "short", "", "yes" if line == SPARE else "no") for line, *_ in short]
    requirements = pd.DataFrame(lines, columns=["line", "job", "answer", "reason", "spare"])
    rows = [("J1", line, code, "kind", pieces, day, late) for line, code, pieces, day, late in short]
    shortages = pd.DataFrame(rows, columns=["job", "line", "stock_code", "kind", "short", "order_by", "too_late"])
    (found,) = job_answers(requirements, shortages, pd.DataFrame(columns=PROMISE_COLUMNS), {"J1": DATES})
    return found


@pytest.mark.parametrize(
    ("other", "decides"),
    [
        ((DEAR, "BI", 1, "2026-01-08", "yes"), DEAR),
        ((DEAR, "BI", 1, "can't tell", ""), DEAR),
        ((DEAR, "BI", 1, "2026-03-10", "no"), DEAR),
        ((DEAR, "", 1, "", ""), DEAR),
        ((DEAR, "BI", 1, "2026-03-23", "no"), CHEAP),
        ((DEAR, "BI", 1, "2026-04-23", "no"), CHEAP),
    ],
)
def test_of_short_lines_the_hardest_to_cure_decides_else_the_first(
    other: tuple[str, str, int, str, str], decides: str
) -> None:
    assert told((CHEAP, "TAG", 9, "2026-03-23", "no"), other).deciding_line == decides


def test_spares_that_are_short_are_called_so_and_named_last() -> None:
    found = told(
        (SPARE, "JS-1", 1, "2026-01-01", "yes"), (CHEAP, "TAG", 9, "2026-03-23", "no"),
        (ODD, "JS-1", 3, "2026-03-23", "no"), (DEAR, "", 1, "", ""),
    )  # fmt: skip
    assert found.short_pieces == "9 TAG; 3 JS-1; 1 kind (no stock code serves); 1 spare JS-1"
    assert found.deciding_line == DEAR
