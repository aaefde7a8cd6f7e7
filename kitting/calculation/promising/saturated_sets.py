"""Remembered saturated sets: classes of pieces that kits served in turn have claimed, and what they leave.

A failed search leaves a set of full classes that is closed: every cell that holds its pieces can use nothing outside
it. By Hall's condition ("On representatives of subsets", Journal of the London Mathematical Society 10 (1935) 26-30,
title from memory) such cells can together have no more than the set's stock. So a set answers three questions without
a new search: that a kit can't be completed (its cells inside the set ask for more than the slack), that a class is
closed for good (slack 0), and why a kit was refused.
"""

from dataclasses import dataclass

from kitting.calculation.promising.flow import Flow, bits_of


@dataclass(slots=True, eq=False)
class SaturatedSet:
    """A closed set of classes of one group, as bits.

    Args:
        bits: the classes, all of them full when the set was found.
        slack: thousandths of their stock that served cells with no open choice outside the set don't claim.
        below: classes closed before that such cells border on, with all that those lean on in turn.
    """

    bits: int
    slack: int
    below: int


class SaturatedSets:
    """The live sets (those with slack) of each group, and for each closed class the whole set that closed it.

    Attributes:
        known: whether any set was ever remembered.
    """

    def __init__(self, flow: Flow) -> None:
        self.known = False
        self._flow = flow
        self._live: list[list[SaturatedSet]] = [[] for _ in flow.classes]
        self._whole = [0] * len(flow.group)

    def around(self, cell: int) -> list[SaturatedSet] | None:
        """Live sets whose classes are the only open ones that a cell may use; None where nothing is open."""
        arcs = self._flow.arcs[cell]
        if not arcs:
            return None
        group = self._flow.group[arcs[0]]
        usable = self._flow.reach[cell] & self._flow.open[group]
        return [live for live in self._live[group] if not usable & ~live.bits] if usable else None

    def whole(self, group: int, bits: int) -> int:
        """Classes with all that the closed ones among them lean on; what these lean on is among it already."""
        classes = self._flow.classes[group]
        closed = bits & ~self._flow.open[group]
        while closed:
            leaning = self._whole[classes[closed.bit_length() - 1]]
            bits |= leaning
            closed &= ~leaning
        return bits

    def below(self, cell: int) -> int:
        """The closed classes among those that a cell may use, with all that they lean on."""
        group = self._flow.group_of(cell)
        return self.whole(group, self._flow.reach[cell] & ~self._flow.open[group])

    def remember(self, group: int, slack: int) -> int:
        """Keep the set that the last failed search left; the closed classes below it, with all that they lean on."""
        self.known = True
        below = self.whole(group, self._flow.bordering & ~self._flow.open[group])
        found = SaturatedSet(self._flow.reached & self._flow.open[group], slack, below)
        if slack:
            self._live[group].append(found)
        else:
            self._close(group, found)
        return below

    def claim(self, cell: int, around: list[SaturatedSet], quantity: int) -> None:
        """Note that a cell with these sets around it holds pieces for good; a set without slack closes its classes."""
        for live in around:
            live.below |= self.below(cell)
            live.slack -= quantity
            if not live.slack:
                group = self._flow.group_of(cell)
                self._live[group].remove(live)
                self._close(group, live)

    def _close(self, group: int, found: SaturatedSet) -> None:
        whole = self.whole(group, found.bits | found.below)
        closing = found.bits & self._flow.open[group]
        self._flow.open[group] ^= closing
        for position in bits_of(closing):
            self._whole[self._flow.classes[group][position]] = whole
