"""What is taken from a shelf beside the plan leaves what is promised to jobs."""

from collections.abc import Sequence

from inventory.models import Balance
from kitting.errors import Refusal
from kitting.selectors.bag_contents import bare
from kitting.selectors.promises import promised_at


def refuse_promised(rows: Sequence[tuple[Balance, int]]) -> None:
    """Refuse thousandths of locked balances that jobs are promised; fewer than there are is not looked at here.

    Raises:
        Refusal: ``promised`` says how many are free.
    """
    promised = promised_at(place__in={one.place_id for one, _ in rows})
    for one, pieces in rows:
        kept = promised[one.place_id, one.lot_id]
        if one.quantity >= pieces > one.quantity - kept:
            free = max(one.quantity - kept, 0)
            told = f"{bare(kept)} are promised to jobs, {bare(free)} free; not {bare(pieces)}."
            raise Refusal("promised", f"{one.lot} at {one.place}: {told}", {"free": free})
