"""Bags of which published rules ask for something else than is listed, until a plan by these rules is applied."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

from kitting.models import AppliedPlan, Bag, Event
from kitting.selectors.clock import books_now, day_at

PUBLISHED_RULES = "rules published"


def bags_of_changed_rules(bags: Iterable[Bag]) -> dict[int, str]:
    """By the number of a bag's record the tables of rules that have changed what it is to hold, in words.

    Two queries, and those of the clock at the depots where rules were published since the plan.
    """
    last = AppliedPlan.objects.order_by("-pk").first()
    events = [*Event.objects.filter(name=PUBLISHED_RULES).order_by("number").values_list("at", "data")]
    if last is None:
        return {}
    since = [data for at, data in events if at > last.applied_at or data["live_from"] > last.as_of.isoformat()]
    today = day_at(books_now()) if since else date.min
    tables: dict[str, set[str]] = defaultdict(set)
    for data in since:
        if date.fromisoformat(data["live_from"]) <= today:
            for code in data["bag_codes"]:
                tables[code].update(data["tables"])
    return {bag.pk: ", ".join(sorted(tables[bag.code])) for bag in bags if bag.code in tables}
