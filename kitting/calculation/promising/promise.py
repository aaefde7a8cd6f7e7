"""From the problem to the plan of pieces: order, explanation, lots, audit."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial

import numpy as np

from kitting.calculation.promising.audit import audit, audit_least_short
from kitting.calculation.promising.cost_step import as_served, cheapest
from kitting.calculation.promising.costs import cost_of_pieces, costs_of
from kitting.calculation.promising.eligibility import eligibility
from kitting.calculation.promising.explanations import refusals
from kitting.calculation.promising.lots_by_cell import allocations
from kitting.calculation.promising.model import Problem, Promised
from kitting.calculation.promising.stand_in_caps import within_caps
from kitting.calculation.promising.tiers import serve_in_turn


def promise(problem: Problem, *, priced: bool = True) -> Promised:
    """Promise pieces to kits by the policy of the problem; see ``strict_order`` and ``tiers`` for what is proved.

    Args:
        problem: kits, cells and lots.
        priced: false leaves out the cost step: the same kits and the same pieces short, from lots at any cost.

    Raises:
        Refusal: ``audit-failed`` where the plan does not hold; it is never returned.
    """
    with without_looking_for_rings():
        promised = within_caps(problem, partial(_by_policy, priced=priced))
        audit(problem, promised)
    return promised


@contextmanager
def without_looking_for_rings() -> Iterator[None]:
    """Nothing that a plan makes refers back to itself: looking for what does, among so much, takes a tenth longer."""
    looks = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if looks:
            gc.enable()


def _by_policy(problem: Problem, *, priced: bool) -> Promised:
    eligible = eligibility(problem)
    facts = eligible.facts
    served = serve_in_turn(problem, eligible)
    order = served.order
    refused = refusals(problem, eligible, order)
    order.serve_the_rest()
    dated, buyable = facts.dated[facts.kit].tolist(), facts.buyable.tolist()
    short = {index: missing for index, missing in enumerate(order.missing) if missing and dated[index]}
    audit_least_short(eligible, order.flow)
    costs = costs_of(problem, facts)
    least = (cheapest if priced else as_served)(problem, eligible, order.flow, costs)
    return Promised(
        allocations=allocations(problem, eligible, least.held),
        bought={index: missing for index, missing in short.items() if buyable[index]},
        short=short,
        served_in_turn=tuple(order.served),
        refused=refused,
        policy=served.policy,
        status=served.status,
        bound=sum(order.served) + served.behind,
        not_kept=eligible.not_kept,
        cost=least.cost + cost_of_pieces(facts, costs, *np.array(eligible.fixed, dtype=np.int64).reshape(-1, 3).T),
        cheapest=least.proven,
    )
