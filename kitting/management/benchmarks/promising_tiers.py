"""Tiers and the most kits overall, timed against the plain line-by-line greedy (G) of ``promising_data``."""

from dataclasses import dataclass, replace
from time import process_time

import numpy as np

from kitting.calculation.promising.eligibility import eligibility
from kitting.calculation.promising.model import NEVER, Problem
from kitting.calculation.promising.promise import without_looking_for_rings
from kitting.calculation.promising.strict_order import StrictOrder
from kitting.calculation.promising.tiers import DAYS_A_WEEK, serve_together, tiers_of, weight_of
from kitting.management.benchmarks.promising_data import SIZES, compressed, line_by_line, made_up
from kitting.management.in_columns import in_columns

PRIORITIES = (0.15, 0.35, 0.5)  # share of jobs of priority 1, 2, 3


@dataclass(frozen=True, slots=True)
class MeasuredTiers:
    """One instance: processor seconds, kits and their weight in strict order and in tiers, and the most kits overall.

    ``proven`` of ``tiers`` tiers have no better choice; ``bound`` is more than any plan could complete or equal to it.
    """

    name: str
    greedy: float
    strict: float
    strict_kits: int
    strict_weight: int
    tiers: int
    proven: int
    tiers_seconds: float
    tiers_kits: int
    tiers_weight: int
    most_kits: int
    bound: int
    most_seconds: float


@without_looking_for_rings()
def measure_tiers(
    size: str, stock: str, *, coupled: bool = False, weeks: int = 4, weighted: bool = True, seed: int = 1
) -> MeasuredTiers:
    """Serve a made-up instance in strict order, in tiers, and all as one tier of equal weights."""
    made = compressed(made_up(SIZES[size], stock=stock, seed=seed, coupled=coupled))
    eligible = eligibility(made.problem)
    start = process_time()
    line_by_line(made, eligible)
    greedy = process_time() - start
    problem = _with_weights(made.problem, seed) if weighted else made.problem
    start = process_time()
    strict = StrictOrder(problem, eligible)
    strict.serve_in_turn()
    strict_seconds = process_time() - start
    problem = replace(problem, tier_days=DAYS_A_WEEK * weeks)
    start = process_time()
    together = StrictOrder(problem, eligible)
    behind = [serve_together(problem, together, kits) for kits in tiers_of(problem)]
    tiers_seconds = process_time() - start
    alike = replace(made.problem, tier_days=NEVER)
    start = process_time()
    most = StrictOrder(alike, eligible)
    (missed,) = (serve_together(alike, most, kits) for kits in tiers_of(alike))
    most_seconds = process_time() - start
    return MeasuredTiers(
        name=" ".join([size, stock, *(["coupled"] if coupled else [])]),
        greedy=greedy,
        strict=strict_seconds,
        strict_kits=sum(strict.served),
        strict_weight=_weight(problem, strict),
        tiers=len(behind),
        proven=behind.count(0),
        tiers_seconds=tiers_seconds,
        tiers_kits=sum(together.served),
        tiers_weight=_weight(problem, together),
        most_kits=sum(most.served),
        bound=sum(most.served) + missed,
        most_seconds=most_seconds,
    )


def tiers_text(measured: list[MeasuredTiers]) -> str:
    """The figures as a table for a person."""
    heads = "instance,G s,strict/G,tiers/G,most/G,kits strict,tiers,most,bound,gap %,weight strict,tiers,proven"
    rows = [tuple(heads.split(","))]
    rows.extend(
        (one.name, f"{one.greedy:.3f}", f"{one.strict / one.greedy:.1f}", f"{one.tiers_seconds / one.greedy:.1f}",
         f"{one.most_seconds / one.greedy:.1f}", f"{one.strict_kits:,}", f"{one.tiers_kits:,}", f"{one.most_kits:,}",
         f"{one.bound:,}", f"{100 * (one.bound - one.most_kits) / one.bound:.2f}", f"{one.strict_weight:,}",
         f"{one.tiers_weight:,}", f"{one.proven} of {one.tiers}")
        for one in measured
    )  # fmt: skip
    return in_columns(rows, figures=True)


def _with_weights(problem: Problem, seed: int) -> Problem:
    priorities = np.random.default_rng(seed).choice((1, 2, 3), len(problem.kits), p=PRIORITIES).tolist()
    kits = (replace(kit, weight=weight_of(priority)) for kit, priority in zip(problem.kits, priorities, strict=True))
    return replace(problem, kits=tuple(kits))


def _weight(problem: Problem, order: StrictOrder) -> int:
    return sum(kit.weight for kit, served in zip(problem.kits, order.served, strict=True) if served)
