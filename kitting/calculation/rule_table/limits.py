"""Limits that a rule sets on the item it gives: ``made of = Cu; rated 900 A = yes``."""

from collections.abc import Mapping
from dataclasses import dataclass

from kitting.calculation.rule_table.cell_tests import NUMBER, TEXT, CellDoubt, CellTest, parse_cell

# Item columns that a rule may limit: label, field of the item, type. Diameters and sizes are the fit's own checks.
_COLUMNS = {
    "stock code": ("stock_code", TEXT),
    "class kV": ("classes_kv", TEXT),
    "interface": ("interface", TEXT),
    "gives interface": ("gives_interface", TEXT),
    "current A": ("current_a", NUMBER),
    "rated 900 A": ("rated_900", TEXT),
    "ways": ("ways", NUMBER),
    "switching": ("switching", TEXT),
    "phase to phase": ("phase_to_phase", TEXT),
    "metal": ("metals", TEXT),
    "made of": ("made_of", TEXT),
    "strand": ("strand", TEXT),
    "MCOV kV": ("mcov_kv", NUMBER),
    "test point": ("test_point", TEXT),
    "shield": ("shield", TEXT),
    "maker": ("maker", TEXT),
    "supplier": ("supplier", TEXT),
    "lot tracked": ("lot_tracked", TEXT),
}


@dataclass(frozen=True, slots=True)
class Limit:
    """One test on one column of an item; of a column that lists several values, one value must meet it."""

    column: str
    field: str
    test: CellTest

    def met_by(self, item: Mapping[str, object]) -> bool:
        """Whether the item surely meets the limit; a blank or doubtful fact does not."""
        value = item[self.field]
        values = value if isinstance(value, tuple) else (value,)
        answers = [self.test.met(each) is True for each in values]
        return all(answers) if self.test.negated else any(answers)

    def words(self) -> str:
        """The limit in words: ``made of Cu``."""
        return f"{self.column} {self.test.words()}"


@dataclass(frozen=True, slots=True)
class Limits:
    """All limits of one rule; equal limits compare equal."""

    tests: tuple[Limit, ...] = ()

    def failed_by(self, item: Mapping[str, object]) -> tuple[Limit, ...]:
        """The limits that the item does not meet, in the order of the rule.

        Args:
            item: item fields by name, as on the items frame.
        """
        return tuple(limit for limit in self.tests if not limit.met_by(item))

    def words(self) -> str:
        """All limits in words: ``made of Cu and rated 900 A yes``."""
        return " and ".join(limit.words() for limit in self.tests)


NO_LIMITS = Limits()


def parse_limits(text: str) -> Limits:
    """The limits that a cell states: tests on item columns, separated by semicolons.

    Raises:
        CellDoubt: a column can't be limited, or its test can't be read.
    """
    found, at = [], 1
    for part in text.split(";"):
        if part.strip():
            found.append(_limit(part, at))
        at += len(part) + 1
    return Limits(tuple(found))


def _limit(part: str, at: int) -> Limit:
    split = next((place for place, letter in enumerate(part) if letter in "=<>"), None)
    if split is None:
        raise CellDoubt(at, f"`{part.strip()}` is no limit", "write column = value, as in made of = Cu")
    column, start = part[:split].strip(), split + (part[split] == "=")
    known = {label.casefold(): label for label in _COLUMNS}
    label = known.get(column.casefold())
    if label is None:
        raise CellDoubt(at, f"`{column}` is not an item column that a rule may limit", f"one of {', '.join(_COLUMNS)}")
    field, kind = _COLUMNS[label]
    if not part[start:].strip():
        raise CellDoubt(at + start, f"the limit on {label} has no value", f"write {label} = value")
    try:
        return Limit(label, field, parse_cell(part[start:], kind))
    except CellDoubt as doubt:
        raise CellDoubt(at + start + doubt.at - 1, doubt.problem, doubt.suggestion) from None
