"""What was installed before the books began is put on them with its paper, and no other way."""

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from bag_stores import CREW, Stores, demo_sheets
from module_books import books_of_module
from people import BUYER

import inventory.errors
from inventory.models import Item, Movement
from inventory.selectors.rebuilding import unequal_balances
from inventory.selectors.trace import trace
from jobs.models import Job
from kitting.documents.bag_records import bag_papers
from kitting.documents.from_records import lot_trace_of
from kitting.documents.lot_trace import INSTALLED
from kitting.errors import Refusal
from kitting.services.earlier_jobs import Earlier, record_earlier_job

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets)
UNKNOWN = Earlier(structure="P", position="a", stock_code="BI99", lot="", quantity=1)
FITTED = (
    Earlier(structure="PH1", position="a", stock_code="BI25", lot="L-2409-17", quantity=3000),
    Earlier(structure="PH2", position="a", stock_code="CS15-2", lot="L-2303B", quantity=3000, phase="ABC"),
)


def given(**other: Any) -> dict[str, Any]:
    """The pump house of 2025."""
    return {
        "job": "H01", "title": "Pump House", "depot": "N", "done_on": date(2025, 9, 13), "fitted": FITTED,
        "paper": "binder of H01", **other,
    }  # fmt: skip


def test_an_earlier_job_adds_to_what_was_received_and_to_what_is_installed() -> None:
    before = trace(item=Item.objects.get(stock_code="BI25"), number="L-2409-17")
    stores = Stores()
    scan = stores.scan(CREW)
    assert record_earlier_job(**given(), **scan) == record_earlier_job(**given(), **scan)
    after = trace(item=Item.objects.get(stock_code="BI25"), number="L-2409-17")
    assert (after.received - before.received, after.endings, after.gap) == (3000, {"installed": 3000}, 0)
    assert (unequal_balances(), Movement.objects.filter(action__use_case="record earlier job").count()) == ([], 4)
    assert Job.objects.get(job="H01").ended == "complete"
    traced = lot_trace_of(item=Item.objects.get(stock_code="BI25"), lot="L-2409-17", zone=ZoneInfo("America/Chicago"))
    assert [line.when for line in traced.lines if line.part == INSTALLED] == ["energised 2025-09-13 00:00 CDT"]
    ends = bag_papers("H01").installed.ends
    assert [(end.structure, end.end, end.phase, end.lot) for end in ends] == [
        ("PH1", "a", "", "L-2409-17"), ("PH2", "a", "ABC", "L-2303B"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("other", "code"),
    [
        ({"paper": " "}, "no-reason"),
        ({"depot": "Q"}, "unknown-depot"),
        ({"job": "J01"}, "job-number-used"),
        ({"job": "H/01"}, "no-code"),
        ({"done_on": date(2026, 3, 2)}, "not-earlier"),
        ({"fitted": ()}, "moves-nothing"),
        (
            {"fitted": (Earlier(structure="P", position="a", stock_code="BI99", lot="", quantity=1),)},
            "unknown-stock-code",
        ),
        ({"actor": BUYER}, "not-allowed"),
    ],
)
def test_an_earlier_job_that_can_not_be_so_is_refused(other: dict[str, Any], code: str) -> None:
    with pytest.raises((Refusal, inventory.errors.Refusal)) as refused:
        record_earlier_job(**{**given(), **Stores().scan(CREW), **other})
    assert refused.value.code == code
    assert not Job.objects.filter(job="H01").exists()
