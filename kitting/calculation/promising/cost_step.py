"""The cost step: every cell keeps as many pieces as it has, taken from where they cost least in all.

Which kits are served is settled before; here pieces only change places inside a group of classes. For fixed amounts
this is the transportation problem, whose linear program has whole-number answers and whole-number prices ("Integral
boundary points of convex polyhedra", Annals of Mathematics Studies 38 (1956) 223-246, title from memory). The solver's
answer is a proposal: amounts and prices are rounded and checked in integers. Prices under which no arc is cheaper than
those in use prove that nothing is cheaper; an answer that does not add up is dropped, and the pieces stay.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from kitting.calculation.promising.costs import Costs, costs_of_arcs
from kitting.calculation.promising.eligibility import Eligibility, Integers, Positions
from kitting.calculation.promising.flow import Flow
from kitting.calculation.promising.model import Problem
from kitting.calculation.promising.solver import Program, linear

KEPT = 5_000  # a piece stays where an earlier plan had it: more than any way to serve costs, less than a piece short
UNLIMITED = 2**62
Held = list[dict[int, int]]  # for each class the thousandths by cell


@dataclass(frozen=True, slots=True)
class Cheapest:
    """Who holds which pieces, what they cost together, and whether it is proven that nothing is cheaper."""

    held: Held
    cost: int
    proven: bool


@dataclass(frozen=True, slots=True)
class _Asking:
    """Cells that ask the same: arcs to classes, what a piece costs along each, how many may go along it."""

    cells: list[int]
    classes: Positions
    price: Integers
    most: Integers


def cheapest(problem: Problem, eligible: Eligibility, flow: Flow, costs: Costs) -> Cheapest:
    """The pieces of a finished flow from where they cost least; what an earlier plan promised stays where it can."""
    cost = costs_of_arcs(problem, eligible, costs)
    kept = _kept(problem, eligible)
    held: Held = list(flow.held)
    proven = True
    for classes in flow.classes:
        amounts = _amounts(flow, classes)
        if _is_least(eligible, flow, cost, kept, amounts):
            continue
        solved = _solved(_askings(eligible, cost, kept, amounts), eligible, classes, amounts)
        if solved is None:
            proven = False
            continue
        for lot_class in classes:
            held[lot_class] = {}
        for lot_class, cell, quantity in solved:
            held[lot_class][cell] = held[lot_class].get(cell, 0) + quantity
    return Cheapest(held, _total(eligible, flow, cost, held), proven)


def as_served(problem: Problem, eligible: Eligibility, flow: Flow, costs: Costs) -> Cheapest:
    """The pieces of a finished flow from where it took them, with what they cost."""
    return Cheapest(flow.held, _total(eligible, flow, costs_of_arcs(problem, eligible, costs), flow.held), proven=False)


def _total(eligible: Eligibility, flow: Flow, cost: Positions, held: Held) -> int:
    return sum(
        int(cost[eligible.starts[cell] + flow.arcs[cell].index(lot_class)]) * quantity
        for lot_class, holders in enumerate(held)
        for cell, quantity in holders.items()
    )


def _kept(problem: Problem, eligible: Eligibility) -> dict[int, dict[int, int]]:
    """For each cell the thousandths by class that an earlier plan promised it, where it may still use them."""
    if not any(cell.kept for cell in problem.cells):
        return {}
    class_of = {lot: lot_class for lot_class, lots in enumerate(eligible.members) for lot in lots}
    kept: dict[int, dict[int, int]] = {}
    for index, cell in enumerate(problem.cells):
        usable = eligible.targets[eligible.starts[index] : eligible.starts[index + 1]]
        for lot, quantity in cell.kept:
            if class_of[lot] in usable:
                here = kept.setdefault(index, {})
                here[class_of[lot]] = here.get(class_of[lot], 0) + quantity
    return kept


def _amounts(flow: Flow, classes: Sequence[int]) -> dict[int, dict[int, int]]:
    """For each cell of a group, in order, the thousandths by class."""
    amounts: dict[int, dict[int, int]] = {}
    for lot_class in classes:
        for cell, quantity in flow.held[lot_class].items():
            amounts.setdefault(cell, {})[lot_class] = quantity
    return dict(sorted(amounts.items()))


def _is_least(
    eligible: Eligibility,
    flow: Flow,
    cost: Positions,
    kept: dict[int, dict[int, int]],
    amounts: dict[int, dict[int, int]],
) -> bool:
    """True where everyone's cheapest pieces are the ones in use."""
    for cell, pieces in amounts.items():
        own = cost[eligible.starts[cell] : eligible.starts[cell + 1]]
        least = own.min()
        if cell in kept or any(own[flow.arcs[cell].index(lot_class)] > least for lot_class in pieces):
            return False
    return True


def _askings(
    eligible: Eligibility, cost: Positions, kept: dict[int, dict[int, int]], amounts: dict[int, dict[int, int]]
) -> list[_Asking]:
    """Cells with the same classes at the same costs together; a cell that keeps pieces stands alone."""
    together: dict[tuple[bytes, bytes, int], _Asking] = {}
    for cell in amounts:
        arcs = slice(eligible.starts[cell], eligible.starts[cell + 1])
        classes, price = eligible.targets[arcs], cost[arcs].astype(np.int64)
        key = (classes.tobytes(), price.tobytes(), cell if cell in kept else -1)
        if key not in together:
            old = kept.get(cell, {})
            again = np.array([classes.tolist().index(lot_class) for lot_class in old], dtype=np.int64)
            together[key] = _Asking(
                cells=[],
                classes=np.concatenate([classes, classes[again]]),
                price=np.concatenate([price, price[again] - KEPT]),
                most=np.array([*[UNLIMITED] * len(classes), *old.values()], dtype=np.int64),
            )
        together[key].cells.append(cell)
    return list(together.values())


def _solved(
    askings: list[_Asking], eligible: Eligibility, classes: Sequence[int], amounts: dict[int, dict[int, int]]
) -> list[tuple[int, int, int]] | None:
    """(class, cell, thousandths) at least cost, or None where the solver's answer is not proven."""
    wanted = np.array([sum(sum(amounts[cell].values()) for cell in one.cells) for one in askings], dtype=np.int64)
    stock = np.array([eligible.stock[lot_class] for lot_class in classes], dtype=np.int64)
    place = {lot_class: number for number, lot_class in enumerate(classes)}
    target = np.repeat(np.arange(len(askings)), [len(one.classes) for one in askings])
    most = np.minimum(np.concatenate([one.most for one in askings]), wanted[target])
    unit = np.gcd.reduce(np.concatenate([wanted, stock, most]))
    taken = Transport(
        wanted=wanted // unit,
        stock=stock // unit,
        target=target,
        source=np.array([place[one] for asking in askings for one in asking.classes.tolist()], dtype=np.int64),
        price=np.concatenate([one.price for one in askings]),
        most=most // unit,
    ).least()
    if taken is None:
        return None
    ends = np.cumsum([0, *(len(one.classes) for one in askings)]).tolist()
    pieces: list[tuple[int, int, int]] = []
    for asking, (low, high) in zip(askings, pairwise(ends), strict=True):
        pieces += _handed_out(asking, taken[low:high] * unit, amounts)
    return pieces


def _handed_out(asking: _Asking, taken: Integers, amounts: dict[int, dict[int, int]]) -> list[tuple[int, int, int]]:
    """Pieces to cells in order of service, the cheapest first."""
    places = [place for place in np.argsort(asking.price, kind="stable").tolist() if taken[place]]
    left = taken.tolist()
    pieces = []
    for cell in asking.cells:
        need = sum(amounts[cell].values())
        while need:
            quantity = min(need, left[places[0]])
            pieces.append((int(asking.classes[places[0]]), cell, quantity))
            need -= quantity
            left[places[0]] -= quantity
            if not left[places[0]]:
                del places[0]
    return pieces


@dataclass(frozen=True, slots=True)
class Transport:
    """A transportation problem in whole pieces.

    Args:
        wanted: pieces that each asker gets, exactly.
        stock: pieces that each class has.
        target: for each arc its asker.
        source: for each arc its class.
        price: for each arc the cost of a piece.
        most: for each arc the most pieces along it.
    """

    wanted: Integers
    stock: Integers
    target: Integers
    source: Integers
    price: Integers
    most: Integers

    def least(self) -> Integers | None:
        """Pieces along each arc at the least cost, proven in integers, or None."""
        askers, arcs = len(self.wanted), len(self.price)
        proposal = linear(
            Program(
                cost=self.price,
                most=self.most,
                starts=2 * np.arange(arcs + 1),
                rows=np.stack([self.target, askers + self.source], axis=1).ravel(),
                factors=np.ones(2 * arcs, dtype=np.int64),
                low=np.concatenate([self.wanted, np.full(len(self.stock), -np.inf)]),
                high=np.concatenate([self.wanted, self.stock]),
            )
        )
        if proposal is None:
            return None
        pieces = np.rint(proposal.columns).astype(np.int64)
        prices = np.rint(proposal.prices).astype(np.int64)
        return pieces if self.is_least(pieces, prices[:askers], prices[askers:]) else None

    def is_least(self, pieces: Integers, asked: Integers, held: Integers) -> bool:
        """True where the pieces add up and the prices of askers and classes prove that nothing is cheaper."""
        served, used = np.zeros_like(self.wanted), np.zeros_like(self.stock)
        np.add.at(served, self.target, pieces)
        np.add.at(used, self.source, pieces)
        dearer = self.price - asked[self.target] - held[self.source]
        return bool(
            ((pieces >= 0) & (pieces <= self.most)).all()
            and (served == self.wanted).all()
            and (used <= self.stock).all()
            and (dearer[pieces < self.most] >= 0).all()
            and (dearer[pieces > 0] <= 0).all()
            and (held <= 0).all()
            and (held[used < self.stock] == 0).all()
        )
