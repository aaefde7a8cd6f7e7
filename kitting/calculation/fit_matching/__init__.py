"""Does an item serve a line? Ordered checks, three-valued fit with its margin, nearest misses, approved stand-ins."""

from kitting.calculation.fit_matching.matcher import Matcher
from kitting.calculation.fit_matching.results import CheckResult

__all__ = ["CheckResult", "Matcher"]
