"""A plan is applied while somebody changes the records: both get done, one after the other."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import date
from threading import Barrier, BrokenBarrierError

import pytest
from django.db import connection
from record_books import AT, everything, load

from jobs.models import Job
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.errors import Refusal
from kitting.selectors.event_chain import check_chain
from kitting.selectors.sheets import sheets_from_records
from kitting.services import apply_plan, change_facts


@pytest.mark.django_db(transaction=True)
def test_a_plan_is_applied_while_a_fact_is_changed_and_neither_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each has locked first what the other one needs next: the books here, the record of events there."""
    load(everything())
    sheets = sheets_from_records()
    reviewed = apply_plan.ReviewedPlan(sheets, plan(read_book(sheets), as_of=date(2026, 3, 2)))
    meeting = Barrier(2)

    def then_meet(lock: Callable[[], None]) -> Callable[[], None]:
        def run() -> None:
            lock()
            with suppress(BrokenBarrierError):
                meeting.wait(2)

        return run

    monkeypatch.setattr(apply_plan, "_hold_facts_still", then_meet(apply_plan._hold_facts_still))
    monkeypatch.setattr(change_facts, "lock_chain", then_meet(change_facts.lock_chain))

    def change() -> int:
        try:
            edit = {"sheet": "jobs", "key": ["J2"], "version": 1, "changes": {"title": "Canning Row"}}
            return change_facts.change_facts(**edit, by="R. Tolley", at=AT)
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as other:
        changed = other.submit(change)
        with suppress(Refusal):  # where the change came first: what was planned is not so any more
            apply_plan.apply_plan(reviewed=reviewed, by="R. Tolley", at=AT)
        assert changed.result(60) == 2
    assert Job.objects.get(job="J2").title == "Canning Row"
    assert not check_chain().fault
