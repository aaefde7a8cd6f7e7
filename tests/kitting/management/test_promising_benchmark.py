"""The promising benchmark's instances are repeatable, and its figures are those of the plans it makes."""

import re
from io import StringIO

from django.core.management import call_command

from kitting.calculation.promising import promise
from kitting.calculation.promising.eligibility import eligibility
from kitting.management.benchmarks.promising import measure, table_text
from kitting.management.benchmarks.promising_data import SIZES, compressed, line_by_line, made_up


def test_the_same_seed_gives_the_same_instance_and_coupling_shares_items_among_owners() -> None:
    first, again, other = (compressed(made_up(SIZES["S"], stock="tight", seed=seed)).problem for seed in (3, 3, 4))
    assert first == again
    assert first != other
    apart, coupled = (made_up(SIZES["M"], stock="tight", seed=3, coupled=both) for both in (False, True))
    assert len(coupled.items) < len(apart.items)


def test_kit_first_completes_more_kits_and_leaves_fewer_pieces_short_than_line_by_line() -> None:
    for stock in ("tight", "normal"):
        made = compressed(made_up(SIZES["M"], stock=stock, seed=1))
        short, _ = line_by_line(made, eligibility(made.problem))
        lacking = {
            made.problem.cells[cell].kit for cell, left in zip(made.line_cell.tolist(), short, strict=True) if left
        }
        promised = promise(made.problem)
        assert sum(promised.served_in_turn) > 1.15 * (len(made.problem.kits) - len(lacking))
        assert sum(promised.short.values()) < 0.95 * sum(short)


def test_the_table_says_what_was_measured() -> None:
    measured = measure("S", "tight")
    assert measured.jobs == SIZES["S"].jobs
    assert measured.strict_short <= measured.greedy_short
    heads, row = table_text([measured]).splitlines()
    assert len(heads.split()) > 10
    assert f"{measured.lines:,}" in row


def test_the_command_prints_the_settings_the_table_the_growth_and_the_reading_of_the_workbook() -> None:
    out = StringIO()
    call_command("benchmark", "plan", "--size", "S", "--stock", "tight", "--coupled", "--double", stdout=out)
    text = out.getvalue()
    assert "tight 0.85" in text
    for name in ("S tight", "S tight coupled", "S x2 tight"):
        assert re.search(rf"^ *{name}  +\d", text, re.MULTILINE)
    assert re.search(r"From 6 to 100 jobs each doubling takes: strict x\d", text)
    assert re.search(r"as xlsx: pandas \d.* our reading \d", text)
