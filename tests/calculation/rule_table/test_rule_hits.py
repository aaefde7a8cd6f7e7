"""Which rules hit: hit policies of the standard, and facts that are missing."""

import itertools
from collections.abc import Mapping

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.questions import Missing
from kitting.calculation.rule_table import Fact, RuleTable, hits, read_rule_table

UNKNOWN = Missing("environment", "environment is blank", "positions", "environment")


def end_table(*rules: dict[str, str]) -> RuleTable:
    rows = [{"give kind": "tee", "give quantity": "1", "give per": "phase", **rule} for rule in rules]
    return read_rule_table("end accessories", pd.DataFrame(rows).fillna(""))


def ids(table: RuleTable, facts: Mapping[str, Fact]) -> tuple[list[str], list[str]]:
    found = hits(table, facts)
    return [rule.id for rule in found.definite], [possible.rule.id for possible in found.possible]


def test_a_collect_table_gives_every_rule_that_hits_in_its_order() -> None:
    table = end_table(
        {"rule": "B", "when cables": "[1..2]"}, {"rule": "A", "when cables": "-"}, {"rule": "C", "when cables": "> 2"}
    )
    assert ids(table, {"cables": 2}) == (["B", "A"], [])
    assert ids(table, {"cables": 3}) == (["A", "C"], [])


def test_two_hits_in_a_unique_table_are_a_conflict_that_names_both() -> None:
    rows = [
        {"rule": "X", "when nominal kV": "[10..14)", "give class kV": "15"},
        {"rule": "Y", "when nominal kV": "[13..20]", "give class kV": "25"},
    ]
    table = read_rule_table("connector class", pd.DataFrame(rows))
    assert [rule.id for rule in hits(table, {"nominal kV": 13}).conflict] == ["X", "Y"]
    assert hits(table, {"nominal kV": 12}).conflict == ()
    assert hits(table, {"nominal kV": 12}).definite[0].results["class kV"] == "15"
    assert hits(table, {"nominal kV": 21}).definite == ()


def test_a_missing_fact_is_returned_with_the_rules_that_hang_on_it() -> None:
    table = end_table(
        {"rule": "wet", "when environment": "wet", "when jacketed": "yes"},
        {"rule": "any", "when environment": "-", "when jacketed": "yes"},
    )
    found = hits(table, {"environment": UNKNOWN, "jacketed": "yes"})
    assert [rule.id for rule in found.definite] == ["any"]
    assert [(possible.rule.id, possible.missing) for possible in found.possible] == [("wet", (UNKNOWN,))]


def test_a_rule_that_one_fact_rules_out_asks_for_no_other() -> None:
    table = end_table({"rule": "wet", "when environment": "wet", "when jacketed": "yes"})
    assert ids(table, {"environment": UNKNOWN, "jacketed": "no"}) == ([], [])


def test_a_fact_that_no_rule_tests_is_not_read() -> None:
    table = end_table({"rule": "A", "when cables": "1", "when environment": "-"})
    assert ids(table, {"cables": 1}) == (["A"], [])
    with pytest.raises(KeyError):
        hits(table, {"environment": "wet"})


def test_a_blank_fact_hits_rules_that_say_so() -> None:
    table = end_table(
        {"rule": "plain", "when switching": "loadbreak,null"},
        {"rule": "named", "when switching": "loadbreak"},
        {"rule": "other", "when switching": "not(fused loadbreak)"},
    )
    assert ids(table, {"switching": None}) == (["plain"], [])
    assert ids(table, {"switching": "loadbreak"}) == (["plain", "named", "other"], [])


def test_a_sentence_quotes_the_rule_and_the_facts_it_met() -> None:
    table = end_table(
        {
            "rule": "E-9",
            "when position kind": "well 200 A,integral 200 A",
            "when state": "in use",
            "when test point": "no,null",
            "give kind": "elbow",
            "give fitted by": "insulation",
            "give limits": "made of = Cu",
        }
    )
    rule = table.rules[0]
    facts: dict[str, Fact] = {"position kind": "well 200 A", "state": "in use", "test point": "no"}
    told = "an elbow, one a phase, fitted by insulation, made of Cu"
    assert rule.reason(facts) == f"rule E-9: at a well 200 A, in use: {told}"
    assert rule.reason({**facts, "state": UNKNOWN}) == f"rule E-9: at a well 200 A, not known: {told}"
    assert rule.sentence == (f"rule E-9: at an integral 200 A or well 200 A, in use, test point no or blank: {told}")


CELLS = {
    "state": ["-", "in use", "in use,open point", "not(dead)", "dead"],
    "environment": ["-", "dry", "wet", "not(wet)"],
    "jacketed": ["-", "yes", "no"],
    "cables": ["-", "1", "[1..2]", "> 2", "not(1)"],
}
VALUES: dict[str, list[Fact]] = {
    "state": ["in use", "open point", "dead"],
    "environment": ["dry", "wet"],
    "jacketed": ["yes", "no"],
    "cables": [1, 2, 3],
}


@given(st.data())
def test_missing_facts_leave_open_exactly_what_they_could_decide(data: st.DataObject) -> None:
    rules = data.draw(st.lists(st.fixed_dictionaries({n: st.sampled_from(c) for n, c in CELLS.items()}), max_size=6))
    rows = [{"rule": f"R{n}", **{f"when {name}": cell for name, cell in r.items()}} for n, r in enumerate(rules)]
    table = end_table(*rows) if rows else end_table({"rule": "R"})
    given_facts = {name: data.draw(st.sampled_from(values)) for name, values in VALUES.items()}
    unknown = data.draw(st.sets(st.sampled_from(sorted(VALUES))))
    listed = data.draw(st.booleans())
    facts: dict[str, Fact] = dict(given_facts)
    for name in unknown:
        options = tuple((str(value), value) for value in VALUES[name]) if listed else ()
        facts[name] = Missing(name, "blank", "positions", name, options=options)
    definite, possible = ids(table, facts)
    completions = [
        dict(zip(unknown, values, strict=True)) for values in itertools.product(*(VALUES[name] for name in unknown))
    ]
    outcomes = [set(ids(table, {**facts, **completion})[0]) for completion in completions]
    assert set(definite) <= set.intersection(*outcomes)
    assert set(definite) | set(possible) >= set.union(*outcomes)
    assert not unknown or set(definite) & set(possible) == set()
    if listed:
        assert set(definite) == set.intersection(*outcomes)
        assert set(definite) | set(possible) == set.union(*outcomes)
