"""Remembered saturated sets: classes of pieces that kits served in turn have claimed, and what they leave.

A failed search leaves a set of full classes that is closed: every cell that holds its pieces can use nothing outside
it. By Hall's condition ("On representatives of subsets", Journal of the London Mathematical Society 10 (1935) 26-30,
title from memory) such cells can together have no more than the set's stock. So a set answers three questions without
a new search: that a kit can't be completed (its cells inside the set ask for more than the slack), that a class is
closed for good (slack 0), and why a kit was refused.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from kitting.calculation.promising.eligibility import Eligibility
from kitting.calculation.promising.flow import OPEN, Flow
from kitting.calculation.promising.model import Problem

LIVE_SETS = 62  # per group of items; one bit each, so that a mask stays a small integer
EVERYWHERE = -1  # the mask of a cell whose usable classes are all closed


@dataclass(slots=True)
class SaturatedSet:
    """A closed set of classes.

    Args:
        classes: the classes, all of them full when the set was found.
        slack: thousandths of the set's stock that served cells with no choice outside it don't claim.
        below: numbers of the sets, closed before, that such cells border on.
    """

    classes: tuple[int, ...]
    slack: int
    below: set[int]


class SaturatedSets:
    """All sets found so far; the ones with slack are live and marked by a bit at each of their classes."""

    def __init__(self, problem: Problem, eligible: Eligibility, flow: Flow) -> None:
        self.sets: list[SaturatedSet] = []
        self._flow = flow
        self._masks = [0] * len(eligible.stock)
        items = _groups_of_items(problem)
        self._group = [items[problem.lots[lots[0]].item] for lots in eligible.members]
        self._live: dict[int, dict[int, int]] = {}

    def mask(self, arcs: Iterable[int]) -> int:
        """Bits of the live sets that a cell with these usable classes can't leave; EVERYWHERE if nothing is open."""
        mask = EVERYWHERE
        masks, closed_by = self._masks, self._flow.closed_by
        for lot_class in arcs:
            if closed_by[lot_class] == OPEN:
                mask &= masks[lot_class]
                if not mask:
                    break
        return mask

    def numbers(self, arcs: list[int], mask: int) -> Iterator[int]:
        """Numbers of the live sets in a cell's mask."""
        if mask == EVERYWHERE or not mask:
            return
        live = self._live.get(self._group[arcs[0]], {})
        while mask:
            bit = mask & -mask
            if bit in live:
                yield live[bit]
            mask ^= bit

    def closers(self, arcs: Iterable[int]) -> set[int]:
        """Numbers of the closed sets among a cell's usable classes."""
        closed_by = self._flow.closed_by
        return {closed_by[lot_class] for lot_class in arcs} - {OPEN}

    def remember(self, slack: int, below: set[int]) -> int:
        """Keep the set that the last failed search left; its number."""
        classes = tuple(
            lot_class for lot_class in self._flow.reached_classes if self._flow.closed_by[lot_class] == OPEN
        )
        number = len(self.sets)
        self.sets.append(SaturatedSet(classes, slack, below))
        if not slack:
            self._close(number)
        elif classes:
            live = self._live.setdefault(self._group[classes[0]], {})
            bit = next((1 << place for place in range(LIVE_SETS) if 1 << place not in live), 0)
            if bit:
                live[bit] = number
                for lot_class in classes:
                    self._masks[lot_class] |= bit
        return number

    def claim(self, arcs: list[int], mask: int, quantity: int) -> None:
        """Note that a cell holds pieces for good; a set without slack closes its classes."""
        for number in list(self.numbers(arcs, mask)):
            claimed = self.sets[number]
            claimed.below |= self.closers(arcs)
            claimed.slack -= quantity
            if not claimed.slack:
                self._forget(number)
                self._close(number)

    def _close(self, number: int) -> None:
        closed_by = self._flow.closed_by
        for lot_class in self.sets[number].classes:
            if closed_by[lot_class] == OPEN:
                closed_by[lot_class] = number

    def _forget(self, number: int) -> None:
        live = self._live[self._group[self.sets[number].classes[0]]]
        bit = next(bit for bit, known in live.items() if known == number)
        del live[bit]
        for lot_class in self.sets[number].classes:
            self._masks[lot_class] &= ~bit


def _groups_of_items(problem: Problem) -> list[int]:
    """For each item the number of its group: items that one cell may use belong together."""
    parent = list(range(len(problem.items)))

    def root(item: int) -> int:
        while parent[item] != item:
            parent[item] = parent[parent[item]]
            item = parent[item]
        return item

    for choice in {cell.options + cell.stand_ins for cell in problem.cells}:
        for item in choice[1:]:
            low, high = sorted((root(choice[0]), root(item)))
            parent[high] = low
    return [root(item) for item in range(len(problem.items))]
