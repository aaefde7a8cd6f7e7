"""From classes back to lots: which lot each cell's pieces are picked from."""

from itertools import groupby
from operator import itemgetter

import numpy as np

from kitting.calculation.promising.cost_step import Held
from kitting.calculation.promising.eligibility import Eligibility
from kitting.calculation.promising.facts import Integers
from kitting.calculation.promising.model import SHELF, Allocation, Problem
from kitting.calculation.promising.usable import SOURCES

A_SET = 3_000  # thousandths of one piece for each of three phases


def allocations(problem: Problem, eligible: Eligibility, held: Held) -> tuple[Allocation, ...]:
    """Pieces by lot, in cell order; fixed ones first, then best first.

    Pieces that an earlier plan promised stay in their lot. Lots of a class are equal but for their place and a date
    that outlasts every kit: the others are picked first to expire first, from few places, in whole sets of three.
    """
    facts, lots = eligible.facts, eligible.facts.lots
    fixed = np.array(eligible.fixed, dtype=np.int64).reshape(-1, 3)
    held_by = _by_class(eligible, held)
    sizes = np.array([len(members) for members in eligible.members], dtype=np.int64)
    alone = sizes[held_by[:, 0]] == 1
    only = np.array([members[0] for members in eligible.members], dtype=np.int64)[held_by[alone, 0]]
    picked = np.concatenate(
        [
            np.stack([fixed[:, 0], np.full(len(fixed), -1), fixed[:, 1], fixed[:, 2]], axis=1),
            np.stack([*held_by[alone, 1:3].T, only, held_by[alone, 3]], axis=1),
            _picked(problem, eligible, held_by[~alone].tolist()),
        ]
    )
    cell, _, lot, quantity = picked[np.lexsort((picked[:, 1], picked[:, 0]))].T
    depot = facts.depot[cell]
    source = lots.source[lot, depot]
    day = np.where(source == SOURCES.index(SHELF), problem.as_of_day, lots.arrival[lot, depot])
    named = np.array(SOURCES, dtype=object)[source]
    columns = (column.tolist() for column in (cell, lot, quantity, named, day))
    return tuple(map(Allocation._make, zip(*columns, strict=True)))


def _picked(problem: Problem, eligible: Eligibility, held_by: list[list[int]]) -> Integers:
    """(cell, arc, lot, thousandths) of what cells hold of classes with several lots."""
    left = eligible.facts.lots.quantity.copy()
    for _, lot, quantity in eligible.fixed:
        left[lot] -= quantity
    expiry = eligible.facts.lots.expiry.tolist()
    free: list[int] = left.tolist()
    taken: list[tuple[int, int, int, int]] = []
    for lot_class, holders in groupby(held_by, key=itemgetter(0)):
        lots = eligible.members[lot_class]
        dates = [list(alike) for _, alike in groupby(lots, key=expiry.__getitem__)]
        in_turn = list(holders)
        kept = [_kept(problem, cell, lots, free, quantity) for _, cell, _, quantity in in_turn]
        for (_, cell, arc, quantity), picks in zip(in_turn, kept, strict=True):
            _pick(dates, free, quantity - sum(picks.values()), picks)
            taken += [(cell, arc, lot, piece) for lot, piece in picks.items()]
    return np.array(taken, dtype=np.int64).reshape(-1, 4)


def _by_class(eligible: Eligibility, held: Held) -> Integers:
    """(class, cell, arc, thousandths) by class, spares last, in order of service."""
    lot_class = eligible.targets[held.arc]
    order = np.lexsort((held.cell, eligible.facts.spare[held.cell], lot_class))
    entries = np.stack([lot_class, held.cell, held.arc, held.quantity])[:, order]
    first = np.flatnonzero(np.any(np.diff(entries[:2], prepend=-1), axis=0))
    quantities = np.add.reduceat(entries[3], first) if len(first) else entries[3]
    together: Integers = np.stack([*entries[:3, first], quantities], axis=1)
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
