"""The benchmark's made-up books are valid and repeatable, and its table says what was measured."""

import re
from io import StringIO

from django.core.management import call_command

from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.management.benchmarks.main_job_data import AS_OF, made_up_book


def test_a_made_up_book_is_read_without_a_doubt_and_planned() -> None:
    """Some ten lines a run, nearly all of them with a stock code."""
    book = read_book(made_up_book(200, items=1_500, lots=4_000))
    assert not book.questions
    lines = plan(book, as_of=AS_OF).requirements
    assert 8 <= len(lines) / 200 <= 20
    assert (lines["stock_code"] != "").mean() > 0.95
    assert set(lines["answer"]) <= {"ready", "ready if", "short"}


def test_the_same_seed_gives_the_same_book() -> None:
    """Figures of two days can be compared."""
    first, again = made_up_book(100, items=500, lots=500), made_up_book(100, items=500, lots=500)
    other = made_up_book(100, items=500, lots=500, seed=8)
    assert first.digest == again.digest
    assert first.digest != other.digest


def test_the_command_prints_sizes_ratios_and_memory() -> None:
    """Two small sizes: each has its row, the second its growth."""
    out = StringIO()
    call_command("benchmark", "--runs", "50", "100", stdout=out)
    text = out.getvalue()
    assert re.search(r"^\s+50\s", text, re.MULTILINE)
    assert re.search(r"^\s+100\s.* x\d", text, re.MULTILINE)
    assert "with every cell checked" in text
