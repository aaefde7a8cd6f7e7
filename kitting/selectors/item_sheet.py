"""An item as one sheet: where its pieces are, what comes, who is promised and who lacks them, and what moved lately."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from inventory.models import Item, Level, Movement, OrderLine
from inventory.selectors.finding import items_by_code
from kitting.models import PlanRow, Promise, StandIn
from kitting.selectors.cutovers import last_plan
from kitting.selectors.stock_sums import ON_HOLD, PAST_DATE, Spot, order_lines_open, spots

_MOVES_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Change:
    """What adds to the free pieces of an item, or takes of them, on a day; thousandths, and those left after it."""

    day: date | None
    what: str
    job: str
    quantity: int
    left: int


@dataclass(frozen=True, slots=True)
class ItemSheet:
    """All of an item.

    Args:
        item: the record.
        spots: where its pieces lie.
        orders: order lines of which something is to come.
        promises: open ones, the first outage first.
        lacking: rows of the applied plan's table of shortages.
        levels: by depot.
        stands_in, stood_in_for: approvals by which it stands in for others, and others for it.
        moves: the last movements, the latest first.
        staged_by: day by job, as ISO text.
    """

    item: Item
    spots: Sequence[Spot]
    orders: Sequence[OrderLine]
    promises: Sequence[Promise]
    lacking: Sequence[Mapping[str, str]]
    levels: Sequence[Level]
    stands_in: Sequence[StandIn]
    stood_in_for: Sequence[StandIn]
    moves: Sequence[Movement]
    staged_by: Mapping[str, str]

    def changes(self) -> list[Change]:
        """Free pieces by day: what lies good in bins, what comes of orders, and what promises take, each on its day.

        A promise counts on the day by which its job is staged; an order line without a day comes last and adds
        nothing.
        """
        steps: list[tuple[date, int, str, str, int]] = []
        for one in self.promises:
            last = self.staged_by.get(one.job.job) or one.job.cutover[:10]
            day = date.fromisoformat(last) if last else date.max
            steps.append((day, 1, f"for {one.line}", one.job.job, -one.quantity))
        for line in self.orders:
            coming = line.quantity - line.received if line.promised else 0
            steps.append((line.promised or date.max, 0, f"order {line} to {line.depot}", "", coming))
        left = sum(spot.balance.quantity for spot in self.spots if _counts(spot))
        found = []
        for when, _, what, job, quantity in sorted(steps):
            left += quantity
            found.append(Change(None if when == date.max else when, what, job, quantity, left))
        return found


def _counts(spot: Spot) -> bool:
    """Whether promises are made from it: what is promised, and what lies good in a bin of ours or theirs."""
    if spot.share in (ON_HOLD, PAST_DATE):
        return False
    return spot.balance.place.kind in ("bin", "supplier-owned", "van") or spot.promised > 0


def item_sheet(code: str, *, today: date) -> ItemSheet:
    """The sheet of an item by its code of today or of former times; the number of queries never grows.

    Raises:
        Refusal: ``unknown-stock-code`` with those that come near.
    """
    item = items_by_code([code])[code]
    plan = last_plan()
    lacking = PlanRow.objects.filter(plan=plan, table="shortages", cells__stock_code=item.stock_code)
    promises = Promise.objects.filter(item=item, released_at__isnull=True)
    moves = Movement.objects.filter(lot__item=item).order_by("-pk")[:_MOVES_SHOWN]
    jobs = plan.summary["jobs"] if plan else ()
    return ItemSheet(
        item=item,
        spots=spots([item], today=today),
        orders=order_lines_open([item]),
        promises=[
            *promises.select_related("job", "lot", "place__depot", "order_line__order", "order_line__depot").order_by(
                "job__cutover", "pk"
            )
        ],
        lacking=[row.cells for row in lacking.order_by("position")] if plan else [],
        levels=[*Level.objects.filter(item=item).select_related("depot").order_by("depot__depot")],
        stands_in=[*StandIn.objects.filter(allowed=item).select_related("wanted", "system").order_by("pk")],
        stood_in_for=[*StandIn.objects.filter(wanted=item).select_related("allowed", "system").order_by("pk")],
        moves=[*moves.select_related("action", "lot__item", "from_place__depot", "to_place__depot", "reverses")],
        staged_by={one["job"]: one["staged_by"] for one in jobs if one.get("staged_by")},
    )
