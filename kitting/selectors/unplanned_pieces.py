"""What bags that no plan serves may take from the shelf: free pieces first, in the order in which they are to go."""

from collections.abc import Collection, Iterator
from datetime import date, timedelta

from inventory.models import Balance
from jobs.models import UNDER_WAY
from kitting.models import Bag
from kitting.selectors.bag_contents import Contents, LineStand, good_until, is_good
from kitting.selectors.free_shelf import free_on_shelf
from kitting.selectors.policies import margin_days
from kitting.selectors.sources import NEAR_DAYS

Taken = tuple[Bag, LineStand, Balance, int]  # thousandths of what lies there, for a line of a bag


def is_unplanned(bag: Bag) -> bool:
    """Whether it is of an emergency: under way, and of no schedule."""
    return bag.job.ended == UNDER_WAY and not bag.revision


def free_for(contents: Collection[Contents], depot: str) -> Iterator[Taken]:
    """What lies free in the bins of a depot for what emergencies miss, each piece for one line; four queries at most.

    As in the order of sources, pieces that are still good when the next month is over come before those that are
    near their date; promised pieces and held lots are left alone.
    """
    wanted = [(one, stand) for one in contents if is_unplanned(one.bag) for stand in one.lines if stand.missing]
    if not wanted:
        return
    items = {stand.line.item_id for _, stand in wanted if stand.line.item_id}
    lying = free_on_shelf(items, depot)
    free, margin = {balance.pk: pieces for balance, pieces in lying}, margin_days()
    for one, stand in wanted:
        until = good_until(one.bag.job, margin)
        missing = stand.missing
        for balance, _ in sorted(lying, key=lambda row: _is_near(row[0], until)):
            pieces = min(missing, free[balance.pk])
            if pieces and balance.lot.item_id == stand.line.item_id and is_good(balance.lot, until):
                free[balance.pk] -= pieces
                missing -= pieces
                yield one.bag, stand, balance, pieces


def _is_near(balance: Balance, until: date | None) -> bool:
    use_by = balance.lot.use_by
    return bool(until and use_by and use_by < until + timedelta(NEAR_DAYS))
