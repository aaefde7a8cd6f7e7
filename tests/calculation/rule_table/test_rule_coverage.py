"""Gaps and overlaps of decision tables: found exactly, told in words."""

import itertools
import re
from decimal import Decimal
from types import MappingProxyType

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.rule_table import (
    FORMS,
    CellTest,
    Condition,
    Domain,
    Fact,
    Rule,
    RuleTable,
    TableForm,
    check_table,
    hits,
    parse_cell,
    read_rule_table,
)
from kitting.calculation.rule_table import coverage as coverage_module
from kitting.calculation.rule_table.cell_tests import Span
from kitting.calculation.rule_table.domains import axis_of


def class_table(*rows: tuple[str, str, str]) -> RuleTable:
    named = [
        {"rule": f"C{n}", "when nominal kV": kv, "when wires": wires, "give class kV": given_class}
        for n, (kv, wires, given_class) in enumerate(rows, 1)
    ]
    return read_rule_table("connector class", pd.DataFrame(named))


def joint_table(*rows: dict[str, str]) -> RuleTable:
    filled = [
        {"rule": f"J{n}", "give kind": "splice", "give quantity": "1", "give per": "phase", **row}
        for n, row in enumerate(rows, 1)
    ]
    return read_rule_table("joint accessories", pd.DataFrame(filled).fillna(""))


def test_a_table_that_covers_everything_once_has_neither_gap_nor_overlap() -> None:
    table = class_table(("< 14.4", "-", "15"), ("[14.4..26.3]", "-", "25"), ("> 26.3", "-", "35"))
    found = check_table(table)
    assert (found.gaps, found.overlaps) == ((), ())


def test_a_planted_gap_is_found_and_told() -> None:
    table = class_table(("< 14.4", "-", "15"), ("(14.4..26.3]", "3", "25"), ("> 26.3", "-", "35"))
    assert check_table(table).gaps == (
        "no rule: nominal kV 14.4",
        "no rule: nominal kV above 14.4 up to 26.3, wires 2, 4 or blank",
    )


def test_a_planted_overlap_is_found_and_told() -> None:
    table = class_table(("<= 14.4", "-", "15"), ("[14.4..26.3]", "4", "25"), ("> 14.4", "2,3,null", "35"))
    assert check_table(table).overlaps == ("rules C1 and C2 both hit: nominal kV 14.4, wires 4",)


def test_a_single_missing_point_is_found_however_fine() -> None:
    table = class_table(("< 13.80000000000000000000000000000000000001", "-", "15"), ("> 13.8", "-", "25"))
    assert check_table(table).gaps == ()
    table = class_table(("< 13.8", "-", "15"), ("> 13.8", "-", "25"))
    assert check_table(table).gaps == ("no rule: nominal kV 13.8",)


def test_whole_numbers_leave_no_gap_between_neighbours() -> None:
    assert check_table(joint_table({"when sides": "[1..2]"}, {"when sides": ">= 3"})).gaps == ()
    assert check_table(joint_table({"when sides": "1"}, {"when sides": "> 3"})).gaps == ("no rule: sides 2 to 3",)
    assert check_table(joint_table({"when sides": "[2..3]"})).gaps == ("no rule: sides 1 or 4 or more",)


def test_a_text_that_no_rule_names_is_any_other() -> None:
    table = joint_table({"when class kV": "15,25"})
    assert check_table(table).gaps == ("no rule: class kV any other",)
    table = joint_table({"when class kV": "15,25"}, {"when class kV": "not(15,25)"})
    assert check_table(table).gaps == ()


def test_an_empty_table_covers_nothing_and_a_silent_one_need_not() -> None:
    empty = pd.DataFrame(columns=["rule", "give kind", "give quantity", "give per"])
    assert check_table(read_rule_table("joint accessories", empty)).gaps == ("no rule: whatever the facts",)
    assert check_table(read_rule_table("location accessories", empty)).gaps == ()


def test_rules_of_a_collect_table_overlap_where_they_contradict_each_other() -> None:
    two = joint_table({"when sides": "[2..3]"}, {"when sides": "3", "give quantity": "2"})
    assert check_table(two).overlaps == ("rules J1 and J2 both give splice, differently and with equal rank: sides 3",)
    ranked = joint_table({"when sides": "[2..3]", "give rank": "1"}, {"when sides": "3", "give limits": "maker = M"})
    agreeing = joint_table({"when sides": "[2..3]"}, {"when sides": "3"})
    other_kind = joint_table({"when sides": "2"}, {"give kind": "splice connector", "give quantity": "2"})
    several = [{"give kind": "consumable", "give quantity": str(n)} for n in (1, 2)]
    for table in (ranked, agreeing, other_kind, joint_table(*several)):
        assert check_table(table).overlaps == ()


def test_combinations_that_cannot_occur_are_no_gaps_and_no_overlaps() -> None:
    table = joint_table(
        {"when sides": "2", "when same cable": "yes"},
        {"when sides": "2", "when same cable": "no", "give quantity": "2"},
        {"when sides": ">= 2", "when same cable": "no", "give quantity": "3"},
    )
    never = [
        {"sides": parse_cell("1")},
        {"sides": parse_cell("> 2"), "same cable": parse_cell("yes")},
        {"sides": parse_cell("2"), "same cable": parse_cell("no")},
    ]
    assert check_table(table, impossible=never).gaps == ()
    assert check_table(table, impossible=never).overlaps == ()
    assert check_table(table, impossible=()).overlaps != ()


def test_a_stated_domain_limits_what_is_checked() -> None:
    table = joint_table({"when class kV": "15"}, {"when class kV": "25"})
    assert check_table(table, {"class kV": Domain(("15", "25"))}).gaps == ()
    assert check_table(table, {"class kV": Domain(("15", "25", "35"))}).gaps == ("no rule: class kV 35",)
    table = class_table(("[1..5]", "-", "15"))
    assert check_table(table, {"nominal kV": Domain(numbers=Span(Decimal(1), Decimal(5), True, True))}).gaps == ()


@pytest.mark.parametrize(
    ("low", "high", "whole", "cuts", "cells"),
    [
        (None, None, False, "[1..2]", ["< 1", "1", "(1..2)", "2", "> 2"]),
        (None, None, True, "[1..2]", ["< 1", "1", "2", "> 2"]),
        (0, None, True, "3", ["0", "(0..3)", "3", "> 3"]),
        (0, None, True, "0.5, 1.5", ["0", "(0.5..1.5)", "> 1.5"]),
        (1, 3, True, "-", ["1", "(1..3)", "3"]),
        (0, 1, False, "7", ["0", "(0..1)", "1"]),
        (None, None, False, "-", []),
    ],
)
def test_numbers_are_cut_at_every_end_into_points_and_open_intervals(
    low: int | None, high: int | None, whole: bool, cuts: str, cells: list[str]
) -> None:
    span = Span(_decimal(low), _decimal(high), low is not None, high is not None)
    axis = axis_of("x", Domain(numbers=span, whole=whole), [parse_cell(cuts, "number")])
    spans = [parse_cell(cell).spans or (Span(Decimal(cell), Decimal(cell), True, True),) for cell in cells]
    expected = [one for (one,) in spans] or [Span(None, None)]
    assert [cell.span for cell in axis.cells] == expected
    assert all(cell.span is not None and cell.span.holds(cell.stands_for) for cell in axis.cells)


def _decimal(number: int | None) -> Decimal | None:
    return None if number is None else Decimal(number)


# A small form whose facts can be enumerated in full, to compare the check with brute force.
def condition(name: str, kind: str, **more: object) -> Condition:
    plain: dict[str, object] = {"whole": False, "values": (), "blank": False, "low": None, "high": None, "words": "{}"}
    return Condition(name, kind, **{**plain, **more})  # type: ignore[arg-type]


SMALL = MappingProxyType(
    {
        "shape": condition("shape", "text", values=("p", "q", "r")),
        "colour": condition("colour", "text", blank=True),
        "count": condition("count", "number", whole=True, low=Decimal(0), high=Decimal(5)),
        "size": condition("size", "number", low=Decimal(0), high=Decimal(4), blank=True),
    }
)
EVERY: dict[str, list[Fact]] = {
    "shape": ["p", "q", "r"],
    "colour": ["u", "v", "some other", None],
    "count": [0, 1, 2, 3, 4, 5],
    "size": [*(Decimal(n) / 2 for n in range(9)), None],
}
CELLS = {
    "shape": ["-", "p", "p,q", "not(p)", "r"],
    "colour": ["-", "u", "u,v", "not(v)", "null", "not(null)", "null,u", "not(u)"],
    "count": ["-", "2", "[1..3]", "> 2", "<= 3", "not(2)", "(1..4)", "0,5"],
    "size": ["-", "2", "< 2", ">= 2", "(1..3]", "not([1..3])", "null", "[0..4]"],
}
RULES = st.lists(st.fixed_dictionaries({name: st.sampled_from(cells) for name, cells in CELLS.items()}), max_size=5)
NEVER = st.lists(
    st.fixed_dictionaries({}, optional={name: st.sampled_from(cells[1:]) for name, cells in CELLS.items()}).filter(
        bool
    ),
    max_size=2,
)


def small_table(rules: list[dict[str, str]]) -> RuleTable:
    form = TableForm("small", True, ("class kV",), (), (), False, SMALL)
    made = [
        Rule(f"R{n}", n, {name: _test(name, cell) for name, cell in rule.items()}, SMALL, {"class kV": "15"})
        for n, rule in enumerate(rules)
    ]
    return RuleTable(form, tuple(SMALL), tuple(made), "test")


def _test(name: str, cell: str) -> CellTest:
    return parse_cell(cell, SMALL[name].type)


def all_facts() -> list[dict[str, Fact]]:
    return [dict(zip(EVERY, values, strict=True)) for values in itertools.product(*EVERY.values())]


FACTS = all_facts()


@given(RULES, NEVER)
def test_the_check_agrees_with_trying_every_combination(
    rules: list[dict[str, str]], never: list[dict[str, str]]
) -> None:
    table = small_table(rules)
    boxes = [{name: _test(name, cell) for name, cell in box.items()} for box in never]
    found = check_table(table, {"colour": Domain(("u", "v"), any_other=True, blank=True)}, boxes)
    can_occur = [facts for facts in FACTS if not any(_holds(box, facts) for box in boxes)]
    hit = [(facts, [rule.id for rule in hits(table, facts).definite]) for facts in can_occur]

    pairs = {pair for _, ids in hit for pair in itertools.combinations(ids, 2)}
    told = {tuple(re.findall(r"R\d", overlap)) for overlap in found.overlaps}
    assert told == pairs

    parts = [_parsed(gap.removeprefix("no rule: ")) for gap in found.gaps]
    for facts, ids in hit:
        inside = [part for part in parts if all(_in_words(part[name], facts[name]) for name in part)]
        assert bool(inside) is not bool(ids), (facts, found.gaps)


def _holds(box: dict[str, CellTest], facts: dict[str, Fact]) -> bool:
    return all(test.met(facts[name]) is True for name, test in box.items())


def _parsed(words: str) -> dict[str, str]:
    """The facts of a sentence and what it says of each."""
    if words == "whatever the facts":
        return {}
    pieces = re.split(rf"(?:^|, )({'|'.join(SMALL)}) ", words)[1:]
    return dict(zip(pieces[::2], pieces[1::2], strict=True))


def _in_words(words: str, fact: Fact) -> bool:
    """Whether the fact is among those that the words list: read back independently of how they were made."""
    choices = re.split(r", | or (?!more|less)", words)
    if fact is None or isinstance(fact, str):
        named = {None: "blank", "some other": "any other"}.get(fact, fact)
        return named in choices
    number = Decimal(str(fact))
    return any(_number_in(choice, number) for choice in choices if choice != "blank")


def _number_in(choice: str, number: Decimal) -> bool:
    ends = [Decimal(end) for end in re.findall(r"\d+(?:\.\d+)?", choice)]
    forms = {
        r"[\d.]+": lambda: number == ends[0],
        r"[\d.]+ to [\d.]+": lambda: ends[0] <= number <= ends[1],
        r"from [\d.]+ to [\d.]+": lambda: ends[0] <= number <= ends[1],
        r"from [\d.]+ to below [\d.]+": lambda: ends[0] <= number < ends[1],
        r"above [\d.]+ up to [\d.]+": lambda: ends[0] < number <= ends[1],
        r"between [\d.]+ and [\d.]+": lambda: ends[0] < number < ends[1],
    }
    return next(holds() for form, holds in forms.items() if re.fullmatch(form, choice))


@given(RULES)
def test_the_parts_without_a_rule_never_share_a_combination(rules: list[dict[str, str]]) -> None:
    grid = coverage_module._Grid.over(small_table(rules), {}, ())
    everywhere = tuple(tuple(range(len(axis.cells))) for axis in grid.axes)
    parts = coverage_module._uncovered(grid, everywhere, grid.all_boxes)
    for one, other in itertools.combinations(parts, 2):
        shared = dict(one).keys() & dict(other).keys()
        assert any(not set(dict(one)[place]) & set(dict(other)[place]) for place in shared)


def test_every_form_states_a_domain_for_each_of_its_facts() -> None:
    for form in FORMS.values():
        for name, fact in form.conditions.items():
            assert fact.words, (form.name, name)
            assert fact.type in {"text", "number"}
            assert not fact.values or fact.type == "text"
