"""Transportation problems, many side by side: who gets pieces from where at the least cost in all.

For fixed amounts the linear program has whole-number answers and whole-number prices ("Integral boundary points of
convex polyhedra", Annals of Mathematics Studies 38 (1956) 223-246, title from memory). The solver's answer is a
proposal: amounts and prices are rounded and checked in integers. Prices under which no arc is cheaper than those in use
prove that nothing is cheaper.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from kitting.calculation.promising.facts import Integers, Positions, Truths
from kitting.calculation.promising.solver import Program, linear_in_turn

CHOICES = 4  # of an asker that are tried before the solver is
_Part = tuple[slice, slice, slice]  # askers, classes and arcs


@dataclass(frozen=True, slots=True)
class Transport:
    """Transportation problems in whole pieces; parts share neither an asker nor a class.

    Args:
        wanted: pieces that each asker gets, exactly.
        stock: pieces that each class has.
        target: for each arc its asker, in order.
        source: for each arc its class.
        price: for each arc the cost of a piece.
        most: for each arc the most pieces along it.
        asker_part: for each asker its part, in order.
        class_part: for each class its part, in order.
    """

    wanted: Integers
    stock: Integers
    target: Positions
    source: Positions
    price: Positions
    most: Integers
    asker_part: Integers
    class_part: Integers

    def least(self) -> tuple[Integers, Truths]:
        """Pieces along each arc, and for each part true where they are proven in integers to cost least."""
        pieces, asked = self._first_choices()
        held = np.zeros_like(self.stock)
        proven = self.is_least(pieces, asked, held)
        parts = list(self._parts(np.flatnonzero(~proven)))
        for (askers, classes, arcs), proposal in zip(parts, linear_in_turn(map(self._program, parts)), strict=True):
            if proposal is not None:
                prices = np.rint(proposal.prices).astype(np.int64)
                pieces[arcs] = np.rint(proposal.columns).astype(np.int64)
                asked[askers], held[classes] = np.split(prices, [askers.stop - askers.start])
        return pieces, self.is_least(pieces, asked, held) if parts else proven

    def _first_choices(self) -> tuple[Integers, Integers]:
        """Everyone's cheapest pieces, whether or not there are enough of them, and the price of the dearest of each."""
        pieces, asked = np.zeros(len(self.price), dtype=np.int64), np.full_like(self.wanted, self.price.min(initial=0))
        starts = np.searchsorted(self.target, np.arange(len(self.wanted)))
        price, left = self.price.copy(), self.wanted.copy()
        for _ in range(CHOICES if len(starts) else 0):
            least = np.minimum.reduceat(price, starts)
            arcs = np.flatnonzero((price == least[self.target]) & (left > 0)[self.target])
            arcs = arcs[np.flatnonzero(np.diff(self.target[arcs], prepend=-1))]
            asker = self.target[arcs]
            pieces[arcs] = np.minimum(left[asker], self.most[arcs])
            asked[asker] = price[arcs]
            left[asker] -= pieces[arcs]
            price[arcs] = np.iinfo(price.dtype).max
            if not left.any():
                break
        return pieces, asked

    def _parts(self, numbers: Integers) -> Iterator[_Part]:
        """Parts by their numbers."""
        ends = np.arange(self._count() + 1)
        askers, classes = np.searchsorted(self.asker_part, ends), np.searchsorted(self.class_part, ends)
        arcs = np.searchsorted(self.target, askers)
        for at in numbers.tolist():
            low, high, first, end, start, stop = (int(one[k]) for one in (askers, classes, arcs) for k in (at, at + 1))
            yield slice(low, high), slice(first, end), slice(start, stop)

    def _program(self, part: _Part) -> Program:
        askers, classes, arcs = part
        wanted, stock, price = self.wanted[askers], self.stock[classes], self.price[arcs]
        source = self.source[arcs] - classes.start + len(wanted)
        return Program(
            cost=price.astype(np.int64),
            most=self.most[arcs],
            starts=2 * np.arange(len(price) + 1),
            rows=np.stack([self.target[arcs] - askers.start, source], axis=1).ravel(),
            factors=np.ones(2 * len(price), dtype=np.int64),
            low=np.concatenate([wanted, np.full(len(stock), -np.inf)]),
            high=np.concatenate([wanted, stock]),
        )

    def is_least(self, pieces: Integers, asked: Integers, held: Integers) -> Truths:
        """For each part true where pieces add up and prices of askers and classes prove that nothing is cheaper."""
        served, used = np.zeros_like(self.wanted), np.zeros_like(self.stock)
        np.add.at(served, self.target, pieces)
        np.add.at(used, self.source, pieces)
        dearer = self.price - asked[self.target] - held[self.source]
        amiss = (
            (pieces < 0) | (pieces > self.most) | ((pieces < self.most) & (dearer < 0)) | ((pieces > 0) & (dearer > 0))
        )
        proven = np.ones(self._count(), dtype=bool)
        proven[self.asker_part[self.target[amiss]]] = False
        proven[self.asker_part[served != self.wanted]] = False
        proven[self.class_part[(used > self.stock) | (held > 0) | ((held < 0) & (used < self.stock))]] = False
        return proven

    def _count(self) -> int:
        return int(self.class_part.max(initial=-1)) + 1
