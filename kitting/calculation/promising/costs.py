"""What a piece costs the warehouse: small whole numbers that rank equal ways to serve the same cells.

Going one down a line's order of choice costs more than any way to fetch the piece, as the choice among stock codes
comes before the choice among lots. Costs are common practice made into numbers; they are no money.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from kitting.calculation.promising.eligibility import SOURCES, Eligibility, Integers
from kitting.calculation.promising.model import Problem

CHOICE = 1_000  # each place down the order of choice: the next code, the wider range
STAND_IN = 1_000  # on top, for a code that only an approval lets in
TRANSFER, DAY_ON_THE_ROAD, TRANSFER_MOST = 200, 5, 349
FROM_ORDER = 400  # and the transfer on top, where the order lands at another depot
EXPIRY_MOST = 249  # one for each earlier last good day among the lots of the item


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
    ready = np.array([lot.ready_day for lot in lots], dtype=np.int64)
    lies = np.array([lot.depot for lot in lots], dtype=np.int64)
    on_order = np.array([lot.is_order for lot in lots], dtype=bool)
    arrival = np.array([lot.arrival for lot in lots], dtype=np.int64).reshape(len(lots), depots)
    days = np.clip(arrival - ready[:, None], 0, TRANSFER_MOST)
    transfer = np.minimum(TRANSFER + DAY_ON_THE_ROAD * days, TRANSFER_MOST)
    way = np.where(lies[:, None] == np.arange(depots), 0, transfer)
    return Costs(expiry=_expiry(problem), way=way + np.where(on_order, FROM_ORDER, 0)[:, None])


def _expiry(problem: Problem) -> Integers:
    """For each lot how many other dates of its item come first, squeezed into the most that an expiry may cost."""
    horizon = max((kit.good_through_day for kit in problem.kits if kit.dated), default=problem.as_of_day)
    dates: dict[int, set[int]] = {}
    for lot in problem.lots:
        dates.setdefault(lot.item, set()).add(min(lot.expiry_day, horizon))
    ranks = {item: {day: rank for rank, day in enumerate(sorted(days))} for item, days in dates.items()}
    found = [
        ranks[lot.item][min(lot.expiry_day, horizon)] * EXPIRY_MOST // max(EXPIRY_MOST, len(ranks[lot.item]) - 1)
        for lot in problem.lots
    ]
    return np.array(found, dtype=np.int64)


def cost_of_pieces(problem: Problem, pieces: Iterable[tuple[int, int, int]], costs: Costs) -> int:
    """Cost of (cell, lot, thousandths) together, in thousandths of a piece's cost."""
    return sum(costs.of(problem, cell, lot) * quantity for cell, lot, quantity in pieces)


def costs_of_arcs(problem: Problem, eligible: Eligibility, costs: Costs) -> Integers:
    """Cost of a piece along every arc, beside ``Eligibility.targets``."""
    first = np.array([lots[0] for lots in eligible.members], dtype=np.int64)
    cells = [problem.cells[cell] for cell in eligible.like.tolist()]
    counts = np.diff(eligible.starts)
    own = np.repeat(np.array([len(cell.options) for cell in cells], dtype=np.int64), counts)
    depot = np.repeat(np.array([problem.kits[cell.kit].depot for cell in cells], dtype=np.int64), counts)
    lot, place = first[eligible.targets], eligible.steps // len(SOURCES)
    choice = CHOICE * place + STAND_IN * (place >= own)
    arcs: Integers = choice + costs.expiry[lot] + costs.way[lot, depot]
    return arcs
