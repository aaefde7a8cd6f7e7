"""What a command books in a demo happens on the demo's day, or its pages would leap to today."""

from datetime import UTC, datetime
from pathlib import Path

import pypdfium2
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


def test_labels_printed_in_the_evening_tell_the_stock_of_the_day_at_the_depot(tmp_path: Path) -> None:
    Stores(at=datetime(2026, 3, 3, 2, tzinfo=UTC)).bags("J03")  # 20:00 on the 2nd at the depots
    call_command("papers", "J03", "--out", str(tmp_path / "papers"))
    call_command("labels", "N", "2026-03-12", "--out", str(tmp_path / "labels.pdf"))
    for path in (tmp_path / "papers" / "bag-label.pdf", tmp_path / "labels.pdf"):
        assert "stock as of 2026-03-02" in pypdfium2.PdfDocument(path)[0].get_textpage().get_text_bounded()
