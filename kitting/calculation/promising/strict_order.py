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

from collections import Counter
from dataclasses import dataclass

from kitting.calculation.promising.eligibility import Eligibility, is_buyable
from kitting.calculation.promising.flow import Flow
from kitting.calculation.promising.model import Problem
from kitting.calculation.promising.saturated_sets import EVERYWHERE, SaturatedSets

NO_SET = -1


@dataclass(frozen=True, slots=True)
class Reason:
    """Where a kit failed: the cell, the number of the saturated set (or NO_SET), and those of the closed sets below."""

    cell: int
    number: int
    below: frozenset[int]


class StrictOrder:
    """Kits served one after the other.

    Attributes:
        flow: who holds which pieces.
        missing: for each cell the thousandths that no real piece serves.
        served: for each kit true when it was completed in its turn.
        reasons: for each refused kit where it failed.
    """

    def __init__(self, problem: Problem, eligible: Eligibility) -> None:
        self.flow = Flow(eligible.stock, eligible.starts.tolist(), eligible.targets)
        self.sets = SaturatedSets(problem, eligible, self.flow)
        self.missing = list(eligible.need)
        self.served = [kit.dated for kit in problem.kits]
        self.reasons: dict[int, Reason] = {}
        self.required: list[list[int]] = [[] for _ in problem.kits]
        self.buyable: list[list[int]] = [[] for _ in problem.kits]
        self.spares: list[int] = []
        for index, cell in enumerate(problem.cells):
            if not self.missing[index] or not problem.kits[cell.kit].dated:
                continue
            if cell.spare:
                self.spares.append(index)
            elif is_buyable(cell, problem.kits[cell.kit]):
                self.buyable[cell.kit].append(index)
            else:
                self.required[cell.kit].append(index)
        self.spares.sort(key=lambda index: (problem.cells[index].kit, index))

    def serve_in_turn(self) -> None:
        """Complete each kit in order, or refuse it with the set that has no pieces left for it."""
        for kit, served in enumerate(self.served):
            if served:
                self._serve(kit)

    def serve_the_rest(self) -> None:
        """Give refused kits in order, then spares, what is left."""
        for kit in self.reasons:
            for cell in sorted(self.required[kit] + self.buyable[kit]):
                self._serve_most(cell)
        for cell in self.spares:
            self._serve_most(cell)

    def _serve(self, kit: int) -> None:
        required = self.required[kit]
        arcs = [self.flow.arcs(cell) for cell in required]
        masks = [self.sets.mask(usable) for usable in arcs]
        reason = self._known_reason(required, arcs, masks) or self._take(required)
        if reason:
            self.served[kit] = False
            self.reasons[kit] = reason
            return
        for cell, usable, mask in zip(required, arcs, masks, strict=True):
            self.sets.claim(usable, mask, self.missing[cell])
            self.missing[cell] = 0
        for cell in self.buyable[kit]:
            self._serve_most(cell)

    def _known_reason(self, required: list[int], arcs: list[list[int]], masks: list[int]) -> Reason | None:
        """A remembered set without room for the kit, if there is one."""
        asked: Counter[int] = Counter()
        for cell, usable, mask in zip(required, arcs, masks, strict=True):
            if mask == EVERYWHERE:
                return Reason(cell, NO_SET, frozenset(self.sets.closers(usable)))
            for number in self.sets.numbers(usable, mask):
                asked[number] += self.missing[cell]
                if asked[number] > self.sets.sets[number].slack:
                    return self._reason(cell, number, required, arcs, masks)
        return None

    def _reason(self, cell: int, number: int, required: list[int], arcs: list[list[int]], masks: list[int]) -> Reason:
        """The reason from a remembered set: with the closed sets that the kit's cells inside it border on."""
        below = set(self.sets.sets[number].below)
        for _, usable, mask in zip(required, arcs, masks, strict=True):
            if number in self.sets.numbers(usable, mask):
                below |= self.sets.closers(usable)
        return Reason(cell, number, frozenset(below))

    def _take(self, required: list[int]) -> Reason | None:
        """Take all pieces the kit requires, or nothing: then the set of full classes is remembered as the reason."""
        flow = self.flow
        for cell in required:
            if flow.fill(cell, self.missing[cell]):
                own = set(required)
                below = flow.closers()
                slack = sum(
                    held for lot_class in flow.reached_classes for by, held in flow.held[lot_class].items() if by in own
                )
                flow.undo()
                number = self.sets.remember(slack, below) if flow.reached_classes else NO_SET
                return Reason(cell, number, frozenset(below))
        flow.commit()
        return None

    def _serve_most(self, cell: int) -> None:
        """Take as much as can be had for a cell; what can't be had closes the set that refused it."""
        usable = self.flow.arcs(cell)
        mask = self.sets.mask(usable)
        if mask == EVERYWHERE:
            return
        missing = self.flow.fill(cell, self.missing[cell])
        self.flow.commit()
        if mask:
            self.sets.claim(usable, mask, self.missing[cell] - missing)
        self.missing[cell] = missing
        if missing and self.flow.reached_classes:
            self.sets.remember(0, self.flow.closers())
