"""From classes back to lots: which lot each cell's pieces are picked from."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from kitting.calculation.promising.eligibility import Eligibility, source_of
from kitting.calculation.promising.model import SHELF, Allocation, Problem

A_SET = 3_000  # thousandths of one piece for each of three phases


def allocations(
    problem: Problem, eligible: Eligibility, arcs: Sequence[Sequence[int]], held: Sequence[Mapping[int, int]]
) -> tuple[Allocation, ...]:
    """Pieces by lot, in cell order; fixed ones first, then best first.

    Args:
        problem: the kits, cells and lots.
        eligible: the classes of the lots.
        arcs: for each cell its usable classes, best first.
        held: for each class the thousandths by cell.

    Pieces that an earlier plan promised stay in their lot. Lots of a class are equal but for their place and a date
    that outlasts every kit: the others are picked first to expire first, from few places, in whole sets of three.
    """
    left = {lot: problem.lots[lot].quantity for lots in eligible.members for lot in lots}
    taken: list[list[tuple[int, int, int]]] = [[] for _ in problem.cells]
    for cell, lot, quantity in eligible.fixed:
        left[lot] -= quantity
        taken[cell].append((-1, lot, quantity))
    for lot_class, holders in enumerate(held):
        lots = eligible.members[lot_class]
        in_turn = sorted(holders, key=lambda cell: (problem.cells[cell].spare, cell))
        kept = {cell: _kept(problem, cell, lots, left, holders[cell]) for cell in in_turn}
        for cell in in_turn:
            picks = kept[cell]
            for lot, quantity in _picks(problem, lots, left, holders[cell] - sum(picks.values())).items():
                picks[lot] = picks.get(lot, 0) + quantity
            taken[cell] += [(lot_class, lot, quantity) for lot, quantity in picks.items()]
    made: list[Allocation] = []
    for cell, pieces in enumerate(taken):
        if len(pieces) > 1:
            rank = {lot_class: place for place, lot_class in enumerate([-1, *arcs[cell]])}
            pieces.sort(key=lambda piece: rank[piece[0]])
        made.extend(_allocation(problem, cell, lot, quantity) for _, lot, quantity in pieces)
    return tuple(made)


def _kept(problem: Problem, cell: int, lots: tuple[int, ...], left: dict[int, int], quantity: int) -> dict[int, int]:
    """Lot -> thousandths of a class that an earlier plan promised the cell and that are still there."""
    picks: dict[int, int] = {}
    for lot, promised in problem.cells[cell].kept:
        piece = min(left[lot], promised, quantity) if lot in lots else 0
        if piece:
            left[lot] -= piece
            quantity -= piece
            picks[lot] = picks.get(lot, 0) + piece
    return picks


def _picks(problem: Problem, lots: tuple[int, ...], left: dict[int, int], quantity: int) -> dict[int, int]:
    """Lot -> thousandths for one cell: first to expire; among equal dates the tightest lot that holds it whole.

    Where none does, whole sets of three come out of each lot before a set is broken.
    """
    picks: dict[int, int] = {}

    def take(lot: int, most: int) -> None:
        nonlocal quantity
        if most:
            left[lot] -= most
            quantity -= most
            picks[lot] = picks.get(lot, 0) + most

    for alike in _by_date(problem, lots, left) if quantity else ():
        whole = [lot for lot in alike if left[lot] >= quantity]
        if whole:
            take(min(whole, key=left.__getitem__), quantity)
        for step in (A_SET, 1) if quantity % A_SET == 0 else (1,):
            for lot in alike:
                take(lot, min(left[lot], quantity) // step * step)
        if not quantity:
            break
    return picks


def _by_date(problem: Problem, lots: tuple[int, ...], left: dict[int, int]) -> Iterator[list[int]]:
    """Lots that still hold something, those of one last good day together, in walk order."""
    holding = (lot for lot in lots if left[lot])
    return (list(alike) for _, alike in groupby(holding, key=lambda lot: problem.lots[lot].expiry_day))


def _allocation(problem: Problem, cell: int, lot: int, quantity: int) -> Allocation:
    depot = problem.kits[problem.cells[cell].kit].depot
    source = source_of(problem.lots[lot], depot)
    day = problem.as_of_day if source == SHELF else problem.lots[lot].arrival[depot]
    return Allocation(cell=cell, lot=lot, quantity=quantity, source=source, ready_day=day)
