"""Examples of what the rules must give and must refuse, down to the stock code."""

import pytest
from small_books import small

from kitting.calculation.rule_book import rule_book
from kitting.calculation.rule_examples import Example, failing, read_examples
from kitting.calculation.sheets.book import Book
from kitting.calculation.sheets.raw import raw_sheet
from kitting.errors import Refusal

WELL = {
    "position kind": "well 200 A", "interface": "200 A 15 kV", "class kV": "15", "current A": "200",
    "switching": "loadbreak", "state": "in use", "environment": "dry", "test point": "(blank)", "cables": "1",
    "insulation": "XLPE", "jacketed": "yes", "jacket seals": "everywhere", "metal": "Al",
}  # fmt: skip
CABLE = {"DOI low": "0.730 in", "DOI high": "0.790 in", "conductor size": "1/0"}


@pytest.fixture(scope="module")
def book() -> Book:
    return small().book


def fault(book: Book, must: str, gives: str, code: str = "", table: str = "end accessories", **facts: str) -> str:
    stated = {name.replace("_", " "): text for name, text in facts.items()} if facts else {**WELL, **CABLE}
    found = failing([Example("one", table, must, gives, "", code, stated)], rule_book({}), book)
    return found[0].sentence if found else ""


@pytest.mark.parametrize(
    ("must", "gives", "code", "told"),
    [
        ("give", "elbow", "", ""),
        ("refuse", "elbow", "", "elbow is given by rule E-01"),
        ("give", "tee", "", "tee is given by no rule"),
        ("refuse", "tee", "", ""),
        ("give", "elbow", "EL-1", ""),
        ("refuse", "elbow", "EL-1", "EL-1 serves, and must not"),
        ("give", "elbow", "EL-2", "EL-2 does not serve"),
        ("refuse", "elbow", "EL-2", ""),
        ("give", "elbow connector", "CC-10", ""),
        ("refuse", "elbow connector", "CC-40", ""),
    ],
)
def test_an_example_holds_or_says_why_not(book: Book, must: str, gives: str, code: str, told: str) -> None:
    """A cable of 0.730 to 0.790 in, 1/0 aluminium, at a 15 kV well takes EL-1 (0.600 to 0.800) and CC-10."""
    said = fault(book, must, gives, code)
    assert said.startswith(told)
    assert bool(said) == bool(told)


def test_an_example_that_leaves_open_what_a_rule_reads_does_not_hold(book: Book) -> None:
    """Neither way: nobody may take a missing fact for a yes or a no."""
    for must in ("give", "refuse"):
        assert fault(book, must, "elbow", position_kind="well 200 A").startswith(
            "nobody can tell whether elbow is given"
        )


def test_the_class_of_a_system_is_an_example_too(book: Book) -> None:
    asked = {"table": "connector class", "nominal_kV": "12.47", "wires": "4"}
    assert fault(book, "give", "15", **asked) == ""
    assert fault(book, "refuse", "25", **asked) == ""
    assert fault(book, "give", "25", **asked) == "class 15 is given"
    assert fault(book, "refuse", "15", **asked) == "class 15 kV is given"


def test_a_sheet_of_examples_names_all_cells_that_cannot_be_used() -> None:
    headers = ("example", "table", "must", "gives", "quantity", "when cables", "when DOI low", "when moon")
    rows = [
        ("good", "end accessories", "give", "elbow", "1", "1", "0.730 in", ""),
        ("good", "end accessories", "give", "elbow", "", "", "", ""),
        ("b", "no table", "give", "elbow", "", "", "", ""),
        ("c", "end accessories", "may", "wheel", "few", "many", "0.730", ""),
    ]
    with pytest.raises(Refusal) as refused:
        read_examples(raw_sheet("rule examples", headers, rows))
    told = refused.value.message
    for doubt in (
        "row 1: there is no column when moon",
        "row 3, example: good must be a name that no other example has",
        "row 4, table: no table is none of connector class",
        "row 5, must: may is none of give, refuse, drop",
        "row 5, gives: wheel is no kind of part",
        "row 5, when cables: many is no number",
        "row 5, when DOI low:",
        "row 5, quantity: few is no quantity",
    ):
        assert doubt in told
    (kept,) = read_examples(raw_sheet("rule examples", headers[:-1], [rows[0][:-1]]))
    assert kept.facts == {"cables": "1", "DOI low": "0.730 in"}
