"""From the problem to the plan of pieces: order, explanation, lots, audit."""

from functools import partial

from kitting.calculation.promising.audit import audit, audit_least_short
from kitting.calculation.promising.cost_step import as_served, cheapest
from kitting.calculation.promising.costs import cost_of_pieces, costs_of
from kitting.calculation.promising.eligibility import eligibility, is_buyable
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
    promised = within_caps(problem, partial(_by_policy, priced=priced))
    audit(problem, promised)
    return promised


def _by_policy(problem: Problem, *, priced: bool) -> Promised:
    eligible = eligibility(problem)
    served = serve_in_turn(problem, eligible)
    order = served.order
    refused = refusals(problem, eligible, order)
    order.serve_the_rest()
    short = {
        index: order.missing[index]
        for index, cell in enumerate(problem.cells)
        if order.missing[index] and problem.kits[cell.kit].dated
    }
    audit_least_short(eligible, order.flow)
    costs = costs_of(problem)
    least = (cheapest if priced else as_served)(problem, eligible, order.flow, costs)
    return Promised(
        allocations=allocations(problem, eligible, least.held),
        bought={
            index: missing
            for index, missing in short.items()
            if is_buyable(problem.cells[index], problem.kits[problem.cells[index].kit])
        },
        short=short,
        served_in_turn=tuple(order.served),
        refused=refused,
        policy=served.policy,
        status=served.status,
        bound=sum(order.served) + served.behind,
        not_kept=eligible.not_kept,
        cost=least.cost + cost_of_pieces(problem, eligible.fixed, costs),
        cheapest=least.proven,
    )
