"""The order of service: strict, or in tiers of weeks in which the kits with the greatest weight go together.

Tiers are cut by staged-by day, so many days each from the as-of day on; what is due before it belongs to the first. A
tier is served before the next one begins. Inside a tier a kit may give way to others that weigh more; each chosen kit
first gets its required pieces, then in order the real ones of those that can be bought.
"""

from dataclasses import dataclass

from kitting.calculation.promising.choosing import Choice, NoProposal
from kitting.calculation.promising.eligibility import Eligibility
from kitting.calculation.promising.model import NEVER, Problem
from kitting.calculation.promising.strict_order import StrictOrder

WEIGHTS = {1: 4, 2: 2}  # of a kit by the priority of its job; every other priority, and none, weighs 1
DAYS_A_WEEK = 7
STRICT = "strict order"  # the name of the default policy


@dataclass(frozen=True, slots=True)
class Served:
    """Kits served in turn: the order with the flow, the policy used, and how far from the best it may be.

    ``behind`` is the weight by which a better choice of kits could win, over all tiers; 0: proven.
    """

    order: StrictOrder
    policy: str
    behind: int

    @property
    def status(self) -> str:
        """``proven``, or how many kits of weight 1 a better choice could win."""
        return f"at most {self.behind} kits from best" if self.behind else "proven"


def weight_of(priority: int) -> int:
    """Weight of a kit inside its tier."""
    return WEIGHTS.get(priority, 1)


def serve_in_turn(problem: Problem, eligible: Eligibility) -> Served:
    """Serve all kits by the policy of the problem; without an answer from the solver, in strict order."""
    policy = STRICT
    if problem.tier_days:
        asked = "most kits overall" if problem.tier_days >= NEVER else _weeks(problem.tier_days)
        try:
            return _in_tiers(problem, eligible, asked)
        except NoProposal:
            policy = f"{STRICT}, as the solver gave no answer for {asked}"
    order = StrictOrder(problem, eligible)
    order.serve_in_turn()
    return Served(order, policy, 0)


def _weeks(days: int) -> str:
    weeks = days // DAYS_A_WEEK
    return f"tiers of {weeks} week{'s' * (weeks != 1)}"


def _in_tiers(problem: Problem, eligible: Eligibility, policy: str) -> Served:
    order = StrictOrder(problem, eligible)
    behind = 0
    for number, kits in enumerate(tiers_of(problem)):
        for kit in kits:
            order.turn[kit] = number
        behind += serve_together(problem, order, kits)
    return Served(order, policy, behind)


def tiers_of(problem: Problem) -> list[list[int]]:
    """The dated kits of each tier, both in order of service."""
    tiers: dict[int, list[int]] = {}
    for number, kit in enumerate(problem.kits):
        if kit.dated:
            tier = max(0, kit.staged_by_day - problem.as_of_day) // problem.tier_days
            tiers.setdefault(tier, []).append(number)
    return [tiers[tier] for tier in sorted(tiers)]


def serve_together(problem: Problem, order: StrictOrder, kits: list[int]) -> int:
    """Complete the kits of the greatest weight and refuse the others; the weight that a better choice could win.

    Raises:
        NoProposal: the solver gave none.
    """
    hopeful = [kit for kit in kits if order.is_hopeful(kit)]
    choice = Choice(order, {kit: problem.kits[kit].weight for kit in hopeful})
    choice.best()
    order.flow.commit()
    for kit in sorted(choice.chosen):
        order.keep(kit)
    for kit in hopeful:
        if kit not in choice.chosen:
            order.complete(kit)  # refuses it, with the set that the chosen ones leave no room in
    for kit in kits:
        if order.served[kit]:
            order.take_buyable(kit)
    return choice.bound - sum(problem.kits[kit].weight for kit in kits if order.served[kit])
