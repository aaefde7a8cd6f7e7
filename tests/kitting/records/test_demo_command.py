"""``manage.py demo``: from faulty sheets to an applied plan, and never into the books of somebody else."""

import io
import json
from pathlib import Path

import pytest
from django.core.management import call_command

from inventory.models import Depot
from kitting.models import AppliedPlan, Event, Promise
from kitting.selectors.promises import open_promises

pytestmark = pytest.mark.django_db(transaction=True)


def test_the_demo_is_planned_as_received_then_answered_loaded_and_applied(tmp_path: Path) -> None:
    printed = io.StringIO()
    call_command("demo", "--no-serve", "--first-day", "--out", str(tmp_path), stdout=printed)
    said = printed.getvalue()
    assert said.index("As received") < said.index("Loaded with the answers") < said.index("After the answers")
    assert "answers: 10 kept" in said
    assert {path.name for path in tmp_path.iterdir()} == {"received", "after-answers"}
    applied = AppliedPlan.objects.get()
    assert applied.summary == json.loads((tmp_path / "after-answers" / "plan.json").read_text())
    assert open_promises()["quantity"].sum() > 1_000
    assert Promise.objects.filter(plan=applied, released_at=None).count() == applied.promises.count()
    assert Event.objects.order_by("number").last().name == "plan applied"  # type: ignore[union-attr]


def test_the_demo_stays_out_of_books_that_hold_other_data(tmp_path: Path) -> None:
    Depot.objects.create(depot="N", name="Ours")
    said = io.StringIO()
    with pytest.raises(SystemExit) as stopped:
        call_command("demo", "--no-serve", "--out", str(tmp_path), stdout=io.StringIO(), stderr=said)
    assert stopped.value.code == 2
    assert "These books hold other data, and the demo must not be mixed with it" in said.getvalue()
    assert not Promise.objects.exists()
