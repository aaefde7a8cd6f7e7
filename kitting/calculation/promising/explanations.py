"""Why each refused kit was refused: the set of classes that it and earlier kits can't leave."""

from array import array
from bisect import bisect_right
from dataclasses import dataclass

import numpy as np

from kitting.calculation.promising.eligibility import Eligibility
from kitting.calculation.promising.facts import Integers
from kitting.calculation.promising.first_days import FirstDays
from kitting.calculation.promising.flow import bits_of
from kitting.calculation.promising.model import Problem, RefusedKit
from kitting.calculation.promising.strict_order import NO_GROUP, Reason, StrictOrder


@dataclass(frozen=True, slots=True)
class _Full:
    """A saturated set, and the cells that hold its pieces and can use nothing else, the first served first.

    Args:
        items, lots: what the set consists of.
        stock: its free thousandths.
        turns: for each of the cells twice the turn of its kit, and one more for what the kit could also buy.
        kits: for each the kit.
        held: the thousandths of the first cell, of the first two, and so on, from 0 on.
    """

    items: tuple[int, ...]
    lots: tuple[int, ...]
    stock: int
    turns: list[int]
    kits: "array[int]"
    held: list[int]


def refusals(problem: Problem, eligible: Eligibility, order: StrictOrder) -> tuple[RefusedKit, ...]:
    """Each refused kit with its set and first day; to be asked after the last turn, before the rest is served."""
    days = FirstDays(problem, eligible, order)
    sets = _Sets(problem, eligible, order)
    full: dict[tuple[int, int], _Full] = {}
    refused = []
    for kit, reason in order.reasons.items():
        known = full.get((reason.group, reason.bits))
        if known is None:
            known = full[reason.group, reason.bits] = sets.full(reason)
        # Of the kits of the same turn only what they require comes before.
        before = bisect_right(known.turns, 2 * order.turn[kit])
        asked = sum(eligible.need[cell] for cell in order.required[kit] if _is_inside(order, cell, reason))
        refused.append(
            RefusedKit(
                kit=kit,
                cell=reason.cell,
                items=known.items or tuple(sorted(set(problem.cells[reason.cell].options))),
                stock=known.stock,
                holders=known.kits,
                before=before,
                competing=known.held[before],
                missing=asked - (known.stock - known.held[before]),
                first_day=days.first_day(kit, reason.cell),
                lots=known.lots,
            )
        )
    return tuple(refused)


class _Sets:
    """Cells that hold pieces when the last kit had its turn, by group and shape."""

    def __init__(self, problem: Problem, eligible: Eligibility, order: StrictOrder) -> None:
        self._problem, self._eligible, self._order = problem, eligible, order
        self._kit = eligible.facts.kit
        self._turn = 2 * np.array(order.turn, dtype=np.int64)[self._kit] + eligible.facts.buyable
        self._held = np.array(eligible.need, dtype=np.int64) - np.array(order.missing, dtype=np.int64)
        holding = np.flatnonzero((self._held > 0) & eligible.facts.dated[self._kit])
        self._holding = holding[np.argsort(eligible.shape[holding], kind="stable")]
        starts = np.flatnonzero(np.diff(eligible.shape[self._holding], prepend=-1))
        group = np.array(eligible.groups, dtype=np.int64)
        self._starts, self._ends = starts, np.append(starts[1:], len(holding))
        self._group = group[eligible.targets[eligible.starts[eligible.shape[self._holding[starts]]]]]
        self._shapes: dict[int, list[tuple[int, Integers]]] = {}

    def full(self, reason: Reason) -> _Full:
        """The set of a reason, and who can use nothing else."""
        if reason.group == NO_GROUP:
            return _Full((), (), 0, [], array("q"), [0])
        eligible = self._eligible
        classes = [self._order.flow.classes[reason.group][place] for place in bits_of(reason.bits)]
        lots = sorted(lot for lot_class in classes for lot in eligible.members[lot_class])
        others = ~reason.bits
        inside = [cells for reach, cells in self._of_group(reason.group) if not reach & others]
        cells = np.concatenate([*inside, self._kit[:0]])
        cells = cells[np.lexsort((self._kit[cells], self._turn[cells]))]
        return _Full(
            items=tuple(sorted({self._problem.lots[lot].item for lot in lots})),
            lots=tuple(lots),
            stock=sum(eligible.stock[lot_class] for lot_class in classes),
            turns=self._turn[cells].tolist(),
            kits=array("q", self._kit[cells].tolist()),
            held=[0, *np.cumsum(self._held[cells]).tolist()],
        )

    def _of_group(self, group: int) -> list[tuple[int, Integers]]:
        """What the cells of each shape may use, and the cells."""
        shapes = self._shapes.get(group)
        if shapes is None:
            shapes = self._shapes[group] = []
            for at in np.flatnonzero(self._group == group).tolist():
                cells = self._holding[self._starts[at] : self._ends[at]]
                shapes.append((self._order.flow.reach[cells[0]], cells))
        return shapes


def _is_inside(order: StrictOrder, cell: int, reason: Reason) -> bool:
    """True where a cell can use nothing outside the reason's set."""
    arcs = order.flow.arcs[cell]
    if not arcs or reason.group == NO_GROUP:
        return not arcs
    return order.flow.group[arcs[0]] == reason.group and not order.flow.reach[cell] & ~reason.bits
