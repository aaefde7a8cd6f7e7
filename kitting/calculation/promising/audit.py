"""The audit: a plan is checked against the problem alone, in integers, before anyone sees it."""

from collections import Counter

import numpy as np

from kitting.calculation.promising.costs import cost_of_pieces, costs_of
from kitting.calculation.promising.eligibility import Eligibility, is_buyable, is_usable
from kitting.calculation.promising.flow import Flow
from kitting.calculation.promising.model import Problem, Promised
from kitting.errors import Refusal


def audit(problem: Problem, promised: Promised) -> None:
    """Check stock, dates, eligibility, stand-in caps, whole kits and cost.

    Raises:
        Refusal: ``audit-failed`` with the evidence; the plan must not be used.
    """
    _audit_lots(problem, promised)
    _audit_cells(problem, promised)
    _audit_kits(problem, promised)
    _audit_cost(problem, promised)


def audit_least_short(eligible: Eligibility, flow: Flow) -> None:
    """Check that no plan has fewer pieces short: the pieces served are as many as a cut of the network lets through.

    The closed classes are one side of the cut: cells that can use nothing else share their stock, all others are
    served. By "A theorem on flows in networks" (Pacific Journal of Mathematics 7 (1957) 1073-1082, title from memory)
    no plan serves more.

    Raises:
        Refusal: ``audit-failed`` with both totals.
    """
    closed = np.array([not flow.open[group] & bit for group, bit in zip(flow.group, flow.bit, strict=True)], dtype=bool)
    leaves = np.concatenate(([0], np.cumsum(~closed[eligible.targets])))
    confined = (leaves[eligible.starts[1:]] == leaves[eligible.starts[:-1]])[eligible.shape]
    need = np.array(eligible.need, dtype=np.int64)
    cut = int(need[~confined].sum()) + int(np.array(eligible.stock, dtype=np.int64)[closed].sum())
    served = sum(sum(holders.values()) for holders in flow.held)
    if served != cut:
        raise _failed("the pieces short are not the least possible", served=served, cut=cut)


def _audit_lots(problem: Problem, promised: Promised) -> None:
    used: Counter[int] = Counter()
    stood_in: Counter[int] = Counter()
    for piece in promised.allocations:
        cell, lot = problem.cells[piece.cell], problem.lots[piece.lot]
        used[piece.lot] += piece.quantity
        if piece.quantity <= 0 or not is_usable(lot, problem.kits[cell.kit], cell.kit):
            raise _failed("a piece does not serve its kit", cell=piece.cell, lot=piece.lot, quantity=piece.quantity)
        if lot.item not in cell.options:
            if lot.item not in cell.stand_ins:
                raise _failed("a piece is not among the line's choices", cell=piece.cell, lot=piece.lot)
            stood_in[lot.item] += piece.quantity
    for position, quantity in used.items():
        if quantity > problem.lots[position].quantity:
            raise _failed("a lot is promised twice", lot=position, promised=quantity)
    for item, cap in (problem.stand_in_caps or {}).items():
        if stood_in[item] > cap:
            raise _failed("a stand-in is used more often than approved", item=item, promised=stood_in[item])


def _audit_cells(problem: Problem, promised: Promised) -> None:
    held: Counter[int] = Counter()
    for piece in promised.allocations:
        held[piece.cell] += piece.quantity
    for index, cell in enumerate(problem.cells):
        dated = problem.kits[cell.kit].dated
        short, bought = promised.short.get(index, 0), promised.bought.get(index, 0)
        if short < 0 or held[index] + short != (cell.quantity if dated else 0):
            raise _failed("a piece is neither promised nor short, or both", cell=index, have=held[index], short=short)
        if bought != (short if dated and is_buyable(cell, problem.kits[cell.kit]) else 0):
            raise _failed("a piece counts as bought that can't be bought", cell=index, bought=bought)


def _audit_kits(problem: Problem, promised: Promised) -> None:
    lacking = set()
    for index, short in promised.short.items():
        if short > promised.bought.get(index, 0) and not problem.cells[index].spare:
            lacking.add(problem.cells[index].kit)
    refused = {reason.kit for reason in promised.refused}
    for kit, served in enumerate(promised.served_in_turn):
        dated = problem.kits[kit].dated
        if (served and (kit in lacking or not dated)) or (dated and served == (kit in refused)):
            raise _failed("a kit is neither whole nor refused, or both", kit=kit)
    for reason in promised.refused:
        if reason.missing <= 0 or reason.competing > reason.stock:
            raise _failed("a refusal's set does not add up", kit=reason.kit, missing=reason.missing)


def _audit_cost(problem: Problem, promised: Promised) -> None:
    pieces = ((piece.cell, piece.lot, piece.quantity) for piece in promised.allocations)
    counted = cost_of_pieces(problem, pieces, costs_of(problem))
    if counted != promised.cost:
        raise _failed("the cost is not what its pieces cost", told=promised.cost, counted=counted)


def _failed(message: str, **evidence: int) -> Refusal:
    return Refusal("audit-failed", f"The plan failed its audit: {message}.", evidence)
