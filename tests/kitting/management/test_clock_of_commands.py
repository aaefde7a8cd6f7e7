"""What a command books in a demo happens on the demo's day, or its pages would leap to today."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from bag_stores import MORNING, Stores, demo_sheets, planned
from django.core.management import call_command
from module_books import books_of_module

from kitting.models import Event, Policy
from kitting.selectors.clock import books_now

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)


def test_papers_printed_by_a_command_leave_a_demo_on_its_day_and_other_books_on_the_real_one(tmp_path: Path) -> None:
    Stores().bags("J03")
    call_command("papers", "J03", "--out", str(tmp_path / "demo"))
    assert Event.objects.latest("number").at.date() == books_now().date() == MORNING.date()

    Policy.objects.filter(policy="demo").update(value="no")
    call_command("papers", "J03", "--out", str(tmp_path / "real"))
    assert abs(Event.objects.latest("number").at - datetime.now(UTC)).total_seconds() < 60
