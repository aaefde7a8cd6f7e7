"""The cost step: every cell keeps as many pieces as it has, taken from where they cost least in all.

Which kits are served is settled before; here pieces only change places inside a group of classes. For fixed amounts
this is the transportation problem, whose linear program has whole-number answers and whole-number prices ("Integral
boundary points of convex polyhedra", Annals of Mathematics Studies 38 (1956) 223-246, title from memory). The solver's
answer is a proposal: amounts and prices are rounded and checked in integers. Prices under which no arc is cheaper than
those in use prove that nothing is cheaper; an answer that does not add up is dropped, and the pieces stay.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from kitting.calculation.promising.costs import Costs, costs_of_arcs
from kitting.calculation.promising.eligibility import Eligibility, numbered
from kitting.calculation.promising.facts import Integers
from kitting.calculation.promising.flow import Flow
from kitting.calculation.promising.model import Problem
from kitting.calculation.promising.solver import Program, linear

KEPT = 5_000  # a piece stays where an earlier plan had it: more than any way to serve costs, less than a piece short


@dataclass(frozen=True, slots=True)
class Held:
    """Thousandths held: by which cell, along which arc (a position in ``Eligibility.targets``)."""

    cell: Integers
    arc: Integers
    quantity: Integers


@dataclass(frozen=True, slots=True)
class Cheapest:
    """Who holds which pieces, what they cost together, and whether it is proven that nothing is cheaper."""

    held: Held
    cost: int
    proven: bool


def cheapest(problem: Problem, eligible: Eligibility, flow: Flow, costs: Costs) -> Cheapest:
    """The pieces of a finished flow from where they cost least; what an earlier plan promised stays where it can."""
    price = costs_of_arcs(eligible, costs)
    served = _served(eligible, flow)
    wanted = np.zeros(len(problem.cells), dtype=np.int64)
    np.add.at(wanted, served.cell, served.quantity)
    asked = _asked(eligible, price, wanted, _kept(problem, eligible, wanted))
    solved = asked.solved(eligible, flow)
    group = np.array(flow.group, dtype=np.int64)[eligible.targets[served.arc]]
    stays = ~np.isin(group, np.unique(group)[solved])
    moved = asked.handed_out(wanted)
    held = Held(*(np.concatenate([getattr(served, name)[stays], getattr(moved, name)]) for name in Held.__slots__))
    return Cheapest(held, _total(price, held), bool(solved.all()))


def as_served(_: Problem, eligible: Eligibility, flow: Flow, costs: Costs) -> Cheapest:
    """The pieces of a finished flow from where it took them, with what they cost."""
    served = _served(eligible, flow)
    return Cheapest(served, _total(costs_of_arcs(eligible, costs), served), proven=False)


def _total(price: Integers, held: Held) -> int:
    return int((price[held.arc] * held.quantity).sum())


def _served(eligible: Eligibility, flow: Flow) -> Held:
    pieces = [(cell, at, quantity) for at, holders in enumerate(flow.held) for cell, quantity in holders.items()]
    place = np.array([flow.arcs[cell].index(lot_class) for cell, lot_class, _ in pieces], dtype=np.int64)
    table = np.array(pieces, dtype=np.int64).reshape(-1, 3)
    cell = table[:, 0]
    return Held(cell, eligible.starts[eligible.shape[cell]] + place, table[:, 2])


def _kept(problem: Problem, eligible: Eligibility, wanted: Integers) -> Held:
    """What an earlier plan promised to cells that want pieces, where they may still use it."""
    class_of: dict[int, int] = {}
    if any(cell.kept for cell in problem.cells):
        class_of = {lot: lot_class for lot_class, lots in enumerate(eligible.members) for lot in lots}
    kept: dict[tuple[int, int], int] = {}
    for index in np.flatnonzero(wanted).tolist() if class_of else ():
        first, end = eligible.starts[eligible.shape[index] :][:2].tolist()
        usable = eligible.targets[first:end].tolist()
        for lot, quantity in problem.cells[index].kept:
            if class_of[lot] in usable:
                arc = first + usable.index(class_of[lot])
                kept[index, arc] = kept.get((index, arc), 0) + quantity
    cell, arc = np.array(list(kept), dtype=np.int64).reshape(-1, 2).T
    return Held(cell, arc, np.array(list(kept.values()), dtype=np.int64))


def _asked(eligible: Eligibility, price: Integers, wanted: Integers, kept: Held) -> "_Asked":
    """Cells of one shape ask together; a cell that keeps pieces asks alone, and pays less for them."""
    cells = np.flatnonzero(wanted)
    shape = eligible.shape[cells]
    group = np.array(eligible.groups, dtype=np.int64)[eligible.targets[eligible.starts[shape]]]
    alone = np.where(np.isin(cells, kept.cell), cells, -1)
    first, asker = numbered(group, shape, alone)
    starts, counts = eligible.starts[shape[first]], np.diff(eligible.starts)[shape[first]]
    ends = np.cumsum(counts)
    arc = np.arange(ends[-1] if len(ends) else 0) + np.repeat(starts - ends + counts, counts)
    total = np.zeros(len(first), dtype=np.int64)
    np.add.at(total, asker, wanted[cells])
    keeper = asker[np.searchsorted(cells, kept.cell)]
    beside = ends[keeper]
    target = np.insert(np.repeat(np.arange(len(first)), counts), beside, keeper)
    return _Asked(
        cells=cells,
        asker=asker,
        group=group[first],
        wanted=total,
        target=target,
        arc=np.insert(arc, beside, kept.arc),
        price=np.insert(price[arc], beside, price[kept.arc] - KEPT),
        most=np.minimum(np.insert(np.repeat(total, counts), beside, kept.quantity), total[target]),
        taken=np.zeros(len(target), dtype=np.int64),
    )


@dataclass(frozen=True, slots=True)
class _Asked:
    """Cells that ask the same together, group by group, and the arcs that they may use.

    Args:
        cells: those that want pieces, in order of service.
        asker: for each of them the number of those that it asks with.
        group: for each asker its group.
        wanted: for each asker its thousandths.
        target: for each arc its asker, in order.
        arc: for each its position in ``Eligibility.targets``.
        price: for each the cost of a piece.
        most: for each the most thousandths along it.
        taken: for each the thousandths along it at the least cost.
    """

    cells: Integers
    asker: Integers
    group: Integers
    wanted: Integers
    target: Integers
    arc: Integers
    price: Integers
    most: Integers
    taken: Integers

    def solved(self, eligible: Eligibility, flow: Flow) -> Integers:
        """Fill in what is taken; for each group that asks true where that is proven to cost least."""
        position = np.zeros(len(flow.group), dtype=np.int64)
        for classes in flow.classes:
            position[classes] = np.arange(len(classes))
        source = position[eligible.targets[self.arc]]
        stock = np.array(eligible.stock, dtype=np.int64)
        groups, first = np.unique(self.group, return_index=True)
        askers = [*first.tolist(), len(self.group)]
        arcs = np.searchsorted(self.target, askers).tolist()
        proven = []
        for group, (low, high), (start, end) in zip(groups.tolist(), pairwise(askers), pairwise(arcs), strict=True):
            wanted, free, most = self.wanted[low:high], stock[flow.classes[group]], self.most[start:end]
            unit = np.gcd.reduce(np.concatenate([wanted, free, most]))
            taken = Transport(
                wanted=wanted // unit,
                stock=free // unit,
                target=self.target[start:end] - low,
                source=source[start:end],
                price=self.price[start:end],
                most=most // unit,
            ).least()
            proven.append(taken is not None)
            if taken is not None:
                self.taken[start:end] = taken * unit
        return np.array(proven, dtype=bool)

    def handed_out(self, wanted: Integers) -> Held:
        """What is taken, to cells in order of service, the cheapest first."""
        given = np.flatnonzero(self.taken)
        given = given[np.lexsort((self.price[given], self.target[given]))]
        served = np.zeros(len(self.wanted), dtype=bool)
        served[self.target[given]] = True
        askers = np.flatnonzero(served[self.asker])
        cells = self.cells[askers[np.argsort(self.asker[askers], kind="stable")]]
        by_cell, by_arc = np.cumsum(wanted[cells]), np.cumsum(self.taken[given])
        ends = np.union1d(by_cell, by_arc)
        return Held(
            cell=cells[np.searchsorted(by_cell, ends)],
            arc=self.arc[given[np.searchsorted(by_arc, ends)]],
            quantity=np.diff(ends, prepend=0),
        )


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
        pieces, asked = self._first_choices()
        if self.is_least(pieces, asked, np.zeros_like(self.stock)):
            return pieces
        proposal = linear(self._program())
        if proposal is None:
            return None
        pieces, prices = (np.rint(one).astype(np.int64) for one in (proposal.columns, proposal.prices))
        return pieces if self.is_least(pieces, prices[: len(asked)], prices[len(asked) :]) else None

    def _first_choices(self) -> tuple[Integers, Integers]:
        """Everyone's cheapest pieces, whether or not there are enough of them, and the price of the dearest of each."""
        order = np.lexsort((self.price, self.target))
        target, most = self.target[order], self.most[order]
        before = np.cumsum(most) - most
        before -= before[np.searchsorted(target, target)]
        pieces, asked = np.zeros_like(self.price), np.full_like(self.wanted, self.price.min())
        pieces[order] = np.clip(self.wanted[target] - before, 0, most)
        np.maximum.at(asked, self.target[pieces > 0], self.price[pieces > 0])
        return pieces, asked

    def _program(self) -> Program:
        askers, arcs = len(self.wanted), len(self.price)
        return Program(
            cost=self.price,
            most=self.most,
            starts=2 * np.arange(arcs + 1),
            rows=np.stack([self.target, askers + self.source], axis=1).ravel(),
            factors=np.ones(2 * arcs, dtype=np.int64),
            low=np.concatenate([self.wanted, np.full(len(self.stock), -np.inf)]),
            high=np.concatenate([self.wanted, self.stock]),
        )

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
