"""Bags that hold, or list, a part that stood in for another and may not any more on the day of their outage."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date

from kitting.models import BagLine, StandIn

_Span = tuple[date | None, date | None]


def ended_stand_ins(lines: Iterable[BagLine]) -> dict[int, str]:
    """By the number of a bag's record which stand-ins nobody approves for the day of its outage, in words.

    One query, none where no line has a stand-in. Lines whose job has no day are left out.
    """
    held = [line for line in lines if line.instead_of and line.item and line.bag.job.cutover]
    if not held:
        return {}
    spans: dict[tuple[str, int], list[_Span]] = defaultdict(list)
    approved = StandIn.objects.filter(allowed__in={line.item_id for line in held})
    for wanted, allowed, *span in approved.values_list("wanted__stock_code", "allowed", "valid_from", "valid_to"):
        spans[wanted, allowed].append((span[0], span[1]))
    told: dict[int, dict[str, None]] = defaultdict(dict)
    for line in held:
        of_pair, day = spans[line.instead_of, line.item_id or 0], date.fromisoformat(line.bag.job.cutover[:10])
        if not any((begin or day) <= day <= (end or day) for begin, end in of_pair):
            told[line.bag_id][f"{line.item} for {line.instead_of}, {_until(of_pair)}"] = None
    return {bag: "; ".join(words) for bag, words in told.items()}


def _until(spans: Sequence[_Span]) -> str:
    ends = [end for _, end in spans if end]
    return f"approved until {max(ends)}" if ends else "approved by nobody now"
