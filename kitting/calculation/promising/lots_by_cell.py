"""From classes back to lots: which lot each cell's pieces are picked from."""

from itertools import groupby
from operator import itemgetter

import numpy as np

from kitting.calculation.promising.cost_step import Held
from kitting.calculation.promising.eligibility import Eligibility, source_of
from kitting.calculation.promising.model import SHELF, Allocation, Problem

A_SET = 3_000  # thousandths of one piece for each of three phases


def allocations(problem: Problem, eligible: Eligibility, held: Held) -> tuple[Allocation, ...]:
    """Pieces by lot, in cell order; fixed ones first, then best first.

    Pieces that an earlier plan promised stay in their lot. Lots of a class are equal but for their place and a date
    that outlasts every kit: the others are picked first to expire first, from few places, in whole sets of three.
    """
    left = [lot.quantity for lot in problem.lots]
    taken: list[list[tuple[int, int, int]]] = [[] for _ in problem.cells]
    for cell, lot, quantity in eligible.fixed:
        left[lot] -= quantity
        taken[cell].append((-1, lot, quantity))
    expiry = [lot.expiry_day for lot in problem.lots]
    for lot_class, holders in groupby(_by_class(problem, eligible, held), key=itemgetter(0)):
        lots = eligible.members[lot_class]
        if len(lots) == 1:
            for _, cell, arc, quantity in holders:
                taken[cell].append((arc, lots[0], quantity))
            continue
        dates = [list(alike) for _, alike in groupby(lots, key=expiry.__getitem__)]
        in_turn = list(holders)
        kept = [_kept(problem, cell, lots, left, quantity) for _, cell, _, quantity in in_turn]
        for (_, cell, arc, quantity), picks in zip(in_turn, kept, strict=True):
            _pick(dates, left, quantity - sum(picks.values()), picks)
            taken[cell] += [(arc, lot, piece) for lot, piece in picks.items()]
    made: list[Allocation] = []
    for cell, pieces in enumerate(taken):
        depot = problem.kits[problem.cells[cell].kit].depot
        pieces.sort(key=itemgetter(0))
        for _, position, quantity in pieces:
            picked = problem.lots[position]
            source = source_of(picked, depot)
            day = problem.as_of_day if source == SHELF else picked.arrival[depot]
            made.append(Allocation(cell, position, quantity, source, day))
    return tuple(made)


def _by_class(problem: Problem, eligible: Eligibility, held: Held) -> list[list[int]]:
    """(class, cell, arc, thousandths) by class, spares last, in order of service."""
    spare = np.array([cell.spare for cell in problem.cells], dtype=bool)[held.cell]
    lot_class = eligible.targets[held.arc]
    order = np.lexsort((held.cell, spare, lot_class))
    entries = np.stack([lot_class, held.cell, held.arc, held.quantity])[:, order]
    first = np.flatnonzero(np.any(np.diff(entries[:2], prepend=-1), axis=0))
    quantities = np.add.reduceat(entries[3], first) if len(first) else entries[3]
    together: list[list[int]] = np.stack([*entries[:3, first], quantities], axis=1).tolist()
    return together


def _kept(problem: Problem, cell: int, lots: tuple[int, ...], left: list[int], quantity: int) -> dict[int, int]:
    """Lot -> thousandths of a class that an earlier plan promised the cell and that are still there."""
    picks: dict[int, int] = {}
    for lot, promised in problem.cells[cell].kept:
        piece = min(left[lot], promised, quantity) if lot in lots else 0
        if piece:
            left[lot] -= piece
            quantity -= piece
            picks[lot] = picks.get(lot, 0) + piece
    return picks


def _pick(dates: list[list[int]], left: list[int], quantity: int, picks: dict[int, int]) -> None:
    """Add lots for one cell: first to expire; among equal dates the tightest lot that holds it whole.

    Where none does, whole sets of three come out of each lot before a set is broken.
    """
    for alike in dates:
        whole = [lot for lot in alike if left[lot] >= quantity]
        best = [min(whole, key=left.__getitem__)] if whole else alike
        for step in (A_SET, 1) if quantity % A_SET == 0 and not whole else (1,):
            for lot in best:
                piece = min(left[lot], quantity) // step * step
                if piece:
                    left[lot] -= piece
                    quantity -= piece
                    picks[lot] = picks.get(lot, 0) + piece
        if not quantity:
            return
