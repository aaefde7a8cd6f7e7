"""Pieces of lot classes held by cells: taking free ones, and re-routing held ones along augmenting paths.

An augmenting path never lowers what a cell already holds: it only changes which class the pieces come from. This is the
step of the maximum-flow method of "Maximal flow through a network", Canadian Journal of Mathematics 8 (1956) 399-404
(title from memory), shortest path first.

Cells that may use the same classes are of one shape: for where a path can lead it does not matter which of them gives a
piece up. So a search goes through shapes, not cells, and costs at most one look at each (shape, class) pair it reaches.
"""

from itertools import pairwise

from kitting.calculation.promising.eligibility import Positions

OPEN = -1  # a class that no saturated set closes


class Flow:
    """Who holds which pieces.

    Attributes:
        room: for each class the free thousandths.
        held: for each class the thousandths by cell.
        closed_by: for each class the number of the saturated set that closes it for good, or OPEN.
        reached_cells: one cell of each shape the last failed search went through, the asking cell first.
        reached_classes: classes it went through, all of them full.
    """

    def __init__(self, stock: list[int], starts: list[int], targets: Positions) -> None:
        """Nothing is held yet; cell c may use classes ``targets[starts[c]:starts[c + 1]]``, best first."""
        classes, cells = len(stock), len(starts) - 1
        self.room = list(stock)
        self.held: list[dict[int, int]] = [{} for _ in stock]
        self.closed_by = [OPEN] * classes
        self.reached_cells: list[int] = []
        self.reached_classes: list[int] = []
        self._arcs, self._shape = _shapes(starts, targets)
        self._shapes_at: list[dict[int, dict[int, None]]] = [{} for _ in stock]
        self._seen_class = [0] * classes
        self._seen_shape = [0] * len(self._arcs)
        self._from_cell = [0] * classes
        self._from_class = [0] * cells
        self._searches = 0
        self._log: list[tuple[int, int, int]] = []

    def arcs(self, cell: int) -> list[int]:
        """Usable classes of a cell, best first."""
        return self._arcs[self._shape[cell]]

    def commit(self) -> None:
        """Keep everything taken since the last commit."""
        self._log.clear()

    def undo(self) -> None:
        """Give back everything taken since the last commit."""
        log, self._log = self._log, []
        for lot_class, cell, quantity in reversed(log):
            self._move(lot_class, cell, -quantity)
        self._log.clear()

    def fill(self, cell: int, quantity: int) -> int:
        """Take up to ``quantity`` for a cell, re-routing others where needed; the thousandths still missing."""
        missing = quantity
        room = self.room
        for lot_class in self.arcs(cell):
            free = room[lot_class]
            if free:
                taken = min(free, missing)
                self._move(lot_class, cell, taken)
                missing -= taken
                if not missing:
                    return 0
        while missing:
            free_class = self._search(cell)
            if free_class < 0:
                break
            missing -= self._push(cell, free_class, missing)
        return missing

    def closers(self) -> set[int]:
        """Numbers of the closed sets that border on the cells of the last failed search."""
        closed_by = self.closed_by
        return {closed_by[lot_class] for cell in self.reached_cells for lot_class in self.arcs(cell)} - {OPEN}

    def _move(self, lot_class: int, cell: int, quantity: int) -> None:
        self._log.append((lot_class, cell, quantity))
        self.room[lot_class] -= quantity
        holders = self.held[lot_class]
        holding = holders.get(cell, 0) + quantity
        alike = self._shapes_at[lot_class].setdefault(self._shape[cell], {})
        if holding:
            holders[cell] = holding
            alike[cell] = None
        else:
            del holders[cell], alike[cell]

    def _search(self, start: int) -> int:
        """The nearest class with free pieces that re-routing can reach, or -1; paths are left in the from-lists."""
        self._searches = stamp = self._searches + 1
        seen_class, seen_shape, closed_by = self._seen_class, self._seen_shape, self.closed_by
        seen_shape[self._shape[start]] = stamp
        self.reached_cells = queue = [start]
        self.reached_classes = classes = []
        for cell in queue:
            for lot_class in self.arcs(cell):
                if seen_class[lot_class] == stamp or closed_by[lot_class] >= 0:
                    continue
                seen_class[lot_class] = stamp
                self._from_cell[lot_class] = cell
                if self.room[lot_class]:
                    return lot_class
                classes.append(lot_class)
                for shape, alike in self._shapes_at[lot_class].items():
                    if alike and seen_shape[shape] != stamp:
                        seen_shape[shape] = stamp
                        holder = next(iter(alike))
                        self._from_class[holder] = lot_class
                        queue.append(holder)
        return -1

    def _push(self, start: int, free_class: int, wanted: int) -> int:
        """Re-route along the path found by the last search; the thousandths won."""
        path = []
        amount = min(wanted, self.room[free_class])
        lot_class = free_class
        while (cell := self._from_cell[lot_class]) != start:
            source = self._from_class[cell]
            amount = min(amount, self.held[source][cell])
            path.append((lot_class, source, cell))
            lot_class = source
        for target, source, cell in path:
            self._move(source, cell, -amount)
            self._move(target, cell, amount)
        self._move(lot_class, start, amount)
        return amount


def _shapes(starts: list[int], targets: Positions) -> tuple[list[list[int]], list[int]]:
    """The distinct lists of usable classes, and for each cell the number of its list."""
    numbers: dict[bytes, int] = {}
    arcs: list[list[int]] = []
    shape = []
    for low, high in pairwise(starts):
        usable = targets[low:high]
        number = numbers.setdefault(usable.tobytes(), len(arcs))
        if number == len(arcs):
            arcs.append(usable.tolist())
        shape.append(number)
    return arcs, shape
