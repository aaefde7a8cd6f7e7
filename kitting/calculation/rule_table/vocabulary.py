"""What a decision table may ask and give: its facts, their values, its results (``tables/rules_facts.csv``)."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType

from kitting.calculation.interfaces import INTERFACES
from kitting.calculation.kinds import KINDS, POSITION_KINDS
from kitting.calculation.published_tables import listed, table_rows
from kitting.calculation.rule_table.cell_tests import NUMBER, TEXT, CellTest

_WELL = "well 200 A"
# Vocabularies that have a table of their own.
_ELSEWHERE = {
    "position kind": tuple(kind for kind in POSITION_KINDS if kind != "joint"),
    "interface": tuple(INTERFACES),
    "kind": tuple(KINDS),
}


def with_article(words: str) -> str:
    """The words with their article: ``an elbow``, ``a tee``."""
    return f"{'an' if words[:1].lower() in set('aeiou') else 'a'} {words}"


@dataclass(frozen=True, slots=True)
class Condition:
    """One fact that a table may test.

    Args:
        name: the fact, as in the header ``when <name>``.
        type: TEXT or NUMBER.
        whole: a number that is counted.
        values: the only texts it can have; empty: any text.
        blank: the fact may be blank, and means something then.
        low: least number it can have, included; None: no limit.
        high: greatest number it can have, included; None: no limit.
        words: how a sentence tells it; ``{}`` stands for the value, ``{a}`` for the value with its article.
    """

    name: str
    type: str
    whole: bool
    values: tuple[str, ...]
    blank: bool
    low: Decimal | None
    high: Decimal | None
    words: str

    def told(self, value: str) -> str:
        """The fact in a sentence: ``at a well 200 A``, ``jacketed yes``."""
        return self.words.format(value, a=with_article(value))


@dataclass(frozen=True, slots=True)
class TableForm:
    """The form of one decision table.

    Args:
        name: the table, as in the sheet name ``rules <name>``.
        unique: hit policy unique (else collect) of DMN.
        results: columns ``give <result>`` that it may have.
        per: bases of counting that it may name.
        fitted_by: what it may fit a part by.
        silent: no hit is no fault.
        conditions: the facts that it may test.
    """

    name: str
    unique: bool
    results: tuple[str, ...]
    per: tuple[str, ...]
    fitted_by: tuple[str, ...]
    silent: bool
    conditions: Mapping[str, Condition]


def _number(cell: str) -> Decimal | None:
    return Decimal(cell) if cell else None


def _condition(row: Mapping[str, str]) -> Condition:
    return Condition(
        name=row["fact"],
        type=TEXT if row["type"] == "text" else NUMBER,
        whole=row["type"] == "whole",
        values=_ELSEWHERE.get(row["fact"], listed(row["values"])),
        blank=row["blank"] == "yes",
        low=_number(row["low"]),
        high=_number(row["high"]),
        words=row["words"],
    )


def _form(row: Mapping[str, str]) -> TableForm:
    facts = [_condition(fact) for fact in table_rows("rules_facts") if fact["table"] == row["table"]]
    return TableForm(
        name=row["table"],
        unique=row["hit policy"] == "unique",
        results=listed(row["results"]),
        per=listed(row["per"]),
        fitted_by=listed(row["fitted by"]),
        silent=row["silent"] == "yes",
        conditions=MappingProxyType({fact.name: fact for fact in facts}),
    )


FORMS: Mapping[str, TableForm] = MappingProxyType({row["table"]: _form(row) for row in table_rows("rules_tables")})


def impossible_in(form: TableForm) -> tuple[Mapping[str, CellTest], ...]:
    """Combinations of facts that reading and expansion never make, from ``position_kinds.csv``.

    A position has one of the interfaces of its kind, or is asked; its current is never blank where the kind decides it;
    whether an insert is fitted is known at a well and means nothing elsewhere.
    """
    if "position kind" not in form.conditions:
        return ()
    found: list[Mapping[str, CellTest]] = []
    for name in form.conditions["position kind"].values:
        kind = POSITION_KINDS[name]
        here = CellTest(name, values=frozenset({name}))
        others = frozenset(INTERFACES) - frozenset(kind.interfaces)
        found.append({"position kind": here, "interface": CellTest("", values=others, blank=bool(kind.interfaces))})
        if kind.current_a is not None:
            found.append({"position kind": here, "current A": CellTest("null", blank=True)})
    well = CellTest(_WELL, values=frozenset({_WELL}))
    elsewhere = CellTest(f"not({_WELL})", values=frozenset({_WELL}), negated=True)
    if "insert fitted" in form.conditions:
        found.append({"position kind": well, "insert fitted": CellTest("null", blank=True)})
        found.append({"position kind": elsewhere, "insert fitted": CellTest("not(null)", blank=True, negated=True)})
    return tuple(found)
