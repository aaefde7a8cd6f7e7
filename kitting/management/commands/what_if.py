"""``manage.py what_if``: what a change would do, line by line, without touching anything."""

from argparse import ArgumentParser
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from kitting.calculation import what_if
from kitting.calculation.planning import plan
from kitting.calculation.sheets.raw import RawBook
from kitting.calculation.what_if import LineChange, differences
from kitting.errors import Refusal
from kitting.management.books import recorded_sheets, refused_in_words
from kitting.management.commands.plan import iso_date
from kitting.management.in_columns import in_columns
from kitting.selectors.expired_uses import past_dates
from kitting.spreadsheets.reading import read_raw_book

Change = Callable[[RawBook], RawBook]
# Option, what it takes, what it is for, and the change; several of them are made one after the other.
CHANGES: tuple[tuple[str, tuple[str, ...], str, Callable[..., RawBook]], ...] = (
    (
        "--move",
        ("JOB", "CUTOVER"),
        "the job's outage starts then: '2026-03-31 22:00'",
        lambda raw, job, cutover: what_if.move_cutover(raw, job=job, cutover=cutover),
    ),
    (
        "--late",
        ("ORDER", "DAYS"),
        "the order comes so many days later",
        lambda raw, order, days: what_if.delay_order(raw, order=order, days=_days(days)),
    ),
    (
        "--without-lot",
        ("CODE", "LOT"),
        "no piece of the lot can be used",
        lambda raw, code, lot: what_if.lose_lot(raw, stock_code=code, lot=lot),
    ),
    (
        "--more",
        ("CODE", "DEPOT", "QUANTITY"),
        "so many more pieces lie in a bin",
        lambda raw, code, depot, quantity: what_if.add_stock(raw, stock_code=code, depot=depot, quantity=quantity),
    ),
    (
        "--more-until",
        ("CODE", "DEPOT", "QUANTITY", "DAY"),
        "the same of an item with a shelf life, good through that day",
        lambda raw, code, depot, quantity, day: what_if.add_stock(
            raw, stock_code=code, depot=depot, quantity=quantity, use_by=day
        ),
    ),
    (
        "--approve",
        ("WANTED", "ALLOWED"),
        "the stand-in is approved",
        lambda raw, wanted, allowed: what_if.approve_stand_in(raw, wanted=wanted, allowed=allowed),
    ),
)


def _days(text: str) -> int:
    if not text.isascii() or not text.isdigit():
        raise Refusal("not-days", f"{text!r} is no number of days; write it as 14.", {"read": text})
    return int(text)


def _name(option: str) -> str:
    return option.strip("-").replace("-", "_")


class Command(BaseCommand):
    """Plan before and after a change, and show the lines that differ."""

    help = "Say what a change would do: each line before and after. Nothing is stored."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("input", type=Path, nargs="?", help="workbook or folder of CSV files; the records without")
        parser.add_argument("--as-of", type=iso_date, required=True, help="day of planning, YYYY-MM-DD")
        for option, words, purpose, _ in CHANGES:
            parser.add_argument(option, nargs=len(words), metavar=words, action="append", default=[], help=purpose)

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            before = read_raw_book(options["input"]) if options["input"] else recorded_sheets(options["as_of"])
            after = before
            asked = [(change, words) for option, _, _, change in CHANGES for words in options[_name(option)]]
            if not asked:
                raise Refusal("no-change", f"Say what would change: {', '.join(one[0] for one in CHANGES)}.", {})
            for _, cutover in options["move"]:
                what_if.refuse_past(cutover, options["as_of"])
            for change, words in asked:
                after = change(after, *words)
            let_go = () if options["input"] else past_dates()
            books = what_if.read_both(before, after)
            plans = [plan(book, as_of=options["as_of"], past_dates=let_go) for book in books]
        self.stdout.write(changes_text(differences(*plans)))


def changes_text(changes: tuple[LineChange, ...]) -> str:
    """One row a line that differs: what it was and would be."""
    if not changes:
        return "No line would change."
    heads = ("line", "answer", "would be", "stock code", "would be", "short", "would be")
    rows = [
        (one.line, one.answer_before, one.answer_after, one.stock_code_before, one.stock_code_after,
         one.short_before, one.short_after)
        for one in changes
    ]  # fmt: skip
    jobs = len({one.job for one in changes})
    return f"{in_columns([heads, *rows])}\n{len(changes)} lines of {jobs} jobs would change."
