"""What a check says of one item: it passes, it fails and by how much, or a fact is missing."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

from kitting.calculation.questions import Missing

ACTIVE = "active and complete"
KIND = "kind"
INTERFACE = "interface"
CLASS = "voltage class"
CURRENT = "current and switching"
PHASES = "phase-to-phase duty"
MCOV = "MCOV"
CONDUCTOR = "conductor size and metal"
INSULATION = "insulation diameter"
JACKET = "jacket diameter and shield"
RULE = "rule"

# A gap between numbers is a share of what is needed, in millionths; a word that differs is further off than any number.
MILLIONTHS = 1_000_000
UNLIKE = 1_000 * MILLIONTHS


@dataclass(frozen=True, slots=True)
class CheckResult:
    """One check of one item.

    Args:
        check: name of the check, one of the constants of this module.
        passed: True, False, or None where a fact is missing or the diameter must be measured.
        sentence: why it does not pass; blank where it passes.
        missing: the fact that would settle it.
        gap: how far off a failing item is, for the order of near misses.
    """

    check: str
    passed: bool | None
    sentence: str = ""
    missing: Missing | None = None
    gap: int = 0


T = TypeVar("T")


@cache
def passed(check: str) -> CheckResult:
    """The check is met, or nothing limits it."""
    return CheckResult(check, True)


def failed(check: str, sentence: str, gap: int = UNLIKE) -> CheckResult:
    """The check is not met."""
    return CheckResult(check, False, sentence, None, gap)


def unknown(check: str, missing: Missing) -> CheckResult:
    """The check can't be made."""
    return CheckResult(check, None, f"{missing.fact} is not known: {missing.why}", missing)


def checked(check: str, fact: T | Missing | None, test: Callable[[T], CheckResult]) -> CheckResult:
    """The test of a fact: met when the fact is not read, unknown when it is missing.

    A missing fact of which only a few values are possible fails where each of them fails.
    """
    if fact is None:
        return passed(check)
    if not isinstance(fact, Missing):
        return test(fact)
    outcomes = [test(value) for _, value in fact.options]  # type: ignore[arg-type] # options hold values of the fact
    if outcomes and all(outcome.passed is False for outcome in outcomes):
        return min(outcomes, key=lambda outcome: outcome.gap)
    return unknown(check, fact)


def worst(results: Sequence[CheckResult]) -> CheckResult:
    """The first that fails, else the first that is not known, else the first."""
    for result in results:
        if result.passed is False:
            return result
    return next((result for result in results if result.passed is None), results[0])
