"""Transportation problems, many side by side: who gets pieces from where at the least cost in all.

For fixed amounts the linear program has whole-number answers and whole-number prices ("Integral boundary points of
convex polyhedra", Annals of Mathematics Studies 38 (1956) 223-246, title from memory). The solver's answer is a
proposal: amounts and prices are rounded and checked in integers. Prices under which no arc is cheaper than those in use
prove that nothing is cheaper.

Classes stand in chains: whoever may use one may use all before it, and what it costs beside the one before is the same
for everyone. So the solver needs no column for every arc: pieces enter a chain at the last class that their asker may
use, are handed on down the chain, and leave it at the class that has them.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import tee

import numpy as np

from kitting.calculation.promising.facts import Integers, Positions, Truths
from kitting.calculation.promising.solver import Program, Proposal, linear_in_turn

NO_LIMIT = np.iinfo(np.int64).max
PAIRS = 2**20  # of an asker and a class, that are looked at at once
CHOICES = 4  # of an asker that are tried before the solver is


@dataclass(frozen=True, slots=True)
class Transport:
    """Transportation problems in whole pieces; parts share neither an asker nor a class.

    Args:
        wanted: pieces that each asker gets, exactly.
        stock: pieces that each class has.
        target: for each arc its asker, in order.
        source: for each arc its class.
        price: for each arc the cost of a piece.
        limited: arcs with a limit, in order; one may stand beside an arc without for the same two.
        most: for each of them the most pieces along it.
        asker_part: for each asker its part, in order.
        class_part: for each class its part, in order.
        own: for each class the part of its price that is its own, whoever asks.
        linked: for each class true where it follows the class before it in a chain.
    """

    wanted: Integers
    stock: Integers
    target: Positions
    source: Positions
    price: Positions
    limited: Integers
    most: Integers
    asker_part: Integers
    class_part: Integers
    own: Integers
    linked: Truths

    def least(self) -> tuple[Integers, Truths]:
        """Pieces along each arc, and for each part true where they are proven in integers to cost least."""
        pieces, asked = self._first_choices()
        held = np.zeros_like(self.stock)
        proven = self.is_least(pieces, asked, held)
        if proven.all():
            return pieces, proven
        parts, again = tee(self._parts(np.flatnonzero(~proven)))
        for part, proposal in zip(parts, linear_in_turn(part.program() for part in again), strict=True):
            if proposal is not None:
                part.read(proposal, pieces, asked, held)
        return pieces, self.is_least(pieces, asked, held)

    def _first_choices(self) -> tuple[Integers, Integers]:
        """Everyone's cheapest pieces, whether or not there are enough of them, and the price of the dearest of each."""
        pieces, asked = np.zeros(len(self.price), dtype=np.int64), np.full_like(self.wanted, self.price.min(initial=0))
        starts = np.searchsorted(self.target, np.arange(len(self.wanted), dtype=self.target.dtype))
        price, left = self.price.copy(), self.wanted.copy()
        for _ in range(CHOICES if len(starts) else 0):
            least = np.minimum.reduceat(price, starts)
            arcs = np.flatnonzero((price == least[self.target]) & (left > 0)[self.target])
            arcs = arcs[np.flatnonzero(np.diff(self.target[arcs], prepend=-1))]
            asker = self.target[arcs]
            pieces[arcs] = np.minimum(left[asker], self.limits(arcs))
            asked[asker] = price[arcs]
            left[asker] -= pieces[arcs]
            price[arcs] = np.iinfo(price.dtype).max
            if not left.any():
                break
        return pieces, asked

    def limits(self, arcs: Integers) -> Integers:
        """The most pieces along each of these arcs, or NO_LIMIT."""
        limits = np.full(len(arcs), NO_LIMIT)
        if len(self.limited):
            at = np.minimum(np.searchsorted(self.limited, arcs), len(self.limited) - 1)
            limits = np.where(self.limited[at] == arcs, self.most[at], limits)
        return limits

    def _parts(self, numbers: Integers) -> Iterator["_Part"]:
        """Parts by their numbers."""
        ends = np.arange(self._count() + 1)
        askers, classes = np.searchsorted(self.asker_part, ends), np.searchsorted(self.class_part, ends)
        arcs = np.searchsorted(self.target, askers.astype(self.target.dtype))
        for number in numbers.tolist():
            yield _Part(self, *(slice(*one[number : number + 2].tolist()) for one in (askers, classes, arcs)))

    def is_least(self, pieces: Integers, asked: Integers, held: Integers) -> Truths:
        """For each part true where pieces add up and prices of askers and classes prove that nothing is cheaper."""
        served, used = np.zeros_like(self.wanted), np.zeros_like(self.stock)
        given = np.flatnonzero(pieces)
        np.add.at(served, self.target[given], pieces[given])
        np.add.at(used, self.source[given], pieces[given])
        dearer = self.price - asked.astype(np.int32)[self.target] - held.astype(np.int32)[self.source]
        cheaper = np.flatnonzero(dearer < 0)
        wrong = (pieces[given] < 0) | (pieces[given] > self.limits(given)) | (dearer[given] > 0)
        amiss = np.concatenate([cheaper[pieces[cheaper] < self.limits(cheaper)], given[wrong]])
        proven = np.ones(self._count(), dtype=bool)
        proven[self.asker_part[self.target[amiss]]] = False
        proven[self.asker_part[served != self.wanted]] = False
        proven[self.class_part[(used > self.stock) | (held > 0) | ((held < 0) & (used < self.stock))]] = False
        return proven

    def _count(self) -> int:
        return int(self.class_part.max(initial=-1)) + 1


class _Part:
    """A part as a linear program: rows are its askers, then its classes.

    Columns are the pieces that enter at a class for an asker, those that a class hands on to the one before it, and
    those that leave at each class.
    """

    def __init__(self, whole: Transport, askers: slice, classes: slice, arcs: slice) -> None:
        self._whole, self._askers, self._classes, self._arcs = whole, askers, classes, arcs
        self._target, self._source = whole.target[arcs] - askers.start, whole.source[arcs] - classes.start
        self._limited = np.zeros(len(self._target), dtype=bool)
        among = slice(*np.searchsorted(whole.limited, [arcs.start, arcs.stop]))
        self._limited[whole.limited[among] - arcs.start] = True
        self._linked = whole.linked[classes].copy()
        self._linked[self._source[self._limited]] = False  # what has a price of its own is not handed on
        follows = np.append(self._linked[1:], False)[self._source]
        follows[follows] = self._arcs_between(self._target[follows], self._source[follows] + 1) >= 0
        self._enters = np.flatnonzero(self._limited | ~follows)

    def _arcs_between(self, target: Positions, source: Positions) -> Positions:
        """For askers, in order, and a class of each the arc without a limit, or -1."""
        found = np.empty(len(target), dtype=np.int32)
        count, classes = self._askers.stop - self._askers.start, len(self._linked)
        askers = min(count, max(1, PAIRS // classes))
        for low in range(0, count, askers):
            edges = np.array([low, low + askers], dtype=np.int32)
            arcs, pairs = (slice(*np.searchsorted(one, edges).tolist()) for one in (self._target, target))
            free = arcs.start + np.flatnonzero(~self._limited[arcs])
            block = np.full((askers, classes), -1, dtype=np.int32)
            block[self._target[free] - low, self._source[free]] = free
            found[pairs] = block[target[pairs] - low, source[pairs]]
        return found

    def program(self) -> Program:
        """The program; a piece entering pays what is not the class's own, a piece leaving what is."""
        whole, enters = self._whole, self._enters
        wanted, own, stock = whole.wanted[self._askers], whole.own[self._classes], whole.stock[self._classes]
        linked = np.flatnonzero(self._linked)
        askers, count = len(wanted), len(stock)
        source = self._source[enters]
        beyond = wanted + 1  # a limit that is never met, so that prices prove
        most = np.minimum(whole.limits(self._arcs.start + enters), beyond[self._target[enters]])
        pairs = np.concatenate(
            [
                np.stack([self._target[enters], source + askers], axis=1).ravel(),
                np.stack([linked, linked - 1], axis=1).ravel() + askers,
            ],
            dtype=np.int32,
        )
        factors = np.ones(len(pairs) + count, dtype=np.int8)
        factors[2 * len(enters) : len(pairs) : 2] = -1
        factors[len(pairs) :] = -1
        level = np.concatenate([wanted, np.zeros(count, dtype=np.int64)])
        return Program(
            cost=np.concatenate(
                [whole.price[self._arcs][enters] - own[source], np.zeros(len(linked), dtype=np.int64), own]
            ),
            most=np.concatenate([most, np.full(len(linked), wanted.sum() + 1), stock]),
            starts=np.concatenate([np.arange(0, len(pairs), 2), len(pairs) + np.arange(count + 1)]),
            rows=np.concatenate([pairs, askers + np.arange(count)], dtype=np.int32),
            factors=factors,
            low=level.astype(float),
            high=level,
        )

    def read(self, proposal: Proposal, pieces: Integers, asked: Integers, held: Integers) -> None:
        """Write what the solver proposes into the pieces along each arc and the prices of askers and classes.

        Who enters a chain furthest down it gets what leaves furthest down it: all that is handed on is for those.
        """
        count = self._askers.stop - self._askers.start
        prices = np.rint(proposal.prices).astype(np.int64)
        asked[self._askers] = prices[:count]
        held[self._classes] = np.minimum(prices[count:] + self._whole.own[self._classes], 0)
        columns = np.rint(proposal.columns).astype(np.int64)
        entering, leaving = columns[: len(self._enters)], columns[-len(self._linked) :][::-1]
        used = np.flatnonzero(entering)
        used = used[np.argsort(-self._source[self._enters[used]], kind="stable")]
        by_entry, by_class = np.cumsum(entering[used]), np.cumsum(leaving)
        ends = np.union1d(by_entry, by_class)
        ends = ends[(ends > 0) & (ends <= min(by_entry[-1], by_class[-1]))]
        arc = self._enters[used[np.searchsorted(by_entry, ends)]]
        source = len(leaving) - 1 - np.searchsorted(by_class, ends)
        handed_on = np.flatnonzero(self._source[arc] != source)
        handed_on = handed_on[np.argsort(arc[handed_on])]
        arc[handed_on] = self._arcs_between(self._target[arc[handed_on]], source[handed_on])
        pieces[self._arcs] = 0
        np.add.at(pieces, self._arcs.start + arc, np.diff(ends, prepend=0))
