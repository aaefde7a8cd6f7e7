"""The strict order: each kit in turn is completed, or takes nothing.

What is proved. Call a kit's counted cells that can't be bought in time its *required* cells, the others *buyable*.
Kits come in order of service; the plan is the best one in these two numbers, compared kit by kit: is the kit served in
turn, and how many of its pieces are real. So a kit is served exactly when all required cells of the kits served before
it, the real pieces they already have, and its own required cells fit together; then it takes as many real pieces for
its buyable cells as re-routing can find, and nobody gives up a real piece for a bought one. After the last kit the
refused ones, in order, and then the spares, in order, take what augmenting paths still reach.

Why it is exact. Sets of demand that a flow can serve together are the independent sets of a polymatroid ("Transversals
and matroid partition", Journal of Research of the National Bureau of Standards 69B (1965) 147-153, title from memory):
an augmenting path never lowers a served cell, and which cells hold the pieces does not change what else can be served.
Hence each step's maximum is also a step towards a maximum flow: the total of pieces short is the least that any plan
has, whichever kits are served. And since pieces and claims are complements ("Complements and substitutes in the
optimal assignment problem", Naval Research Logistics Quarterly 9 (1962) 45-48, title from memory), more stock never
costs the first kit that changes its place, nor raises the total short.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from operator import itemgetter

import numpy as np

from kitting.calculation.promising.eligibility import Eligibility
from kitting.calculation.promising.facts import Integers, Truths
from kitting.calculation.promising.flow import Flow
from kitting.calculation.promising.model import Problem
from kitting.calculation.promising.saturated_sets import SaturatedSet, SaturatedSets

NO_GROUP = -1


@dataclass(frozen=True, slots=True)
class Reason:
    """Where a kit failed: the cell, and the bits of the saturated set in its group (NO_GROUP: nothing usable)."""

    cell: int
    group: int
    bits: int


class StrictOrder:
    """Kits served one after the other.

    Attributes:
        flow: who holds which pieces.
        missing: for each cell the thousandths that no real piece serves.
        served: for each kit true when it was completed in its turn.
        reasons: for each refused kit where it failed.
        turn: for each kit the number of its turn; kits of one turn are served together.
        required: for each kit its counted cells that can't be bought in time.
        buyable: for each kit its counted cells that can.
        spares: all spare cells, in order of service.
    """

    def __init__(self, problem: Problem, eligible: Eligibility) -> None:
        self.flow = Flow(eligible.stock, eligible.groups, eligible.lists(), eligible.shape.tolist())
        self.missing = list(eligible.need)
        self.served = [kit.dated for kit in problem.kits]
        self.reasons: dict[int, Reason] = {}
        self.turn = list(range(len(problem.kits)))
        self.required: list[list[int]] = [[] for _ in problem.kits]
        self.buyable: list[list[int]] = [[] for _ in problem.kits]
        self._sets = SaturatedSets(self.flow)
        facts = eligible.facts
        asks = facts.dated[facts.kit] & (np.array(eligible.need, dtype=np.int64) > 0)
        for cells, chosen in ((self.buyable, facts.buyable), (self.required, ~facts.buyable & ~facts.spare)):
            for index, kit in _pairs(asks & chosen, facts.kit):
                cells[kit].append(index)
        self.spares = [index for index, _ in sorted(_pairs(asks & facts.spare, facts.kit), key=itemgetter(1))]

    def serve_in_turn(self) -> None:
        """Complete each kit in order, or refuse it with the set that has no pieces left for it."""
        for kit, served in enumerate(self.served):
            if served and self.complete(kit):
                self.take_buyable(kit)

    def complete(self, kit: int) -> bool:
        """Take all pieces that the kit requires, or refuse it."""
        around = self._hope(kit)
        if around is None or not self._takes(kit):
            return False
        self._claim(kit, around)
        return True

    def is_hopeful(self, kit: int) -> bool:
        """False, and the kit refused, where that needs no search."""
        if not self._sets.known and all(self.flow.arcs[cell] for cell in self.required[kit]):
            return True
        return self._hope(kit) is not None

    def keep(self, kit: int) -> None:
        """The pieces that the flow holds for all that the kit requires are its own for good."""
        known = self._sets.known
        self._claim(kit, [(self._sets.around(cell) or []) if known else [] for cell in self.required[kit]])

    def take_buyable(self, kit: int) -> None:
        """As many real pieces as can be had for what could also be bought."""
        for cell in self.buyable[kit]:
            self._serve_most(cell)

    def serve_the_rest(self) -> None:
        """Give refused kits in order, then spares, what is left."""
        for kit in sorted(self.reasons):
            for cell in sorted(self.required[kit] + self.buyable[kit]):
                self._serve_most(cell)
        for cell in self.spares:
            self._serve_most(cell)

    def _hope(self, kit: int) -> list[list[SaturatedSet]] | None:
        """The sets around the kit's required cells, or None where they already refuse it."""
        around: list[list[SaturatedSet]] = []
        for cell in self.required[kit]:
            sets = self._sets.around(cell)
            if sets is None:
                self._refuse(kit, cell, 0)
                return None
            around.append(sets)
        return None if self._has_known_reason(kit, around) else around

    def _claim(self, kit: int, around: list[list[SaturatedSet]]) -> None:
        for cell, sets in zip(self.required[kit], around, strict=True):
            self._sets.claim(cell, sets, self.missing[cell])
            self.missing[cell] = 0

    def _refuse(self, kit: int, cell: int, bits: int) -> None:
        """Note the set: with all that it and the closed classes of the cell lean on."""
        self.served[kit] = False
        if not self.flow.arcs[cell]:
            self.reasons[kit] = Reason(cell, NO_GROUP, 0)
            return
        group = self.flow.group_of(cell)
        self.reasons[kit] = Reason(cell, group, self._sets.whole(group, bits | self._sets.below(cell)))

    def _has_known_reason(self, kit: int, around: list[list[SaturatedSet]]) -> bool:
        """Refuse the kit where a remembered set has no room for its cells inside."""
        asked: dict[int, int] = {}
        for cell, sets in zip(self.required[kit], around, strict=True):
            for known in sets:
                asked[id(known)] = asked.get(id(known), 0) + self.missing[cell]
                if asked[id(known)] > known.slack:
                    bits = known.bits | known.below
                    for other, others in zip(self.required[kit], around, strict=True):
                        if known in others:
                            bits |= self._sets.below(other)
                    self._refuse(kit, cell, bits)
                    return True
        return False

    def _takes(self, kit: int) -> bool:
        """Take all pieces the kit requires, or nothing: then the set of full classes is remembered as the reason."""
        flow = self.flow
        for cell in self.required[kit]:
            if flow.fill(cell, self.missing[cell]):
                group, reached = flow.group_of(cell), flow.reached
                slack = sum(
                    flow.held[lot_class].get(own, 0)
                    for own in self.required[kit]
                    if flow.group_of(own) == group and flow.reach[own] & reached
                    for lot_class in flow.arcs[own]
                    if flow.bit[lot_class] & reached
                )
                flow.undo()
                self._refuse(kit, cell, reached | self._sets.remember(group, slack))
                return False
        flow.commit()
        return True

    def _serve_most(self, cell: int) -> None:
        """Take as much as can be had for a cell; what can't be had closes the set that refused it."""
        around = self._sets.around(cell)
        if around is None:
            return
        missing = self.flow.fill(cell, self.missing[cell])
        self.flow.commit()
        self._sets.claim(cell, around, self.missing[cell] - missing)
        self.missing[cell] = missing
        if missing:
            self._sets.remember(self.flow.group_of(cell), 0)


def _pairs(cells: Truths, kit: Integers) -> Iterator[tuple[int, int]]:
    """The chosen cells with their kits, in order."""
    chosen = np.flatnonzero(cells)
    return zip(chosen.tolist(), kit[chosen].tolist(), strict=True)
