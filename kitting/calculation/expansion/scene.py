"""Everything the expansion works with, and the settings of places, each worked out once."""

from collections.abc import Mapping

from kitting.calculation.expansion.cables import Cable, CableResolver
from kitting.calculation.expansion.fitting import Fitter
from kitting.calculation.expansion.landings import Field, Position
from kitting.calculation.expansion.lines import Lines
from kitting.calculation.expansion.settings import Setting, System, blank, setting_of
from kitting.calculation.expansion.slots import Given, Rules, Ruling, Template
from kitting.calculation.questions import Missing
from kitting.calculation.records import Fact
from kitting.calculation.rule_book import RuleBook
from kitting.calculation.sheets.book import Book

_SIGNATURE = (
    "kind", "interface", "insert_fitted", "switching", "state", "environment", "test_point", "current_a", "stage",
)  # fmt: skip


class Scene:
    """The book, the field of runs and positions, the rules at work, the fitter and the growing lines."""

    def __init__(
        self, *, book: Book, field: Field, rules: RuleBook, systems: Mapping[str, System], fitter: Fitter
    ) -> None:
        self.book = book
        self.field = field
        self.systems = systems
        self.fitter = fitter
        self.lines = Lines()
        self.spares: dict[tuple[str, int, str], Template] = {}
        self.cables = CableResolver(book)
        self.by_system = any(isinstance(system, str) for system in book.frames["stand ins"]["system"])
        self._book_rules = rules
        self._rules: dict[str, Rules] = {}
        self._settings: dict[tuple[Fact, ...], Setting] = {}
        self._setting_of: dict[tuple[str, str], Setting] = {}
        self._numbers: dict[tuple[Fact, ...], tuple[int, ...]] = {}

    def rules(self, table: str) -> Rules:
        """One decision table at work."""
        if table not in self._rules:
            self._rules[table] = Rules(self._book_rules.table(table), self._book_rules.revision(table))
        return self._rules[table]

    def setting(self, position: Position) -> Setting:
        """The facts of a position under the systems of the runs there (else of its job's runs at the structure)."""
        known = self._setting_of.get(position.key)
        if known is None:
            known = self._setting_of[position.key] = self._setting(position)
        return known

    def _setting(self, position: Position) -> Setting:
        runs = [self.field.runs[index] for index, _ in position.landings] or [
            self.field.runs[index]
            for index in self.field.at_structure.get(position.facts["structure"], ())
            if self.field.runs[index].job == position.job
        ]
        before = tuple(sorted({run.system for run in runs}))
        after = tuple(sorted({run.system_after for run in runs}))
        cables = max(cables_by_phase(self.field, position).values(), default=0)
        key = (*(position.facts[name] for name in _SIGNATURE), before, after, min(cables, 1))
        setting = self._settings.get(key)
        if setting is None:
            setting = self._settings[key] = setting_of(
                position.facts,
                tuple(self.systems[code] for code in before),
                tuple(self.systems[code] for code in after),
                cables=cables,
            )
        return setting

    def wanted(self, ruling: Ruling) -> list[Given]:
        """What the ruling gives, less the kinds that the crew carries in its own stock."""
        return [given for given in ruling.given if given.kind not in self.book.policies.crew_stock_kinds]

    def remembered(self, key: tuple[Fact, ...]) -> tuple[int, ...] | None:
        """Template numbers already made for equal facts."""
        return self._numbers.get(key)

    def remember(self, key: tuple[Fact, ...], templates: list[Template]) -> tuple[int, ...]:
        """Fit the templates of one slot together, store them, and remember their numbers."""
        numbers = self._numbers[key] = self.lines.keep(self.fitter.fit(templates))
        return numbers


def cables_by_phase(field: Field, position: Position) -> dict[str, int]:
    """Number of cables that land on each phase of a position."""
    counts: dict[str, int] = {}
    for index, _ in position.landings:
        run = field.runs[index]
        for phase in run.phases:
            counts[phase] = counts.get(phase, 0) + run.cables_per_phase
    return counts


def cable_facts(cable: Cable) -> dict[str, Fact]:
    """The facts of one cable in the words of the rule tables; what a rule must not guess is missing when blank."""
    size = cable.conductor_size
    sized = not isinstance(size, Missing) and size is not None
    return {
        "insulation": blank("insulation", "schedule") if cable.insulation is None else cable.insulation,
        "conductor mm2": size.area_mm2 if sized else size,
        "conductor size": str(size) if sized else size,
        "metal": cable.metal,
        "strand": cable.strand,
        "jacketed": yes_no(blank("jacketed", "schedule") if cable.jacketed is None else cable.jacketed),
        "shield": cable.shield,
        "cores": cable.cores,
        "cable class kV": cable.cable_class_kv,
    }


def place_facts(setting: Setting) -> dict[str, Fact]:
    """The facts of a place in the words of the rule tables."""
    return {
        "position kind": setting.kind,
        "interface": setting.interface,
        "class kV": setting.line_class_kv if setting.interface is None else setting.class_kv,
        "current A": setting.current_a,
        "switching": setting.switching,
        "state": setting.state,
        "environment": setting.environment,
        "test point": yes_no(setting.test_point),
        "insert fitted": yes_no(setting.insert_fitted),
        "earthing": setting.earthing,
    }


def yes_no(fact: Fact) -> Fact:
    """A yes/no fact in the words of the rule tables."""
    return ("yes" if fact else "no") if isinstance(fact, bool) else fact
