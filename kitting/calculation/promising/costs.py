"""What a piece costs the warehouse: small whole numbers that rank equal ways to serve the same cells.

Going one down a line's order of choice costs more than any way to fetch the piece, as the choice among stock codes
comes before the choice among lots. Costs are common practice made into numbers; they are no money.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from kitting.calculation.promising.eligibility import SOURCES, Eligibility, Integers
from kitting.calculation.promising.model import Problem

CHOICE = 100  # each place down the order of choice: the next code, the wider range
STAND_IN = 100  # on top, for a code that only an approval lets in
TRANSFER_BASE, TRANSFER_MOST = 20, 49  # one more for each day on the road
FROM_ORDER = 60
EXPIRY_STEP_DAYS, EXPIRY_MOST = 60, 9  # one for each so many days that a piece outlasts the plan's first day


@dataclass(frozen=True, slots=True)
class Costs:
    """Cost of a piece: by lot its later expiry, by lot and depot the way there."""

    expiry: Integers
    way: Integers

    def of(self, problem: Problem, cell: int, lot: int) -> int:
        """Cost of one piece of a lot for a cell that may use it."""
        asking = problem.cells[cell]
        place = (asking.options + asking.stand_ins).index(problem.lots[lot].item)
        choice = CHOICE * place + (STAND_IN if place >= len(asking.options) else 0)
        return choice + int(self.expiry[lot]) + int(self.way[lot, problem.kits[asking.kit].depot])


def costs_of(problem: Problem) -> Costs:
    """Costs by lot; a date that outlasts every kit counts as the last day of the last kit."""
    lots, depots = problem.lots, len(problem.lots[0].arrival) if problem.lots else len(problem.depots)
    horizon = max((kit.good_through_day for kit in problem.kits if kit.dated), default=problem.as_of_day)
    expiry = np.array([min(lot.expiry_day, horizon) for lot in lots], dtype=np.int64)
    ready = np.array([lot.ready_day for lot in lots], dtype=np.int64)
    lies = np.array([lot.depot for lot in lots], dtype=np.int64)
    on_order = np.array([lot.is_order for lot in lots], dtype=bool)
    arrival = np.array([lot.arrival for lot in lots], dtype=np.int64).reshape(len(lots), depots)
    transfer = np.clip(TRANSFER_BASE + arrival - ready[:, None], TRANSFER_BASE, TRANSFER_MOST)
    own = lies[:, None] == np.arange(depots)
    return Costs(
        expiry=np.clip((expiry - problem.as_of_day) // EXPIRY_STEP_DAYS, 0, EXPIRY_MOST),
        way=np.where(on_order[:, None], FROM_ORDER, np.where(own, 0, transfer)),
    )


def cost_of_pieces(problem: Problem, pieces: Iterable[tuple[int, int, int]], costs: Costs) -> int:
    """Cost of (cell, lot, thousandths) together, in thousandths of a piece's cost."""
    return sum(costs.of(problem, cell, lot) * quantity for cell, lot, quantity in pieces)


def costs_of_arcs(problem: Problem, eligible: Eligibility, costs: Costs) -> Integers:
    """Cost of a piece along every arc, beside ``Eligibility.targets``."""
    first = np.array([lots[0] for lots in eligible.members], dtype=np.int64)
    lot = first[eligible.targets]
    counts = np.diff(eligible.starts)
    own = np.repeat(np.array([len(cell.options) for cell in problem.cells], dtype=np.int64), counts)
    depot = np.repeat(np.array([problem.kits[cell.kit].depot for cell in problem.cells], dtype=np.int64), counts)
    place = eligible.steps // len(SOURCES)
    arcs: Integers = CHOICE * place + STAND_IN * (place >= own) + costs.expiry[lot] + costs.way[lot, depot]
    return arcs
