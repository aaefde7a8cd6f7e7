"""Pieces of lot classes held by cells: taking free ones, and re-routing held ones along augmenting paths.

An augmenting path never lowers what a cell already holds: it only changes which class the pieces come from. This is the
step of the maximum-flow method of "Maximal flow through a network", Canadian Journal of Mathematics 8 (1956) 399-404
(title from memory), shortest path first.

Classes that one cell may use belong to one group; inside a group each class is a bit, and the classes that a cell may
use are the bits of one integer, so that a search looks at a cell's classes all at once. Cells of one shape share their
list and integer.
"""

from collections.abc import Iterator, Sequence

UNKNOWN = -1  # all bits: adding to it leaves it as it is
START = -1  # in place of a class: the cell whose search it is


def bits_of(number: int) -> Iterator[int]:
    """Positions of the bits of an integer, lowest first."""
    while number:
        low = number & -number
        yield low.bit_length() - 1
        number ^= low


class Flow:
    """Who holds which pieces.

    Attributes:
        arcs: for each cell its usable classes, best first.
        reach: for each cell the same as bits.
        group: for each class its group.
        bit: for each class its bit, a power of two.
        classes: for each group its classes, in the order of their bits.
        room: for each class the free thousandths.
        held: for each class the thousandths by cell.
        free: for each group the bits of classes with room.
        open: for each group the bits of classes that no saturated set closes for good.
        reached: bits of the classes that the last failed search went through, all of them full.
        bordering: bits of all classes that the holders of these, and the cell that asked, may use.
    """

    def __init__(self, stock: Sequence[int], group: list[int], shapes: list[list[int]], shape: Sequence[int]) -> None:
        """Nothing is held yet; cell c may use the classes ``shapes[shape[c]]``, best first."""
        self.arcs = [shapes[number] for number in shape]
        self.group = group
        self.classes: list[list[int]] = [[] for _ in range(max(group, default=-1) + 1)]
        self.bit: list[int] = []
        for lot_class, number in enumerate(group):
            self.bit.append(1 << len(self.classes[number]))
            self.classes[number].append(lot_class)
        bit_of = self.bit.__getitem__
        reaches = [sum(map(bit_of, usable)) for usable in shapes]
        self.reach = [reaches[number] for number in shape]
        self.room = list(stock)
        self.held: list[dict[int, int]] = [{} for _ in stock]
        self.open = [(1 << len(classes)) - 1 for classes in self.classes]
        self.free = [sum(self.bit[one] for one in classes if stock[one]) for classes in self.classes]
        self.reached = self.bordering = 0
        self._leads = [0] * len(group)  # bits of the classes that the holders of a class may use, or UNKNOWN
        self._found: list[tuple[int, int]] = []  # by the last search: a class, and the bits that it led to first
        self._log: list[tuple[int, int, int]] = []

    def group_of(self, cell: int) -> int:
        """The group of a cell that may use something."""
        return self.group[self.arcs[cell][0]]

    def holding(self, cell: int) -> int:
        """Thousandths that a cell holds."""
        return sum(self.held[lot_class].get(cell, 0) for lot_class in self.arcs[cell])

    def release(self, cell: int) -> None:
        """Give back all that a cell holds."""
        held = self.held
        for lot_class in [one for one in self.arcs[cell] if cell in held[one]]:
            self._take(lot_class, cell, -held[lot_class][cell])

    def commit(self) -> None:
        """Keep everything taken since the last commit."""
        self._log.clear()

    def undo(self) -> None:
        """Give back everything taken since the last commit."""
        for lot_class, cell, quantity in self._log[::-1]:
            self._take(lot_class, cell, -quantity)
        self._log.clear()

    def fill(self, cell: int, quantity: int) -> int:
        """Take up to ``quantity`` for a cell, re-routing others where needed; the thousandths still missing."""
        missing = quantity
        arcs, room = self.arcs[cell], self.room
        if not arcs:
            return missing
        if self.reach[cell] & self.free[self.group[arcs[0]]]:
            for lot_class in arcs:
                free = room[lot_class]
                if free:
                    taken = min(free, missing)
                    self._take(lot_class, cell, taken)
                    missing -= taken
                    if not missing:
                        return 0
        while missing:
            target, source = self._search(cell)
            if target == START:
                break
            missing -= self._push(cell, target, source, missing)
        return missing

    def _take(self, lot_class: int, cell: int, quantity: int) -> None:
        self._log.append((lot_class, cell, quantity))
        room = self.room[lot_class] = self.room[lot_class] - quantity
        group, bit = self.group[lot_class], self.bit[lot_class]
        if room:
            self.free[group] |= bit
        else:
            self.free[group] &= ~bit
        holders = self.held[lot_class]
        holding = holders.get(cell, 0) + quantity
        if holding:
            holders[cell] = holding
            self._leads[lot_class] |= self.reach[cell]
        else:
            del holders[cell]
            self._leads[lot_class] = UNKNOWN

    def _search(self, start: int) -> tuple[int, int]:
        """The nearest class with free pieces that re-routing can reach, and the class before it; (START, START): none.

        The way back is left in the found-list.
        """
        group = self.group_of(start)
        classes, free, unseen = self.classes[group], self.free[group], self.open[group]
        source, leads, bordering = START, self.reach[start], 0
        layer = after = 0
        found = self._found = []
        while True:
            new = leads & unseen
            if new:
                if new & free:
                    arcs = self.arcs[start if source == START else self._holder(source, new & free)]
                    return next(one for one in arcs if self.bit[one] & new & free), source
                unseen ^= new
                after |= new
                found.append((source, new))
            bordering |= leads
            if not layer:
                if not after:
                    self.reached, self.bordering = self.open[group] & ~unseen, bordering
                    return START, START
                layer, after = after, 0
            low = layer & -layer
            layer ^= low
            source = classes[low.bit_length() - 1]
            leads = self._leads[source]
            if leads == UNKNOWN:
                leads = 0
                for cell in self.held[source]:
                    leads |= self.reach[cell]
                self._leads[source] = leads

    def _holder(self, lot_class: int, wanted: int) -> int:
        """The first that holds pieces of a class and may use one of the wanted classes instead."""
        return next(cell for cell in self.held[lot_class] if self.reach[cell] & wanted)

    def _push(self, start: int, target: int, source: int, wanted: int) -> int:
        """Re-route along the path found by the last search; the thousandths won."""
        path = []
        amount = min(wanted, self.room[target])
        while source != START:
            cell = self._holder(source, self.bit[target])
            amount = min(amount, self.held[source][cell])
            path.append((target, source, cell))
            bit, target = self.bit[source], source
            source = next(before for before, bits in reversed(self._found) if bits & bit)
        for to, source, cell in path:
            self._take(source, cell, -amount)
            self._take(to, cell, amount)
        self._take(target, start, amount)
        return amount
