"""One rule of a decision table: what it tests, what it gives, and how it is told."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from kitting.calculation.questions import Missing
from kitting.calculation.rule_table.cell_tests import CellTest, Fact
from kitting.calculation.rule_table.limits import NO_LIMITS, Limits
from kitting.calculation.rule_table.vocabulary import Condition, with_article

FREE_WAYS = "free ways"
NOTHING = "none"
LAST_RANK = 10**6


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """One row of a decision table. Rules are told apart as objects, not by what they say.

    Args:
        id: the rule's name in its table, such as ``E-01``.
        order: place in the table, from 0.
        tests: cell test of each condition.
        conditions: vocabulary of the conditions.
        results: every result of the table's form as text, empty where the rule gives none.
        note: why the rule stands.
        source: publication, or ``common practice``.
        revision: revision of the table it belongs to.
        kind: kind of part; ``none``: nothing is needed here; empty in a table that gives no parts.
        quantity: stock units for each ``per``; FREE_WAYS counts the ways of the chosen junction less its cables.
        per: phase, end, position, joint, location or outage.
        fitted_by: what the part is fitted by.
        limits: what the rule asks of the item beside the fit.
        rank: order of preference among rules that give one kind in one slot, lower first; a blank rank is last.
        checks: the tests that are not ``-``.
    """

    id: str
    order: int
    tests: Mapping[str, CellTest]
    conditions: Mapping[str, Condition]
    results: Mapping[str, str]
    note: str = ""
    source: str = ""
    revision: str = ""
    kind: str = ""
    quantity: Decimal | str = ""
    per: str = ""
    fitted_by: str = NOTHING
    limits: Limits = NO_LIMITS
    rank: int = LAST_RANK
    checks: tuple[tuple[str, CellTest], ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        checks = tuple((name, test) for name, test in self.tests.items() if not test.anything)
        object.__setattr__(self, "checks", checks)

    @property
    def says(self) -> tuple[object, ...]:
        """What the rule gives, without its rank: rules that say the same don't contradict each other."""
        return self.kind, self.quantity, self.per, self.fitted_by, self.limits, self.results.get("class kV", "")

    @property
    def sentence(self) -> str:
        """The rule in words, with all that it tests."""
        return self._told({name: test.words() for name, test in self.checks})

    def reason(self, facts: Mapping[str, Fact]) -> str:
        """The rule in words where it hit, with the facts that it tested: ``rule E-01: at a well 200 A, in use: ...``.

        Blank facts and plain refusals (``no``) are left out: nothing follows from them here.
        """
        read = {name: facts[name] for name, _ in self.checks}
        return self._told({name: _fact_words(fact) for name, fact in read.items() if not _says_nothing(fact)})

    def _told(self, values: Mapping[str, str]) -> str:
        heard = [self.conditions[name].told(value) for name, value in values.items()]
        return ": ".join(filter(None, [f"rule {self.id}", ", ".join(filter(None, heard)), self.gives()]))

    def gives(self) -> str:
        """What it gives, in words: ``an elbow, one a phase, fitted by insulation``."""
        if "class kV" in self.results:
            return f"class {self.results['class kV']} kV"
        if self.kind == NOTHING:
            return "nothing is needed"
        parts = [with_article(self.kind), self._count()]
        if self.fitted_by != NOTHING:
            parts.append(f"fitted by {self.fitted_by}")
        return ", ".join(filter(None, [*parts, self.limits.words()]))

    def _count(self) -> str:
        if self.quantity == FREE_WAYS:
            return f"one on each free way, {with_article(self.per)}"
        return f"{'one' if self.quantity == 1 else self.quantity} {with_article(self.per)}"


def _says_nothing(fact: Fact) -> bool:
    return fact is None or fact is False or fact == "no"


def _fact_words(fact: Fact) -> str:
    if isinstance(fact, Missing):
        return "not known"
    return "yes" if fact is True else str(fact)
