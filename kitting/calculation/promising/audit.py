"""The audit: a plan is checked against the problem alone, in integers, before anyone sees it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kitting.calculation.promising.costs import cost_of_pieces, costs_of
from kitting.calculation.promising.eligibility import Eligibility
from kitting.calculation.promising.facts import Facts, Integers, Truths, facts_of
from kitting.calculation.promising.flow import Flow
from kitting.calculation.promising.model import Problem, Promised
from kitting.errors import Refusal


@dataclass(frozen=True, slots=True)
class _Pieces:
    """What a plan promises, as columns."""

    cell: Integers
    lot: Integers
    quantity: Integers


def audit(problem: Problem, promised: Promised) -> None:
    """Check stock, dates, eligibility, stand-in caps, whole kits and cost.

    Raises:
        Refusal: ``audit-failed`` with the evidence; the plan must not be used.
    """
    facts = facts_of(problem)
    pieces = _Pieces(*(np.array([one[at] for one in promised.allocations], dtype=np.int64) for at in range(3)))
    _audit_lots(problem, facts, pieces)
    short, bought = (_by_cell(facts, amounts) for amounts in (promised.short, promised.bought))
    _audit_cells(facts, pieces, short, bought)
    _audit_kits(facts, promised, short > bought)
    _audit_cost(problem, facts, pieces, promised.cost)


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


def _audit_lots(problem: Problem, facts: Facts, pieces: _Pieces) -> None:
    serves = (pieces.quantity > 0) & facts.usable(pieces.lot, pieces.cell)
    _check("a piece does not serve its kit", serves, cell=pieces.cell, lot=pieces.lot, quantity=pieces.quantity)
    places, item = facts.places(len(problem.items)), facts.lots.item[pieces.lot]
    at, is_choice = places.find(facts.choice[pieces.cell], item)
    _check("a piece is not among the line's choices", is_choice, cell=pieces.cell, lot=pieces.lot)
    used = _sums(pieces.lot, pieces.quantity, len(problem.lots))
    _check("a lot is promised twice", used <= facts.lots.quantity, lot=np.arange(len(used)), promised=used)
    stands_in = places.stands_in[at]
    stood_in = _sums(item[stands_in], pieces.quantity[stands_in], len(problem.items))
    for one, cap in (problem.stand_in_caps or {}).items():
        if stood_in[one] > cap:
            raise _failed("a stand-in is used more often than approved", item=one, promised=int(stood_in[one]))


def _audit_cells(facts: Facts, pieces: _Pieces, short: Integers, bought: Integers) -> None:
    cell, dated = np.arange(len(short)), facts.dated[facts.kit]
    have = _sums(pieces.cell, pieces.quantity, len(short))
    adds_up = (short >= 0) & (have + short == np.where(dated, facts.quantity, 0))
    _check("a piece is neither promised nor short, or both", adds_up, cell=cell, have=have, short=short)
    may_be_bought = bought == np.where(dated & facts.buyable, short, 0)
    _check("a piece counts as bought that can't be bought", may_be_bought, cell=cell, bought=bought)


def _audit_kits(facts: Facts, promised: Promised, lacks: Truths) -> None:
    lacking, refused = np.zeros_like(facts.dated), np.zeros_like(facts.dated)
    lacking[facts.kit[lacks & ~facts.spare]] = True
    refused[[reason.kit for reason in promised.refused]] = True
    served = np.array(promised.served_in_turn, dtype=bool)
    is_either = ~(served & (lacking | ~facts.dated)) & ~(facts.dated & (served == refused))
    _check("a kit is neither whole nor refused, or both", is_either, kit=np.arange(len(served)))
    for reason in promised.refused:
        if reason.missing <= 0 or reason.competing > reason.stock:
            raise _failed("a refusal's set does not add up", kit=reason.kit, missing=reason.missing)


def _audit_cost(problem: Problem, facts: Facts, pieces: _Pieces, told: int) -> None:
    counted = cost_of_pieces(facts, costs_of(problem, facts), pieces.cell, pieces.lot, pieces.quantity)
    if counted != told:
        raise _failed("the cost is not what its pieces cost", told=told, counted=counted)


def _by_cell(facts: Facts, amounts: Mapping[int, int]) -> Integers:
    return _sums(list(amounts), list(amounts.values()), len(facts.kit))


def _sums(number: Integers | list[int], quantity: Integers | list[int], most: int) -> Integers:
    """Quantities summed by number."""
    total = np.zeros(most, dtype=np.int64)
    np.add.at(total, np.asarray(number, dtype=np.int64), np.asarray(quantity, dtype=np.int64))
    return total


def _check(message: str, holds: Truths, **evidence: Integers) -> None:
    """Fail with the evidence of the first entry for which it does not hold."""
    if not holds.all():
        first = int(np.argmin(holds))
        raise _failed(message, **{name: int(column[first]) for name, column in evidence.items()})


def _failed(message: str, **evidence: int) -> Refusal:
    return Refusal("audit-failed", f"The plan failed its audit: {message}.", evidence)
