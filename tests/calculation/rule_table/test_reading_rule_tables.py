"""Reading `rules …` sheets: every doubt at once, with row, column and place in the cell."""

from decimal import Decimal

import pandas as pd
import pytest

from kitting.calculation.rule_table import CellFault, read_rule_table
from kitting.errors import Refusal

GOOD = {
    "rule": "E-1",
    "when cables": "1",
    "give kind": "lug",
    "give quantity": "1",
    "give per": "phase",
    "give fitted by": "conductor",
    "give limits": "made of = Cu",
    "give rank": "2",
    "note": "why",
    "source": "common practice",
}


def faults(name: str, *rows: dict[str, str]) -> list[CellFault]:
    with pytest.raises(Refusal) as caught:
        read_rule_table(name, pd.DataFrame(list(rows), dtype=object).fillna(""))
    assert caught.value.code == "rules-in-doubt"
    cells = caught.value.data["cells"]
    assert isinstance(cells, tuple)
    assert all(str(cell) in caught.value.message for cell in cells)
    return list(cells)


def test_a_row_is_read_with_its_results() -> None:
    table = read_rule_table("end accessories", pd.DataFrame([GOOD]))
    rule = table.rules[0]
    assert (rule.id, rule.kind, rule.quantity, rule.per, rule.fitted_by, rule.rank) == (
        "E-1", "lug", Decimal(1), "phase", "conductor", 2,
    )  # fmt: skip
    assert rule.limits.words() == "made of Cu"
    assert (table.name, table.hit_policy, table.conditions) == ("end accessories", "collect", ("cables",))
    assert (rule.note, rule.source) == ("why", "common practice")


def test_blank_cells_mean_anything_fitted_by_none_and_the_last_rank() -> None:
    row = {**GOOD, "when cables": "", "give fitted by": "", "give rank": "", "give limits": ""}
    ranked = read_rule_table("end accessories", pd.DataFrame([row, {**GOOD, "rule": "E-2"}])).rules
    assert ranked[0].tests["cables"].anything
    assert ranked[0].fitted_by == ranked[0].results["fitted by"] == "none"
    assert ranked[0].rank > ranked[1].rank


def test_all_doubtful_cells_are_named_at_once_with_row_column_and_character() -> None:
    found = faults(
        "end accessories",
        {**GOOD, "when cables": "[1..", "give kind": "elbw"},
        {**GOOD, "rule": "E-2", "when cables": "1.5", "give quantity": "0"},
        {**GOOD, "rule": "E-3", "give per": "joint", "give fitted by": "both jackets", "give rank": "first"},
        {**GOOD, "rule": "E-4", "give limits": "made of = Cu; size = big"},
    )
    assert {(cell.row, cell.column, cell.at) for cell in found} == {
        (2, "when cables", 5),
        (2, "give kind", 1),
        (3, "when cables", 1),
        (3, "give quantity", 1),
        (4, "give per", 1),
        (4, "give fitted by", 1),
        (4, "give rank", 1),
        (5, "give limits", 14),
    }
    assert all(cell.suggestion for cell in found)


def test_the_row_is_the_one_that_a_person_sees() -> None:
    frame = pd.DataFrame([{**GOOD, "when cables": "x", "row": 17}])
    with pytest.raises(Refusal, match="row 17, column when cables, character 1"):
        read_rule_table("end accessories", frame)


def test_a_word_that_a_fact_can_never_have_is_refused_with_the_words_it_can() -> None:
    [cell] = faults("end accessories", {**GOOD, "when state": "in use, In Service"})
    assert (cell.at, cell.problem) == (9, "`In Service` is no state")
    assert cell.suggestion == "one of in use, open point, end of line, unused, dead"
    [cell] = faults("end accessories", {**GOOD, "when interface": "200 A 15kV"})
    assert "200 A 15 kV" in cell.suggestion


def test_an_unknown_or_repeated_column_is_refused_with_the_columns_that_are_known() -> None:
    [cell] = faults("end accessories", {**GOOD, "when colour": "red"})
    assert (cell.row, cell.column) == (1, "when colour")
    assert "when position kind" in cell.suggestion
    [cell] = faults("end accessories", {**GOOD, "When  Cables": "2"})
    assert "stands twice" in cell.problem


def test_headers_are_read_in_any_case_and_order() -> None:
    frame = pd.DataFrame([{f"  {name.upper()} ": cell for name, cell in reversed(GOOD.items())}])
    table = read_rule_table("end accessories", frame)
    assert table.rules[0].kind == "lug"
    assert table.revision == read_rule_table("end accessories", pd.DataFrame([GOOD])).revision


def test_a_table_without_a_needed_column_is_refused() -> None:
    missing = {name: cell for name, cell in GOOD.items() if name not in {"give per", "rule"}}
    columns = {cell.column for cell in faults("end accessories", missing) if cell.row == 1}
    assert columns == {"give per", "rule"}


def test_each_rule_needs_a_name_of_its_own() -> None:
    found = faults("end accessories", GOOD, GOOD, {**GOOD, "rule": ""})
    assert [(cell.row, cell.problem) for cell in found] == [
        (3, "rule E-1 stands in row 2 already"),
        (4, "the rule has no name"),
    ]


def test_a_row_that_needs_nothing_counts_nothing() -> None:
    row = {**GOOD, "give kind": "none", "give quantity": "", "give per": "", "give limits": "", "give rank": ""}
    assert read_rule_table("end accessories", pd.DataFrame([row])).rules[0].kind == "none"
    [cell] = faults("end accessories", {**row, "give quantity": "1"})
    assert (cell.column, cell.problem) == ("give quantity", "where nothing is needed, nothing is counted")


@pytest.mark.parametrize("quantity", ["1", "2.5", "0.001", "4"])
def test_a_quantity_counts_stock_units(quantity: str) -> None:
    rules = read_rule_table("end accessories", pd.DataFrame([{**GOOD, "give quantity": quantity}])).rules
    assert rules[0].quantity == Decimal(quantity)


@pytest.mark.parametrize("quantity", ["0", "-1", "1.0005", "1,5", "one", "free ways", "NaN", ""])
def test_no_quantity_is_guessed(quantity: str) -> None:
    [cell] = faults("end accessories", {**GOOD, "give quantity": quantity})
    assert cell.column == "give quantity"


def test_free_ways_are_counted_at_positions_only() -> None:
    row = {"rule": "P", "give kind": "insulated cap", "give quantity": "free ways", "give per": "phase"}
    rule = read_rule_table("position accessories", pd.DataFrame([row])).rules[0]
    assert rule.quantity == "free ways"
    assert rule.gives() == "an insulated cap, one on each free way, a phase"


def test_a_spare_is_of_the_kind_it_is_a_spare_for() -> None:
    row = {"rule": "S", "when kind": "lug", "give kind": "lug", "give quantity": "1", "give per": "outage"}
    assert read_rule_table("spares", pd.DataFrame([row])).rules[0].kind == "lug"
    [cell] = faults("spares", {**row, "give kind": "tee"})
    assert cell.suggestion == "one of lug"


def test_conductor_sizes_are_read_in_any_trade_spelling() -> None:
    table = read_rule_table("end accessories", pd.DataFrame([{**GOOD, "when conductor size": "#1/0, 500 MCM"}]))
    test = table.rules[0].tests["conductor size"]
    assert test.met("1/0 AWG") is True
    assert test.met("500 kcmil") is True
    [cell] = faults("end accessories", {**GOOD, "when conductor size": "1/0, 2000-01-01"})
    assert cell.at == 6


def test_blank_rows_are_passed_over_and_an_empty_sheet_is_a_table_without_rules() -> None:
    table = read_rule_table(
        "spares", pd.DataFrame(columns=["rule", "when kind", "give kind", "give quantity", "give per"])
    )
    assert table.rules == ()
    padded = pd.DataFrame([dict.fromkeys(GOOD, ""), GOOD, dict.fromkeys(GOOD)], dtype=object)
    assert [rule.id for rule in read_rule_table("end accessories", padded).rules] == ["E-1"]


def test_a_sheet_of_no_table_is_refused_with_the_tables_there_are() -> None:
    with pytest.raises(
        Refusal, match="there is no table end acessories; the tables are connector class, end accessories"
    ):
        read_rule_table("end acessories", pd.DataFrame())


def test_a_class_that_is_left_blank_is_refused() -> None:
    [cell] = faults("connector class", {"rule": "C", "when nominal kV": "12", "give class kV": ""})
    assert (cell.column, cell.problem) == ("give class kV", "the cell is blank")


def test_the_revision_of_an_owner_names_the_content() -> None:
    first = read_rule_table("end accessories", pd.DataFrame([GOOD])).revision
    again = read_rule_table("end accessories", pd.DataFrame([{**GOOD, "row": 99}])).revision
    changed = read_rule_table("end accessories", pd.DataFrame([{**GOOD, "when cables": "2"}])).revision
    assert first == again != changed
    assert first.startswith("owner ")
    assert len(first) == len("owner ") + 12
    assert read_rule_table("end accessories", pd.DataFrame([GOOD])).rules[0].revision == first
