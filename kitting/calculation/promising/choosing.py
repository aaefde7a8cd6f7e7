"""Which kits to complete together: the greatest weight that fits into what earlier kits leave, with its bound.

Choosing kits is as hard as set packing, one of the problems of "Reducibility among combinatorial problems" (1972), but
small in practice when only the kits are columns. By Hall's condition ("On representatives of subsets", Journal of the
London Mathematical Society 10 (1935) 26-30, title from memory) kits fit together exactly when in every set of classes
the cells that can use nothing else ask for no more than the set has. Each set is a row; the rows that matter are found
as they are broken: the flow takes the kits that the solver proposes, and a search that fails leaves the set.

So the flow decides what fits, in integers; the solver only proposes, part by part, and bounds what is possible. Weights
are whole numbers, hence a bound below the next whole number proves the answer. The bound of a program in fractions is
worked out again in integers from its prices; that of a search tree is the solver's word.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import floor, isfinite

import numpy as np

from kitting.calculation.promising.facts import Integers
from kitting.calculation.promising.solver import Floats, Program, linear, whole
from kitting.calculation.promising.strict_order import StrictOrder

NODES = 300  # of the search tree of one part; a limit in seconds would give another answer on another day
MANY = 2_000  # kits to choose from, beyond which no part of more than a few is searched as a whole: it takes minutes
FEW, NEAR = 150, 60
DIGITS = 6  # of a share that count: the solver's tolerance
PRICE = 2**20  # prices are rounded to this part of a unit


class NoProposal(Exception):  # noqa: N818 - it is no error of the plan: the caller takes another way
    """The solver is missing, gave no answer, or gave a bound that is wrong."""


@dataclass(slots=True, eq=False)
class Row:
    """A set of classes that is full: the room it has for the kits to choose from, what each asks, what is used.

    ``kits`` and ``factors`` are what each asks once more, for the solver.
    """

    room: int
    asks: Mapping[int, int]
    kits: Integers
    factors: Integers
    used: int = 0


@dataclass(frozen=True, slots=True)
class _Cells:
    """The required cells of kits to choose from in one group, kit by kit: what each may use, and asks."""

    kit: Integers
    cell: Integers
    asked: Integers
    reach: Sequence[int]

    @classmethod
    def of(cls, order: StrictOrder, pairs: Sequence[tuple[int, int]]) -> "_Cells":
        """The cells of these kits."""
        kit, cell = np.array(pairs, dtype=np.int64).T
        asked = np.array([order.missing[one] for _, one in pairs], dtype=np.int64)
        return cls(kit, cell, asked, [order.flow.reach[one] for _, one in pairs])


@dataclass(frozen=True, slots=True)
class _Part:
    """The proposal for kits that rows tie together: the best first, and what no choice of them exceeds."""

    kits: tuple[int, ...]
    bound: int


class Choice:
    """Kits taken tentatively: the flow holds their required pieces until it is committed or undone.

    Attributes:
        chosen: the kits taken.
        bound: no choice weighs more.
    """

    def __init__(self, order: StrictOrder, weights: Mapping[int, int]) -> None:
        """Nothing is taken yet; ``weights`` holds a whole number above 0 for each kit to choose from."""
        self.chosen: set[int] = set()
        self.bound = sum(weights.values())
        self._order, self._weights = order, weights
        self._kits = sorted(weights)
        self._rows: list[Row] = []
        self._hopeless = np.zeros(max(weights, default=0) + 1, dtype=bool)  # kits that ask a row for more than its room
        self._rows_of: dict[int, list[Row]] = {kit: [] for kit in weights}
        self._tie = {kit: kit for kit in weights}
        self._taken = np.zeros_like(self._hopeless)  # the kits chosen, once more
        by_group: dict[int, list[tuple[int, int]]] = {}
        for kit in self._kits:
            for cell in order.required[kit]:
                by_group.setdefault(order.flow.group_of(cell), []).append((kit, cell))
        self._cells = {group: _Cells.of(order, pairs) for group, pairs in by_group.items()}

    def weight(self) -> int:
        """Weight of the kits taken."""
        return sum(self._weights[kit] for kit in self.chosen)

    def best(self) -> None:
        """Take kits of the greatest weight, as far as the limits let it be found.

        Raises:
            NoProposal: the solver gave none, or a bound below what is taken.
        """
        self._take(self._kits)
        best, weight = set(self.chosen), self.weight()
        ways = [self._in_fractions, self._nearly, self._in_whole_kits]
        for solve in ways if len(self._kits) <= MANY else ways[:2]:
            parts: dict[tuple[int, ...], _Part] = {}
            known = -1
            while weight < self.bound and known < len(self._rows):
                known = len(self._rows)
                self._take(self._proposed(solve, parts))
                if self.weight() > weight:
                    best, weight = set(self.chosen), self.weight()
        self._take(sorted(best))
        self._take(self._kits)
        if self.weight() > self.bound:
            raise NoProposal

    def _take(self, wanted: Sequence[int]) -> None:
        """Hold the pieces of the wanted kits, the first first, and of no other; one that does not fit leaves a row."""
        for kit in sorted(self.chosen.difference(wanted)):
            self._let_go(kit)
        for kit in wanted:
            if kit not in self.chosen and self._fits(kit):
                self.chosen.add(kit)
                self._taken[kit] = True
                for row in self._rows_of[kit]:
                    row.used += row.asks[kit]

    def _let_go(self, kit: int) -> None:
        self.chosen.discard(kit)
        self._taken[kit] = False
        for row in self._rows_of[kit]:
            row.used -= row.asks[kit]
        for cell in self._order.required[kit]:
            self._order.flow.release(cell)

    def _fits(self, kit: int) -> bool:
        order, flow = self._order, self._order.flow
        if any(row.used + row.asks[kit] > row.room for row in self._rows_of[kit]):
            return False
        for cell in order.required[kit]:
            if flow.fill(cell, order.missing[cell]):
                self._remember(kit, flow.group_of(cell))
                for taken in order.required[kit]:
                    flow.release(taken)
                return False
        return True

    def _remember(self, failed: int, group: int) -> None:
        """A row from the full classes that the last search went through: who holds their pieces has no other choice.

        What the kits to choose from hold there is all that they can have: earlier kits keep theirs.
        """
        flow, cells = self._order.flow, self._cells[group]
        outside = flow.open[group] & ~flow.reached
        inside = np.flatnonzero([not reach & outside for reach in cells.reach])
        kits, asked = cells.kit[inside], cells.asked[inside]
        room = int(asked[self._taken[kits]].sum())
        room += sum(flow.holding(cell) for cell in cells.cell[inside[kits == failed]].tolist())
        starts = np.flatnonzero(np.diff(kits, prepend=-1))
        kits, factors = kits[starts], np.add.reduceat(asked, starts)
        unit = int(np.gcd.reduce(factors))
        factors //= unit
        row = Row(room // unit, dict(zip(kits.tolist(), factors.tolist(), strict=True)), kits, factors)
        row.used = int(factors[self._taken[kits]].sum())
        self._rows.append(row)
        self._hopeless[kits[factors > row.room]] = True
        root = self._root(int(kits[0]))
        for kit in row.asks:
            self._rows_of[kit].append(row)
            self._tie[self._root(kit)] = root

    def _proposed(self, solve: Callable[[list[Row]], _Part], parts: dict[tuple[int, ...], _Part]) -> list[int]:
        """The kits proposed, those that no row holds first; the bound follows from the parts."""
        proposed = [kit for kit in self._kits if not self._rows_of[kit]]
        bound = sum(self._weights[kit] for kit in proposed)
        for numbers in self._tied():
            part = parts.get(numbers) or solve([self._rows[number] for number in numbers])
            parts[numbers] = part
            proposed += part.kits
            bound += part.bound
        self.bound = min(self.bound, bound)
        return proposed

    def _tied(self) -> list[tuple[int, ...]]:
        """Numbers of rows that share kits, part by part."""
        parts: dict[int, list[int]] = {}
        for number, row in enumerate(self._rows):
            parts.setdefault(self._root(next(iter(row.asks))), []).append(number)
        return [tuple(numbers) for numbers in parts.values()]

    def _root(self, kit: int) -> int:
        while self._tie[kit] != kit:
            self._tie[kit] = self._tie[self._tie[kit]]
            kit = self._tie[kit]
        return kit

    def _in_fractions(self, rows: list[Row]) -> _Part:
        """Every kit of which the program in fractions takes some, the greatest share first."""
        kits = self._possible(rows)
        shares, _, bound = self._shares(kits, rows)
        some = kits[np.lexsort((kits, -shares))][: np.count_nonzero(shares)]
        return _Part(tuple(some.tolist()), bound)

    def _nearly(self, rows: list[Row]) -> _Part:
        """As in whole kits, but of many a search tree decides only on those whose worth is nearest to their cost."""
        kits = self._possible(rows)
        if len(kits) <= FEW:
            return self._in_whole_kits(rows)
        shares, gains, bound = self._shares(kits, rows)
        by_doubt = np.lexsort((kits, abs(gains), (shares == 0) | (shares == 1)))
        near, others = np.sort(by_doubt[:NEAR]), by_doubt[NEAR:]
        sure = np.sort(kits[others[shares[others] == 1]])
        taken = np.zeros_like(self._hopeless)
        taken[sure] = True
        left = [row.room - int(row.factors[taken[row.kits]].sum()) for row in rows]
        rest = self._searched(kits[near], rows, left)
        return _Part((*sure.tolist(), *rest.kits), bound) if rest else self._in_fractions(rows)

    def _in_whole_kits(self, rows: list[Row]) -> _Part:
        """The kits that a search tree takes."""
        return self._searched(self._possible(rows), rows, [row.room for row in rows]) or self._in_fractions(rows)

    def _possible(self, rows: list[Row]) -> Integers:
        """Kits of a part that no row refuses outright."""
        possible = np.zeros_like(self._hopeless)
        possible[np.concatenate([row.kits for row in rows])] = True
        return np.flatnonzero(possible & ~self._hopeless)

    def _shares(self, kits: Integers, rows: list[Row]) -> tuple[Floats, Integers, int]:
        """Each kit's share in the best program in fractions, its worth beyond its cost, and a bound, in integers.

        By weak duality any prices bound the weight: what the room costs, and what each kit is worth beyond its cost.
        """
        if not len(kits):
            return np.zeros(0), np.zeros(0, dtype=np.int64), 0
        program = self._program(kits, rows, [row.room for row in rows])
        proposal = linear(program)
        if proposal is None:
            raise NoProposal
        price = np.maximum(0, np.rint(-proposal.prices * PRICE)).astype(np.int64)
        gains = -program.cost * PRICE
        np.subtract.at(
            gains, np.repeat(np.arange(len(kits)), np.diff(program.starts)), price[program.rows] * program.factors
        )
        bound = int((price * program.high).sum() + gains[gains > 0].sum())
        return np.round(proposal.columns, DIGITS), gains, bound // PRICE

    def _searched(self, kits: Integers, rows: list[Row], room: list[int]) -> _Part | None:
        """What a search tree finds within the node limit."""
        if not len(kits):
            return _Part((), 0)
        proposal = whole(self._program(kits, rows, room), nodes=NODES)
        if proposal is None or not isfinite(proposal.bound):
            return None
        taken = kits[np.rint(proposal.columns) == 1]
        return _Part(tuple(taken.tolist()), floor(10**-DIGITS - proposal.bound))

    def _program(self, kits: Integers, rows: list[Row], room: list[int]) -> Program:
        """The program over these kits, in order: a column for each, with its rows in order."""
        asking = np.concatenate([row.kits for row in rows])
        column = np.minimum(np.searchsorted(kits, asking), len(kits) - 1)
        entries = np.flatnonzero(kits[column] == asking)
        entries = entries[np.argsort(column[entries], kind="stable")]
        return Program(
            cost=-np.array([self._weights[kit] for kit in kits.tolist()], dtype=np.int64),
            most=np.ones(len(kits), dtype=np.int64),
            starts=np.searchsorted(column[entries], np.arange(len(kits) + 1)),
            rows=np.repeat(np.arange(len(rows)), [len(row.kits) for row in rows])[entries],
            factors=np.concatenate([row.factors for row in rows])[entries],
            low=np.zeros(len(rows)),
            high=np.array(room, dtype=np.int64),
        )
