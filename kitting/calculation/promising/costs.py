"""What a piece costs the warehouse: small whole numbers that rank equal ways to serve the same cells.

Going one down a line's order of choice costs more than any way to fetch the piece, as the choice among stock codes
comes before the choice among lots. Costs are common practice made into numbers; they are no money.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kitting.calculation.promising.eligibility import Eligibility, numbered
from kitting.calculation.promising.facts import Facts, Integers, Places, Positions, facts_of
from kitting.calculation.promising.model import Allocation, Problem
from kitting.calculation.promising.usable import SOURCES

CHOICE = 1_000  # each place down the order of choice: the next code, the wider range
STAND_IN = 1_000  # on top, for a code that only an approval lets in
TRANSFER, DAY_ON_THE_ROAD, TRANSFER_MOST = 200, 5, 349
FROM_ORDER = 400  # and the transfer on top, where the order lands at another depot
EXPIRY_MOST = 249  # one for each earlier last good day among the lots of the item


@dataclass(frozen=True, slots=True)
class Costs:
    """Cost of a piece: by lot its later expiry, by lot and depot the way there, by choice and item the place."""

    expiry: Integers
    way: Integers
    places: Places

    def of(self, facts: Facts, cell: Integers, lot: Integers) -> Integers:
        """Cost of a piece for pairs of a cell and a lot that it may use."""
        at, _ = self.places.find(facts.choice[cell], facts.lots.item[lot])
        choice = CHOICE * self.places.place[at] + STAND_IN * self.places.stands_in[at]
        found: Integers = choice + self.expiry[lot] + self.way[lot, facts.depot[cell]]
        return found


def costs_of(problem: Problem, facts: Facts) -> Costs:
    """Costs by lot; a date that outlasts every kit counts as the last day of the last kit."""
    lots = facts.lots
    days = np.clip(lots.arrival - lots.ready[:, None], 0, TRANSFER_MOST)
    transfer = np.minimum(TRANSFER + DAY_ON_THE_ROAD * days, TRANSFER_MOST)
    way = np.where(lots.depot[:, None] == np.arange(lots.arrival.shape[1]), 0, transfer)
    horizon = facts.good_through[facts.dated].max() if facts.dated.any() else problem.as_of_day
    return Costs(
        expiry=_expiry(lots.item, np.minimum(lots.expiry, horizon)),
        way=way + np.where(lots.is_order, FROM_ORDER, 0)[:, None],
        places=facts.places(len(problem.items)),
    )


def _expiry(item: Integers, last_day: Integers) -> Integers:
    """For each lot how many other dates of its item come first, squeezed into the most that an expiry may cost."""
    first, date = numbered(item, last_day)
    items, start, dates = np.unique(item[first], return_index=True, return_counts=True)
    at = np.searchsorted(items, item)
    found: Integers = (date - start[at]) * EXPIRY_MOST // np.maximum(EXPIRY_MOST, dates[at] - 1)
    return found


def cost_of_pieces(facts: Facts, costs: Costs, cell: Integers, lot: Integers, quantity: Integers) -> int:
    """Cost of thousandths of lots for cells together, in thousandths of a piece's cost."""
    return int((costs.of(facts, cell, lot) * quantity).sum())


def cost_of_allocations(problem: Problem, pieces: Sequence[Allocation]) -> int:
    """The same for what a plan promises."""
    facts = facts_of(problem)
    cell, lot, quantity = (np.array([piece[column] for piece in pieces], dtype=np.int64) for column in range(3))
    return cost_of_pieces(facts, costs_of(problem, facts), cell, lot, quantity)


def costs_of_arcs(eligible: Eligibility, costs: Costs) -> Positions:
    """Cost of a piece along every arc, beside ``Eligibility.targets``."""
    facts, counts = eligible.facts, np.diff(eligible.starts)
    lengths = np.array([len(options) for options, _ in facts.choices], dtype=np.int32)
    first = np.array([lots[0] for lots in eligible.members], dtype=np.int32)
    place = eligible.steps.astype(np.int32) // len(SOURCES)
    price = CHOICE * place
    price += STAND_IN * (place >= np.repeat(lengths[facts.choice[eligible.like]], counts))
    lot = first[eligible.targets]
    price += costs.expiry[lot]
    price += costs.way[lot, np.repeat(facts.depot[eligible.like], counts)]
    return price
