"""The answer of each job, as received and after the answers, and the sums of its parts."""

import csv
from pathlib import Path

import pytest
from desk import Reading

from kitting.calculation.plan_result import Plan

FILE = Path(__file__).parents[3] / "fixtures_demo" / "expected_answers.csv"
EXPECTED = list(csv.DictReader(FILE.read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize("row", EXPECTED, ids=[row["job"] for row in EXPECTED])
def test_each_job_answers_as_the_scenario_says(
    row: dict[str, str], received: Plan, answered: Plan, read: type[Reading]
) -> None:
    """Answer as received, answer once the questions are answered, and the day the bags must be ready."""
    assert read(received).job(row["job"]).answer == row["answer received"]
    assert read(answered).job(row["job"]).answer == row["answer after answers"]
    assert read(answered).job(row["job"]).staged_by.isoformat() == row["staged by"]


@pytest.mark.parametrize(
    ("job", "code", "depot", "source", "pieces"),
    [
        ("J01", "EL15-2", "H", "transfer", 2),
        ("J02", "EA15-15.3", "N", "transfer", 4),
        ("J06", "BI15", "M", "transfer", 2),
        ("J06", "CS15-2", "H", "transfer", 3),
        ("J08", "CA-6", "M", "order", 6),
        ("J09", "EL25-2", "N", "order", 12),
        ("J09", "CS25-2", "H", "transfer", 2),
        ("J10", "BI15", "M", "transfer", 3),
        ("J12", "EL25-2", "N", "order", 6),
    ],
)
def test_what_must_still_come(
    answered: Plan, read: type[Reading], job: str, code: str, depot: str, source: str, pieces: int
) -> None:
    """Transfers and orders that the ready-if jobs wait for."""
    found = read(answered).promised(job=job, stock_code=code)
    assert sum(amount for (at, _, by), amount in found.items() if (at, by) == (depot, source)) == pieces


def test_a_job_that_is_ready_if_says_if_what_and_a_spare_that_must_come_is_no_such_thing(answered: Plan) -> None:
    assert {job.job: job.awaits for job in answered.jobs if job.awaits} == {
        "J01": "2 EL15-2 from H", "J02": "4 EA15-15.3 from N", "J06": "3 CS15-2 from H; 2 BI15 from M",
    }  # fmt: skip
    assert set(answered.promises[answered.promises["job"] == "J03"]["source"]) == {"shelf", "transfer"}


@pytest.mark.parametrize(
    ("job", "code", "pieces", "order_by"),
    [
        ("J08", "BI35L", 1, "2026-01-08"),
        ("J09", "CS25-2", 1, "2026-03-18"),
        ("J11", "EA15-15.3", 3, "2026-04-06"),
        ("J12", "CS25-2", 6, "2026-04-09"),
    ],
)
def test_what_is_short_and_when_it_must_be_ordered(
    answered: Plan, job: str, code: str, pieces: int, order_by: str
) -> None:
    """Only these four; every other piece is there or on its way."""
    rows = answered.shortages[(answered.shortages["job"] == job) & (answered.shortages["stock_code"] == code)]
    assert sum(rows["short"]) == pieces
    assert set(rows["order_by"]) == {order_by}
    assert sum(answered.shortages["short"]) == 11


@pytest.mark.parametrize(
    ("job", "code", "pieces"),
    [
        ("J01", "EL15-2", 6), ("J01", "EL15-1", 12), ("J01", "BI15", 6),
        ("J02", "EL15-3", 30), ("J02", "EA15-15.3", 6), ("J02", "BI15", 0),
        ("J03", "CA-4", 9), ("J03", "JS-3", 9), ("J03", "CS15-6", 3), ("J03", "IP25", 9), ("J03", "CP25", 0),
        ("J04", "EL25-1", 8), ("J04", "BI25", 3), ("J04", "CS25-2", 0), ("J04", "EL25-2", 0),
        ("J05", "MT24-C2", 6), ("J05", "MT24-C1", 18), ("J05", "ML-120/240", 6), ("J05", "ML-50/150", 18),
        ("J06", "EL15-1", 9), ("J06", "BI15", 8), ("J06", "CS15-2", 3),
        ("J07", "EL35S-1", 6), ("J07", "BI35S", 6), ("J07", "CS35-2", 6),
        ("J08", "CA-6", 6), ("J08", "BI35L", 3), ("J08", "EL35L-1", 3), ("J08", "CS35-2", 15), ("J08", "CS35-6", 6),
        ("J09", "EL25-2", 12), ("J09", "BI25", 6), ("J09", "CS25-2", 3),
        ("J10", "BI15", 3), ("J10", "EL15-1", 6), ("J10", "EL15-3", 3), ("J10", "CS15-2", 6),
        ("J10", "RC-40-10A", 3), ("J10", "SC-10A", 3),
        ("J11", "EL15-3", 18), ("J11", "EA15-15.3", 3),
        ("J12", "EL25-2", 6), ("J12", "CS25-2", 6), ("J12", "BI25", 3), ("J12", "EL25-3", 6),
    ],
)  # fmt: skip
def test_the_rows_add_up(clean: Plan, read: type[Reading], job: str, code: str, pieces: int) -> None:
    """Pieces of a stock code that the job's lines choose, spares apart."""
    assert read(clean).pieces(job=job, stock_code=code) == pieces


def test_the_deciding_line_is_the_first_with_the_worst_answer(clean: Plan, read: type[Reading]) -> None:
    """J08's insert decides; J03's spare, which comes by transfer, does not."""
    assert read(clean).job("J08").deciding_line == "J08/G3-a/position/ABC/bushing insert"
    assert read(clean).job("J03").answer == "ready"


def test_totals_are_the_sum_of_their_ends(clean: Plan) -> None:
    """Each total says the pieces of each end beneath it, and they add up."""
    for quantity, ends in zip(clean.totals["quantity"], clean.totals["ends"], strict=True):
        assert sum(int(end.rsplit(" ", 1)[1]) for end in ends.split("; ")) == quantity
