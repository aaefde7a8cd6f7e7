"""What a person can do so that a kit is completed, as changes of the promising problem.

Every move but a later cutover brings pieces to one kit, and to no other: they are kept for it, at its depot.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from kitting.calculation.promising.model import NEVER, Cell, Kit, Lot, Problem

BUY = "buy"
TRANSFER = "transfer"
TRUCK = "take from a truck"
RESERVE = "release from reserve"
STAND_IN = "approve a stand-in"
HURRY = "hurry an open order"
EXPEDITE = "buy sooner than the lead time"
SLIP = "slip the cutover"
SWAP = "swap"
BORROW = "borrow"
FROM_OTHERS = (SWAP, BORROW)

# Least effort first (common practice): pieces on a shelf that change jobs cost a note; what is bought, moved or
# released in time a form; a stand-in a person's judgement; a supplier must agree to be sooner; a slip costs the outage;
# what is borrowed lies in the bag of another job, which must be opened again for it.
EFFORT = (SWAP, BUY, TRANSFER, TRUCK, RESERVE, STAND_IN, HURRY, EXPEDITE, SLIP, BORROW)


@dataclass(frozen=True, slots=True)
class Move:
    """One thing to do for a kit.

    Args:
        kind: one of EFFORT.
        item: the stock code whose pieces come, -1 for a slip.
        quantity: thousandths; of a candidate, the most there are.
        day: the day by which the pieces must be at the kit's depot (``to``); for a slip the day of the new cutover.
        depot: where the pieces lie or land now, -1 where they are still to be bought.
        lots: (position in ``Problem.lots``, most thousandths) that the pieces are taken from, first to be taken first.
        lender: the kit that holds the pieces, or -1.
        cells: cells of the kit that a stand-in would serve.
        to: the depot that the pieces come to, where the kit has several, else -1.
    """

    kind: str
    item: int
    quantity: int
    day: int
    depot: int = -1
    lots: tuple[tuple[int, int], ...] = ()
    lender: int = -1
    cells: tuple[int, ...] = ()
    to: int = -1


@dataclass(frozen=True, slots=True)
class Slip:
    """A kit with a later cutover: its new dates, how many of the other kits come before it then, the cutover's day."""

    kit: Kit
    place: int
    cutover_day: int


class Part:
    """Some cells of a problem with the lots that they might use, as a problem of its own."""

    def __init__(self, problem: Problem, cells: Mapping[int, Cell], lots: Sequence[int]) -> None:
        """``cells`` by their position in the problem, ``lots`` as positions, both in rising order."""
        self.cells, self.lots = tuple(cells), tuple(lots)
        self._cell_places = {cell: place for place, cell in enumerate(cells)}
        self._lot_places = {lot: place for place, lot in enumerate(lots)}
        self.problem = replace(
            problem,
            cells=tuple(self._cell(cell) for cell in cells.values()),
            lots=tuple(problem.lots[lot] for lot in lots),
        )

    def _cell(self, cell: Cell) -> Cell:
        places = self._lot_places
        return replace(cell, fixed=tuple((places[lot], pieces) for lot, pieces in cell.fixed if lot in places), kept=())

    def changed(self, kit: int, moves: Sequence[Move]) -> Problem:
        """The problem after these moves (no slip among them) for a kit."""
        problem, gone, lent = self.problem, Counter[int](), Counter[tuple[int, int]]()
        brought = []
        for move in moves:
            left = move.quantity
            for lot, most in move.lots:
                taken = min(left, most)
                if lot in self._lot_places:  # another move may have taken from it
                    place = self._lot_places[lot]
                    taken = min(taken, problem.lots[place].quantity - gone[place])
                    gone[place] += taken
                    lent[move.lender, place] += taken
                left -= taken
            brought.append(replace(move, quantity=move.quantity - left if move.lots else move.quantity))
        lots = [
            replace(lot, quantity=lot.quantity - gone[place]) if gone[place] else lot
            for place, lot in enumerate(problem.lots)
        ]
        items = list(problem.items)
        cells = [_without(cell, lent) if cell.fixed else cell for cell in problem.cells]
        for move in brought:
            item = move.item
            if move.cells:  # only the pieces that are approved stand in: they are an item of their own
                item = len(items)
                items.append(problem.items[move.item])
            for place in (self._cell_places[cell] for cell in move.cells):
                cells[place] = replace(cells[place], stand_ins=(*cells[place].stand_ins, item))
            if move.quantity:
                lots.append(_brought(problem, kit, replace(move, item=item), len(lots)))
        return replace(problem, cells=tuple(cells), lots=tuple(lots), items=tuple(items))


def _brought(problem: Problem, kit: int, move: Move, key: int) -> Lot:
    """The pieces of a move, in time at the depot of the kit and kept for it."""
    depot = problem.kits[kit].at(move.to).depot
    return Lot(
        item=move.item,
        depot=depot,
        quantity=move.quantity,
        ready_day=problem.as_of_day,
        expiry_day=NEVER,
        arrival=tuple(problem.as_of_day if other == depot else NEVER for other in range(len(problem.depots))),
        only_kit=kit,
        own_depot_only=True,
        is_order=False,
        walk=key,
        key=key,
    )


def _without(cell: Cell, lent: Counter[tuple[int, int]]) -> Cell:
    """The cell without those fixed pieces that its kit lends."""
    fixed = []
    for lot, pieces in cell.fixed:
        given = min(pieces, lent[cell.kit, lot])
        lent[cell.kit, lot] -= given
        if given < pieces:
            fixed.append((lot, pieces - given))
    return replace(cell, fixed=tuple(fixed))


def slipped(problem: Problem, kit: int, slip: Slip) -> tuple[Problem, list[int]]:
    """The problem with a kit's cutover moved, and for each kit its new place in the order of service."""
    order = [other for other in range(len(problem.kits)) if other != kit]
    order.insert(slip.place, kit)
    places = [0] * len(order)
    for place, other in enumerate(order):
        places[other] = place
    moved = replace(
        problem,
        kits=tuple(slip.kit if other == kit else problem.kits[other] for other in order),
        cells=tuple(replace(cell, kit=places[cell.kit]) for cell in problem.cells),
        lots=tuple(replace(lot, only_kit=places[lot.only_kit]) if lot.only_kit >= 0 else lot for lot in problem.lots),
    )
    return moved, places
