"""From the text cells of a ``rules …`` sheet to a decision table; all doubts at once."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from hashlib import sha256
from json import dumps
from typing import TypeVar

import pandas as pd

from kitting.calculation.conductor_sizes import SizeDoubt, parse_size
from kitting.calculation.kinds import KINDS
from kitting.calculation.rule_table.cell_tests import ANYTHING, CellDoubt, CellTest, parse_cell
from kitting.calculation.rule_table.limits import NO_LIMITS, parse_limits
from kitting.calculation.rule_table.rule import FREE_WAYS, LAST_RANK, NOTHING, Rule
from kitting.calculation.rule_table.table import RuleTable
from kitting.calculation.rule_table.vocabulary import FORMS, Condition, TableForm
from kitting.errors import Refusal

WHEN = "when "
GIVE = "give "
_TEXTS = ("rule", "note", "source", "confirmed")
_MOST = 10**6
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class CellFault:
    """What is wrong with one cell: sheet row (the header is row 1), column header, character (from 1), and why."""

    row: int
    column: str
    at: int
    read: str
    problem: str
    suggestion: str

    def __str__(self) -> str:
        hint = f" ({self.suggestion})" if self.suggestion else ""
        return f"row {self.row}, column {self.column}, character {self.at}: {self.problem}{hint}"


class _Faults:
    """Collects the doubts of a sheet while it is read."""

    def __init__(self, table: str) -> None:
        self.table = table
        self.found: list[CellFault] = []

    def add(self, row: int, column: str, read: str, doubt: CellDoubt) -> None:
        self.found.append(CellFault(row, column, doubt.at, read, doubt.problem, doubt.suggestion))

    def raise_if_any(self) -> None:
        if self.found:
            told = "; ".join(str(fault) for fault in self.found)
            data = {"sheet": f"rules {self.table}", "cells": tuple(self.found)}
            raise Refusal("rules-in-doubt", f"sheet rules {self.table} can't be used: {told}", data)


def read_rule_table(name: str, frame: pd.DataFrame, revision: str = "") -> RuleTable:
    """The decision table that a sheet states.

    Args:
        name: the table, as in the sheet name ``rules <name>``.
        frame: text cells under headers ``rule``, ``when <fact>``, ``give <result>``, ``note``, ``source``; an int
            column ``row`` gives the row a person sees. A blank condition cell is ``-``; blank rows are passed over.
        revision: the revision's name; empty: ``owner`` and 12 hexadecimal digits of the content's digest.

    Raises:
        Refusal: there is no such table, or cells can't be used; the message names row, column and character of each.
    """
    form = FORMS.get(name)
    if form is None:
        raise Refusal("no-such-table", f"there is no table {name}; the tables are {', '.join(FORMS)}", {"table": name})
    columns = [str(column) for column in frame.columns]
    cells = [["" if cell is None else str(cell).strip() for cell in row] for row in frame.itertuples(index=False)]
    faults = _Faults(name)
    headers = _headers(form, columns, faults)
    faults.raise_if_any()
    numbers = [int(row[columns.index("row")]) for row in cells] if "row" in columns else list(range(2, len(cells) + 2))
    rows = [
        (number, {header: row[place] for header, place in headers.items()})
        for number, row in zip(numbers, cells, strict=True)
    ]
    filled = [(number, row) for number, row in rows if any(row.values())]
    revision = revision or f"owner {_digest(headers, [row for _, row in filled])}"
    rules = _Reader(form, revision, faults).rules(filled)
    faults.raise_if_any()
    return RuleTable(form, tuple(h.removeprefix(WHEN) for h in headers if h.startswith(WHEN)), rules, revision)


def _headers(form: TableForm, columns: list[str], faults: _Faults) -> dict[str, int]:
    """Each known header and its place, in sheet order; anything else is a fault of row 1."""
    known = {
        header.casefold(): header
        for header in (*_TEXTS, *(WHEN + fact for fact in form.conditions), *(GIVE + result for result in form.results))
    }
    found: dict[str, int] = {}
    for place, column in enumerate(columns):
        header = known.get(" ".join(column.split()).casefold())
        if header in found:
            faults.add(1, column, column, CellDoubt(1, "the column stands twice", "keep one"))
        elif header is not None:
            found[header] = place
        elif column.strip() and column != "row":
            problem = f"the table {form.name} knows no such column"
            faults.add(1, column, column, CellDoubt(1, problem, f"known: {', '.join(known.values())}"))
    for header in _needed(form):
        if header not in found:
            faults.add(1, header, "", CellDoubt(1, "the column is missing", "add it"))
    return found


def _needed(form: TableForm) -> tuple[str, ...]:
    kind = () if "kind" in form.conditions else ("kind",)
    results = ("class kV",) if form.unique else (*kind, "quantity", "per")
    return ("rule", *(GIVE + result for result in results))


def _digest(headers: Mapping[str, int], rows: list[dict[str, str]]) -> str:
    """12 hexadecimal digits over headers and cells; the order of rows counts, the order of columns does not."""
    content = [[row[header] for header in sorted(headers)] for row in rows]
    return sha256(dumps([sorted(headers), content], ensure_ascii=False).encode()).hexdigest()[:12]


class _Reader:
    """Reads the rows of one table; doubts go to ``faults``."""

    def __init__(self, form: TableForm, revision: str, faults: _Faults) -> None:
        self.form = form
        self.revision = revision
        self.faults = faults

    def rules(self, rows: list[tuple[int, dict[str, str]]]) -> tuple[Rule, ...]:
        """One rule a row, in order."""
        seen: dict[str, int] = {}
        rules = []
        for order, (number, row) in enumerate(rows):
            id_ = row["rule"]
            if not id_ or id_ in seen:
                problem = f"rule {id_} stands in row {seen[id_]} already" if id_ else "the rule has no name"
                self.faults.add(number, "rule", id_, CellDoubt(1, problem, "give each rule a name of its own"))
            seen.setdefault(id_, number)
            rules.append(self._rule(order, number, row))
        return tuple(rules)

    def _rule(self, order: int, number: int, row: dict[str, str]) -> Rule:
        tests = {
            header.removeprefix(WHEN): self._read(number, header, cell, self._test_reader(header), ANYTHING)
            for header, cell in row.items()
            if header.startswith(WHEN)
        }
        results = {result: row.get(GIVE + result, "") for result in self.form.results}
        if not results.get("fitted by", NOTHING):
            results["fitted by"] = NOTHING
        rule = Rule(
            row["rule"],
            order,
            tests,
            self.form.conditions,
            results,
            note=row.get("note", ""),
            source=row.get("source", ""),
            revision=self.revision,
        )
        if self.form.unique:
            self._read(number, GIVE + "class kV", results["class kV"], _filled, "")
            return rule
        return self._with_part(number, rule)

    def _test_reader(self, header: str) -> Callable[[str], CellTest]:
        condition = self.form.conditions[header.removeprefix(WHEN)]
        return lambda cell: _known_test(cell, condition)

    def _with_part(self, number: int, rule: Rule) -> Rule:
        """The rule with its results read; ``none`` gives nothing and counts nothing."""
        cells = rule.results
        kind = self._read(number, GIVE + "kind", cells["kind"], self._kind_reader(rule), "")
        counted = ("quantity", "per", "limits", "rank") if kind == NOTHING else ()
        for result in counted:
            if cells.get(result):
                doubt = CellDoubt(1, "where nothing is needed there is nothing to say here", "leave it blank")
                self.faults.add(number, GIVE + result, cells[result], doubt)
        if kind == NOTHING:
            return replace(rule, kind=kind)
        one_of = self._one_of
        no_quantity: Decimal | str = ""
        return replace(
            rule,
            kind=kind,
            quantity=self._read(number, GIVE + "quantity", cells["quantity"], self._quantity, no_quantity),
            per=self._read(number, GIVE + "per", cells["per"], one_of(self.form.per), ""),
            fitted_by=self._read(
                number, GIVE + "fitted by", cells.get("fitted by", NOTHING), one_of(self.form.fitted_by), NOTHING
            ),
            limits=self._read(number, GIVE + "limits", cells.get("limits", ""), parse_limits, NO_LIMITS),
            rank=self._read(number, GIVE + "rank", cells.get("rank", ""), _rank, LAST_RANK),
        )

    def _kind_reader(self, rule: Rule) -> Callable[[str], str]:
        """Kinds of the trade; a spare is of the kind that it is a spare for."""
        if "kind" not in self.form.conditions:
            return self._one_of((*KINDS, NOTHING))
        spared = rule.tests.get("kind", ANYTHING)
        return self._one_of(("", *(kind for kind in KINDS if spared.met(kind))))

    def _quantity(self, cell: str) -> Decimal | str:
        if cell == FREE_WAYS and "position" in self.form.per:
            return cell
        try:
            quantity = Decimal(cell)
        except InvalidOperation:
            raise CellDoubt(1, f"`{cell}` is no quantity", "write a number of stock units, such as 1 or 2.5") from None
        if not (quantity.is_finite() and 0 < quantity <= _MOST and quantity == round(quantity, 3)):
            raise CellDoubt(1, f"{cell} is no quantity", "more than nothing, at most three decimals") from None
        return quantity

    @staticmethod
    def _one_of(options: tuple[str, ...]) -> Callable[[str], str]:
        def read(cell: str) -> str:
            if cell not in options:
                problem = f"`{cell}` is not known here" if cell else "the cell is blank"
                raise CellDoubt(1, problem, f"one of {', '.join(filter(None, options))}")
            return cell

        return read

    def _read(self, number: int, column: str, cell: str, parser: Callable[[str], T], instead: T) -> T:
        """The parsed cell; a doubtful one is noted and read as ``instead``."""
        try:
            return parser(cell)
        except CellDoubt as doubt:
            self.faults.add(number, column, cell, doubt)
            return instead


def _filled(cell: str) -> str:
    if not cell:
        raise CellDoubt(1, "the cell is blank", "write the class, such as 15 or 12/20(24)")
    return cell


def _rank(cell: str) -> int:
    if cell and not (cell.isascii() and cell.isdigit() and 0 < int(cell) < LAST_RANK):
        raise CellDoubt(1, f"`{cell}` is no rank", "1 is first; blank is last")
    return int(cell) if cell else LAST_RANK


def _known_test(cell: str, condition: Condition) -> CellTest:
    """The cell's test; a word that the fact can never have would never hit, so it is refused."""
    test = parse_cell(cell, condition.type)
    if condition.name == "conductor size":
        return replace(test, values=frozenset(_size_name(cell, str(value)) for value in test.values))
    for value in sorted(test.values, key=str):
        known = not condition.values or value in condition.values
        if not known:
            problem = f"`{value}` is no {condition.name}"
            raise CellDoubt(cell.find(str(value)) + 1, problem, f"one of {', '.join(condition.values)}")
        if isinstance(value, Decimal) and condition.whole and value != value.to_integral_value():
            raise CellDoubt(cell.find(str(value)) + 1, f"{condition.name} are counted in whole numbers", "write 1 or 2")
    return test


def _size_name(cell: str, size: str) -> str:
    try:
        return str(parse_size(size))
    except SizeDoubt as doubt:
        raise CellDoubt(cell.find(size) + 1, doubt.problem, doubt.suggestion) from None
