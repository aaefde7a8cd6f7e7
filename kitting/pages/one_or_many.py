"""What waits is worded for many; where it is one thing, the same words say one."""

import re
from types import MappingProxyType

_ONE = MappingProxyType({
    "bags": "bag", "deliveries": "delivery", "differences": "difference", "drafts": "draft", "jobs": "job",
    "kits": "kit", "lines": "line", "loans": "loan", "lots": "lot", "notices": "notice", "orders": "order",
    "papers": "paper", "pieces": "piece", "places": "place", "returns": "return", "scans": "scan",
    "stand-ins": "stand-in", "storms": "storm", "transfers": "transfer", "trucks": "truck",
})  # fmt: skip
_WITH_ONE = MappingProxyType({
    "that change ": "that changes ", "that need ": "that needs ", "hang on them": "hang on it",
    "close them": "close it", "counted them": "counted it", "filled them": "filled it", "past their": "past its",
    "end them": "end it", "for fresh ones": "for a fresh one", "other depots": "another depot",
})  # fmt: skip
_THING = re.compile(rf"^([^:]*?)\b({'|'.join(_ONE)})\b")


def worded(count: int, many: str) -> str:
    """Words after a number: the first thing that they name, and what goes with it, as one where it is one."""
    if count != 1:
        return many
    words = _THING.sub(lambda found: found[1] + _ONE[found[2]], many)
    for several, one in _WITH_ONE.items():
        words = words.replace(several, one)
    return words
