"""From the text cells of a ``rules …`` sheet to a decision table; all doubts at once."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
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
_QUANTITY = re.compile(r"[0-9]{1,6}(\.[0-9]{1,3})?")
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


@dataclass(frozen=True, slots=True)
class _Row:
    """One row while it is read; doubts about its cells go to ``faults``."""

    number: int
    cells: Mapping[str, str]
    faults: list[CellFault]

    def doubt(self, header: str, doubt: CellDoubt) -> None:
        """Note a doubt about one cell."""
        read = self.cells.get(header, "")
        self.faults.append(CellFault(self.number, header, doubt.at, read, doubt.problem, doubt.suggestion))

    def read(self, header: str, parser: Callable[[str], T], *, instead: T) -> T:
        """The parsed cell; a doubtful one is noted and read as ``instead``."""
        try:
            return parser(self.cells.get(header, ""))
        except CellDoubt as doubt:
            self.doubt(header, doubt)
            return instead


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
    faults: list[CellFault] = []
    columns = [str(column) for column in frame.columns]
    headers = _headers(form, columns, faults)
    rows = [row for row in _rows(frame, columns, headers, faults) if any(row.cells.values())]
    revision = revision or f"owner {_digest(headers, rows)}"
    rules = tuple(_rule(form, row, order=order, revision=revision) for order, row in enumerate(rows))
    _doubt_names(rows)
    if faults:
        told = "; ".join(str(fault) for fault in sorted(faults, key=lambda fault: fault.row))
        data = {"sheet": f"rules {name}", "cells": tuple(faults)}
        raise Refusal("rules-in-doubt", f"sheet rules {name} can't be used: {told}", data)
    return RuleTable(form, tuple(h.removeprefix(WHEN) for h in headers if h.startswith(WHEN)), rules, revision)


def _rows(frame: pd.DataFrame, columns: list[str], headers: Mapping[str, int], faults: list[CellFault]) -> list[_Row]:
    filled_in = frame.astype(object).where(frame.notna(), "")
    cells = [[str(cell).strip() for cell in row] for row in filled_in.itertuples(index=False, name=None)]
    numbers = [int(row[columns.index("row")]) for row in cells] if "row" in columns else range(2, len(cells) + 2)
    return [
        _Row(number, {header: row[place] for header, place in headers.items()}, faults)
        for number, row in zip(numbers, cells, strict=True)
    ]


def _headers(form: TableForm, columns: list[str], faults: list[CellFault]) -> dict[str, int]:
    """Each known header and its place, in sheet order; anything else is a fault of row 1."""
    top = _Row(1, {column: column for column in columns}, faults)
    whens, gives = [WHEN + fact for fact in form.conditions], [GIVE + result for result in form.results]
    known = {header.casefold(): header for header in (*_TEXTS, *whens, *gives)}
    found: dict[str, int] = {}
    for place, column in enumerate(columns):
        header = known.get(" ".join(column.split()).casefold())
        if header in found:
            top.doubt(column, CellDoubt(1, "the column stands twice", "keep one"))
        elif header is not None:
            found[header] = place
        elif column.strip() and column != "row":
            problem = f"the table {form.name} knows no such column"
            top.doubt(column, CellDoubt(1, problem, f"known: {', '.join(known.values())}"))
    for header in _needed(form):
        if header not in found:
            top.doubt(header, CellDoubt(1, "the column is missing", "add it"))
    return found


def _needed(form: TableForm) -> tuple[str, ...]:
    results = ("class kV",) if form.unique else ("kind", "quantity", "per")
    return ("rule", *(GIVE + result for result in results))


def _digest(headers: Mapping[str, int], rows: list[_Row]) -> str:
    """12 hexadecimal digits over headers and cells; the order of rows counts, the order of columns does not."""
    content = [[row.cells[header] for header in sorted(headers)] for row in rows]
    return sha256(dumps([sorted(headers), content], ensure_ascii=False).encode()).hexdigest()[:12]


def _doubt_names(rows: list[_Row]) -> None:
    """Rules are quoted by name, so each needs one of its own."""
    seen: dict[str, int] = {}
    for row in rows:
        name = row.cells.get("rule", "")
        if not name or name in seen:
            problem = f"rule {name} stands in row {seen[name]} already" if name else "the rule has no name"
            row.doubt("rule", CellDoubt(1, problem, "give each rule a name of its own"))
        seen.setdefault(name, row.number)


def _rule(form: TableForm, row: _Row, *, order: int, revision: str) -> Rule:
    tests = {
        header.removeprefix(WHEN): row.read(header, _test_reader(form, header), instead=ANYTHING)
        for header in row.cells
        if header.startswith(WHEN)
    }
    results = {result: row.cells.get(GIVE + result, "") for result in form.results}
    if not results.get("fitted by", NOTHING):
        results["fitted by"] = NOTHING
    rule = Rule(
        id=row.cells.get("rule", ""),
        order=order,
        tests=tests,
        conditions=form.conditions,
        results=results,
        note=row.cells.get("note", ""),
        source=row.cells.get("source", ""),
        revision=revision,
    )
    if form.unique:
        row.read(GIVE + "class kV", _filled, instead="")
        return rule
    return _with_part(form, row, rule)


def _test_reader(form: TableForm, header: str) -> Callable[[str], CellTest]:
    condition = form.conditions[header.removeprefix(WHEN)]
    return lambda cell: _known_test(cell, condition)


def _with_part(form: TableForm, row: _Row, rule: Rule) -> Rule:
    """The rule with its results read; ``none`` gives nothing and counts nothing."""
    kind = row.read(GIVE + "kind", _one_of(_kinds(form, rule)), instead="")
    if kind == NOTHING:
        for result in ("quantity", "per", "limits", "rank"):
            if rule.results.get(result):
                row.doubt(GIVE + result, CellDoubt(1, "where nothing is needed, nothing is counted", "leave it blank"))
        return replace(rule, kind=kind)
    no_quantity: Decimal | str = ""
    return replace(
        rule,
        kind=kind,
        quantity=row.read(GIVE + "quantity", _quantity_reader(form), instead=no_quantity),
        per=row.read(GIVE + "per", _one_of(form.per), instead=""),
        fitted_by=row.read(GIVE + "fitted by", _one_of(("", *form.fitted_by)), instead="") or NOTHING,
        limits=row.read(GIVE + "limits", parse_limits, instead=NO_LIMITS),
        rank=row.read(GIVE + "rank", _rank, instead=LAST_RANK),
    )


def _kinds(form: TableForm, rule: Rule) -> tuple[str, ...]:
    """Kinds that may stand here; a spare is of the kind that it is a spare for."""
    if "kind" not in form.conditions:
        return (*KINDS, NOTHING)
    spared = rule.tests.get("kind", ANYTHING)
    return tuple(kind for kind in KINDS if spared.met(kind))


def _quantity_reader(form: TableForm) -> Callable[[str], Decimal | str]:
    def read(cell: str) -> Decimal | str:
        if cell == FREE_WAYS and "position" in form.per:
            return cell
        if _QUANTITY.fullmatch(cell) is None or not Decimal(cell):
            raise CellDoubt(1, f"`{cell}` is no quantity", "write stock units above 0, such as 1 or 2.5")
        return Decimal(cell)

    return read


def _one_of(options: tuple[str, ...]) -> Callable[[str], str]:
    def read(cell: str) -> str:
        if cell not in options:
            problem = f"`{cell}` is not known here" if cell else "the cell is blank"
            raise CellDoubt(1, problem, f"one of {', '.join(filter(None, options))}")
        return cell

    return read


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
        if condition.values and value not in condition.values:
            problem = f"`{value}` is no {condition.name}"
            raise CellDoubt(_place(cell, value), problem, f"one of {', '.join(condition.values)}")
        if isinstance(value, Decimal) and condition.whole and value != value.to_integral_value():
            raise CellDoubt(_place(cell, value), f"{condition.name} counts in whole numbers", "write 1 or 2")
    return test


def _place(cell: str, value: object) -> int:
    return max(cell.find(str(value)), 0) + 1


def _size_name(cell: str, size: str) -> str:
    try:
        return str(parse_size(size))
    except SizeDoubt as doubt:
        raise CellDoubt(_place(cell, size), doubt.problem, doubt.suggestion) from None
