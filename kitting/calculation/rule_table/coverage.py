"""Gaps and overlaps of a decision table: exact, not sampled, in words.

Every fact's domain is cut into cells at the values and end points that the rules name, so a combination of cells is met
by a rule wholly or not at all, and the rules are boxes in a finite grid. The grid is walked fact by fact, carrying the
set of rules still met: a set that holds a rule with nothing left to test is covered, an empty set is a gap, and equal
sets at equal depth are walked once. Time and memory grow with the distinct sets met, not with the size of the grid.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from kitting.calculation.kinds import KINDS
from kitting.calculation.rule_table.cell_tests import ANYTHING, CellTest
from kitting.calculation.rule_table.domains import Axis, Domain, axis_of, stated_domain
from kitting.calculation.rule_table.rule import Rule
from kitting.calculation.rule_table.table import RuleTable, bits
from kitting.calculation.rule_table.vocabulary import impossible_in

# The cells of one fact by place; a part of the grid is one tuple of them for each fact that it limits.
_Cells = tuple[int, ...]
_Part = tuple[tuple[int, _Cells], ...]


@dataclass(frozen=True, slots=True)
class Coverage:
    """What a check found, one sentence each, in table order.

    Args:
        gaps: combinations that no rule covers; none for a table that may stay silent.
        overlaps: combinations on which rules contradict: two hits of a unique table; of a collect table, two rules that
            give one kind in one slot with equal rank and say different things of it.
    """

    gaps: tuple[str, ...]
    overlaps: tuple[str, ...]


def check_table(
    table: RuleTable,
    domains: Mapping[str, Domain] | None = None,
    impossible: Sequence[Mapping[str, CellTest]] | None = None,
) -> Coverage:
    """All gaps and overlaps of the table over the stated domains.

    Args:
        table: a unique or a collect table.
        domains: domain of each fact; a fact that is not named here has the domain of the vocabulary.
        impossible: combinations that can't occur, as tests by fact; None: those of the vocabulary.
    """
    never = impossible_in(table.form) if impossible is None else impossible
    grid = _Grid.over(table, domains or {}, never)
    everywhere = tuple(tuple(range(len(axis.cells))) for axis in grid.axes)
    uncovered = () if table.form.silent else _uncovered(grid, everywhere, grid.all_boxes)
    gaps = [f"no rule: {grid.words(part)}" for part in _plain(grid, uncovered)]
    overlaps = [
        f"{_contradiction(table, one, other)}: {grid.words(part)}"
        for one, other in combinations(table.rules, 2)
        if _contradict(table, one, other)
        for part in _common(grid, one, other)
    ]
    return Coverage(tuple(gaps), tuple(overlaps))


def _contradict(table: RuleTable, one: Rule, other: Rule) -> bool:
    if table.form.unique:
        return True
    same_line = one.kind == other.kind and one.rank == other.rank and one.kind in KINDS and not KINDS[one.kind].several
    return same_line and one.says != other.says


def _contradiction(table: RuleTable, one: Rule, other: Rule) -> str:
    if table.form.unique:
        return f"rules {one.id} and {other.id} both hit"
    return f"rules {one.id} and {other.id} both give {one.kind}, differently and with equal rank"


@dataclass(frozen=True, slots=True)
class _Grid:
    """The axes; for each axis and cell the boxes that hold it, as bits: the rules in order, then what can't occur."""

    axes: tuple[Axis, ...]
    holding: tuple[tuple[int, ...], ...]
    all_boxes: int
    never: int

    @classmethod
    def over(cls, table: RuleTable, domains: Mapping[str, Domain], never: Sequence[Mapping[str, CellTest]]) -> "_Grid":
        boxes = [*(rule.tests for rule in table.rules), *never]
        tested = [name for name in table.conditions if any(name in box and not box[name].anything for box in boxes)]
        names = [*tested, *sorted({name for box in never for name in box} - set(table.conditions))]
        columns = {name: [box.get(name, ANYTHING) for box in boxes] for name in names}
        axes = tuple(
            axis_of(name, domains.get(name) or stated_domain(table.form.conditions[name]), tests)
            for name, tests in columns.items()
        )
        holding = tuple(
            tuple(bits(test.met(cell.stands_for) is True for test in columns[axis.name]) for cell in axis.cells)
            for axis in axes
        )
        all_boxes, rules = (1 << len(boxes)) - 1, (1 << len(table.rules)) - 1
        return cls(axes, holding, all_boxes, all_boxes ^ rules)

    def words(self, part: _Part) -> str:
        return ", ".join(self.axes[place].words(cells) for place, cells in part) or "whatever the facts"


def _common(grid: _Grid, one: Rule, other: Rule) -> Iterator[_Part]:
    """The parts of the grid that two rules share and that can occur."""
    both = (1 << one.order) | (1 << other.order)
    region = tuple(
        tuple(place for place, held in enumerate(holding) if held & both == both) for holding in grid.holding
    )
    if all(region):
        yield from _plain(grid, _uncovered(grid, region, grid.never))


def _uncovered(grid: _Grid, region: tuple[_Cells, ...], boxes: int) -> tuple[_Part, ...]:
    """The parts of the region that none of the boxes holds, each part disjoint from the others."""
    depth = len(region)
    free = [boxes] * (depth + 1)
    for place in reversed(range(depth)):
        free[place] = free[place + 1]
        for cell in region[place]:
            free[place] &= grid.holding[place][cell]
    walked: dict[tuple[int, int], tuple[_Part, ...]] = {}

    def walk(place: int, held: int) -> tuple[_Part, ...]:
        if held & free[place]:
            return ()
        if place == depth or not held:
            return (_rest(grid, region, place),)
        known = walked.get((place, held))
        if known is not None:
            return known
        by_tail: dict[_Part, list[int]] = {}
        for cell in region[place]:
            for tail in walk(place + 1, held & grid.holding[place][cell]):
                by_tail.setdefault(tail, []).append(cell)
        parts = tuple(
            tail if len(cells) == len(grid.axes[place].cells) else ((place, tuple(cells)), *tail)
            for tail, cells in by_tail.items()
        )
        walked[(place, held)] = parts
        return parts

    return walk(0, boxes)


def _rest(grid: _Grid, region: tuple[_Cells, ...], start: int) -> _Part:
    """The region from one fact on, less the facts that it leaves free."""
    return tuple(
        (place, region[place])
        for place in range(start, len(region))
        if len(region[place]) < len(grid.axes[place].cells)
    )


def _plain(grid: _Grid, parts: Sequence[_Part]) -> list[_Part]:
    """The parts told as shortly as possible.

    A limit on a fact is dropped where everything beyond it can't occur anyhow, the last column's first; parts that then
    differ in one fact only are joined.
    """
    plain = list(dict.fromkeys(_widened(grid, part) for part in parts))
    for place in range(len(grid.axes)):
        joined: dict[_Part, set[int]] = {}
        for part in plain:
            cells = dict(part).get(place, tuple(range(len(grid.axes[place].cells))))
            joined.setdefault(tuple(limit for limit in part if limit[0] != place), set()).update(cells)
        plain = [_with_limit(grid, rest, place, tuple(sorted(cells))) for rest, cells in joined.items()]
    return plain


def _widened(grid: _Grid, part: _Part) -> _Part:
    kept = dict(part)
    for place, cells in reversed(part):
        beyond = tuple(cell for cell in range(len(grid.axes[place].cells)) if cell not in cells)
        limits = {**kept, place: beyond}
        region = tuple(limits.get(axis, tuple(range(len(grid.axes[axis].cells)))) for axis in range(len(grid.axes)))
        if not _uncovered(grid, region, grid.never):
            del kept[place]
    return tuple(kept.items())


def _with_limit(grid: _Grid, rest: _Part, place: int, cells: _Cells) -> _Part:
    limited = len(cells) < len(grid.axes[place].cells)
    return tuple(sorted([*rest, (place, cells)])) if limited else rest
