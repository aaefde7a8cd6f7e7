"""Why each refused kit was refused, from the remembered sets, and when it would fit."""

from collections.abc import Iterator

import numpy as np

from kitting.calculation.promising.eligibility import Eligibility, arrival_day
from kitting.calculation.promising.flow import Flow
from kitting.calculation.promising.model import NEVER, Problem, RefusedKit
from kitting.calculation.promising.strict_order import NO_SET, Reason, StrictOrder


def refusals(problem: Problem, eligible: Eligibility, order: StrictOrder) -> tuple[RefusedKit, ...]:
    """Each refused kit with its set and first day; to be asked after the last turn, before the rest is served."""
    teller = _Explanations(problem, eligible, order)
    days = _FirstDays(problem, eligible, order)
    return tuple(teller.refused(kit, reason, days.first_day(kit)) for kit, reason in order.reasons.items())


class _Explanations:
    def __init__(self, problem: Problem, eligible: Eligibility, order: StrictOrder) -> None:
        self._problem = problem
        self._eligible = eligible
        self._order = order

    def refused(self, kit: int, reason: Reason, first_day: int) -> RefusedKit:
        """The reason in the terms of the model: items, lots and pieces of the set and of the closed sets below it."""
        sets = self._order.sets.sets
        numbers = self._with_all_below(reason.below) | ({reason.number} - {NO_SET})
        classes = {lot_class for number in numbers for lot_class in sets[number].classes}
        problem, eligible = self._problem, self._eligible
        competitors = self._competitors(kit, classes)
        competing = sum(eligible.need[cell] - self._order.missing[cell] for cell in competitors)
        stock = sum(eligible.stock[lot_class] for lot_class in classes)
        lots = sorted(lot for lot_class in classes for lot in eligible.members[lot_class])
        asked = sum(
            eligible.need[cell] for cell in self._order.required[kit] if classes.issuperset(self._order.flow.arcs(cell))
        )
        items = {problem.lots[lot].item for lot in lots} or set(problem.cells[reason.cell].options)
        return RefusedKit(
            kit=kit,
            cell=reason.cell,
            items=tuple(sorted(items)),
            stock=stock,
            competing_kits=tuple(sorted({problem.cells[cell].kit for cell in competitors})),
            competing=competing,
            missing=asked - (stock - competing),
            first_day=first_day,
            lots=tuple(lots),
        )

    def _competitors(self, kit: int, classes: set[int]) -> list[int]:
        """Cells of earlier kits that hold pieces of these classes and can use no other."""
        cells, flow = self._problem.cells, self._order.flow
        holders = {cell for lot_class in classes for cell in flow.held[lot_class] if cells[cell].kit < kit}
        return [cell for cell in holders if classes.issuperset(flow.arcs(cell))]

    def _with_all_below(self, numbers: frozenset[int]) -> set[int]:
        """Closed sets and all closed sets below them."""
        found = set(numbers)
        waiting = list(numbers)
        while waiting:
            new = self._order.sets.sets[waiting.pop()].below - found
            found |= new
            waiting.extend(new)
        return found


class _FirstDays:
    """First staged-by day on which free pieces would complete a kit."""

    def __init__(self, problem: Problem, eligible: Eligibility, order: StrictOrder) -> None:
        self._problem = problem
        self._eligible = eligible
        self._order = order
        self._free: dict[int, list[int]] = {}
        for lot_class, room in enumerate(order.flow.room):
            if room:
                item = problem.lots[eligible.members[lot_class][0]].item
                self._free.setdefault(item, []).append(lot_class)

    def first_day(self, kit: int) -> int:
        """The day, or NEVER."""
        cells = self._order.required[kit]
        rows = [sorted(self._pieces(cell)) for cell in cells]
        days = {arrival for row in rows for arrival, _, _ in row}
        earliest = max(self._enough(row, self._eligible.need[cell]) for cell, row in zip(cells, rows, strict=True))
        staged_by = self._problem.kits[kit].staged_by_day
        for day in sorted(day for day in days if staged_by < day < NEVER and day >= earliest):
            if self._fits(kit, day, rows):
                return day
        return NEVER

    def _pieces(self, cell: int) -> Iterator[tuple[int, int, int]]:
        """(arrival day, last good day, class) of every class with free pieces that the cell could use one day."""
        asking = self._problem.cells[cell]
        depot = self._problem.kits[asking.kit].depot
        for item in asking.options + asking.stand_ins:
            for lot_class in self._free.get(item, ()):
                lot = self._problem.lots[self._eligible.members[lot_class][0]]
                arrival = arrival_day(lot, depot)
                if arrival < NEVER and lot.only_kit in (-1, asking.kit):
                    yield arrival, lot.expiry_day, lot_class

    def _enough(self, row: list[tuple[int, int, int]], need: int) -> int:
        """First day with enough free pieces for one cell alone, or NEVER."""
        for arrival, _, lot_class in row:
            need -= self._order.flow.room[lot_class]
            if need <= 0:
                return arrival
        return NEVER

    def _fits(self, kit: int, day: int, rows: list[list[tuple[int, int, int]]]) -> bool:
        """True where the kit's required cells fit together into free pieces, staged on that day."""
        asking = self._problem.kits[kit]
        good_through = asking.good_through_day + day - asking.staged_by_day
        usable = [
            [lot_class for arrival, expiry, lot_class in row if arrival <= day and expiry >= good_through]
            for row in rows
        ]
        classes = sorted({lot_class for row in usable for lot_class in row})
        place = {lot_class: position for position, lot_class in enumerate(classes)}
        starts = [0]
        for row in usable:
            starts.append(starts[-1] + len(row))
        flow = Flow(
            [self._order.flow.room[lot_class] for lot_class in classes],
            starts,
            np.array([place[lot_class] for row in usable for lot_class in row], dtype=np.int32),
        )
        cells = self._order.required[kit]
        return not any(flow.fill(position, self._eligible.need[cell]) for position, cell in enumerate(cells))
