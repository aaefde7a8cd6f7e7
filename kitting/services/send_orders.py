"""Send the reorder sheet: what it names becomes order lines, once; the next sheet holds only what is new."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import timedelta
from typing import Unpack

from inventory.models import Depot, Item, OrderLine, PurchaseOrder
from inventory.selectors.finding import local_day
from inventory.services.actions import begin, use_case
from kitting.calculation.quantities import thousandths
from kitting.errors import Refusal
from kitting.models import AppliedPlan, PlanRow, SentLine, SentSheet
from kitting.roles import DO, require
from kitting.services.change_orders import ORDER_SHEET
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan, stamp_of


@use_case
def send_reorder_sheet(*, suppliers: Sequence[str] = (), seen: int = 0, **scan: Unpack[Scan]) -> SentSheet:
    """Send what the plan applied last asks purchasing to order, and keep each line as an order line.

    Who buys for some depots only sends their lines; those of others stay for whoever buys there.

    Until the supplier says another day, a line is expected after the item's lead days.

    Args:
        suppliers: only theirs; none named: all.
        seen: number of the plan whose lines somebody has looked at; 0: whichever was applied last.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``: all of it is for depots of others; ``not-planned``;
            ``another-plan``: one was applied since somebody looked; ``nothing-to-order``: all lines of the plan
            are sent already, or it has none.
    """
    actor, at = scan["actor"], scan["at"]
    require(actor, ORDER_SHEET, DO)
    action, repeated = begin("send reorder sheet", {"suppliers": [*suppliers], "seen": seen}, stamp_of(scan))
    if repeated:
        return SentSheet.objects.get(sent_by=action.by, sent_at=action.at)
    plan = AppliedPlan.objects.select_for_update().order_by("-pk").first()
    if plan is None:
        raise Refusal("not-planned", "No plan is applied: plan and apply before ordering.", {})
    if seen not in (0, plan.pk):
        message = f"Plan {plan.pk} was applied since you looked at plan {seen}: look at its lines, then send."
        raise Refusal("another-plan", message, {"seen": seen, "plan": plan.pk})
    wanted = [row for row in _unsent(plan) if not suppliers or row["supplier"] in suppliers]
    rows = [row for row in wanted if actor.may(ORDER_SHEET, DO, row["depot"])]
    if wanted and not rows:
        require(actor, ORDER_SHEET, DO, wanted[0]["depot"])
    if not rows:
        raise Refusal("nothing-to-order", f"Nothing of {plan} is to be ordered that is not sent already.", {})
    last = SentSheet.objects.order_by("-number").values_list("number", flat=True).first() or 0
    sheet = SentSheet.objects.create(number=last + 1, plan=plan, sent_by=actor.name, sent_at=at)
    _order(sheet, rows)
    codes = [f"{row['order_quantity']} {row['purchase_unit'] or 'ea'} {row['stock_code']}" for row in rows]
    record_events([Happening("reorder sheet sent", str(sheet), {"lines": codes})], by=actor.name, at=at)
    return sheet


def _unsent(plan: AppliedPlan) -> Iterator[Mapping[str, str]]:
    """Rows of the plan's reorder table that no sheet holds yet."""
    sent = {
        (cells["stock_code"], cells["depot"])
        for cells in SentLine.objects.filter(sheet__plan=plan).values_list("cells", flat=True)
    }
    for row in PlanRow.objects.filter(plan=plan, table="reorder").order_by("position").values_list("cells", flat=True):
        if (row["stock_code"], row["depot"]) not in sent and row["order_quantity"]:
            yield row


def _order(sheet: SentSheet, rows: Sequence[Mapping[str, str]]) -> None:
    """One order a supplier, numbered after the sheet."""
    items = {
        item.stock_code: item
        for item in Item.objects.filter(stock_code__in=[row["stock_code"] for row in rows]).select_related("supplier")
    }
    depots = {depot.depot: depot for depot in Depot.objects.all()}
    names = list(dict.fromkeys(row["supplier"] for row in rows))
    orders = {name: PurchaseOrder(number=f"RS{sheet.number}-{position}") for position, name in enumerate(names, 1)}
    PurchaseOrder.objects.bulk_create(orders.values())
    lines = []
    for position, row in enumerate(rows, 1):
        item, depot = items[row["stock_code"]], depots[row["depot"]]
        lines.append(
            OrderLine(
                order=orders[row["supplier"]],
                line=str(position),
                item=item,
                quantity=thousandths(row["resulting_quantity"]),
                depot=depot,
                supplier=item.supplier,
                promised=None
                if item.lead_days is None
                else local_day(depot, sheet.sent_at) + timedelta(item.lead_days),
            )
        )
    OrderLine.objects.bulk_create(lines)
    SentLine.objects.bulk_create(
        SentLine(sheet=sheet, order_line=line, cells={**row, **_known_of(line.item)})
        for line, row in zip(lines, rows, strict=True)
    )


def _known_of(item: Item) -> Mapping[str, str]:
    """What was known of an item when it was ordered, as text: its stock unit, its price, and the day of that."""
    return {
        "unit": item.stock_unit,
        "price": "" if item.price is None else f"{item.price.normalize():f}",
        "price_date": "" if item.price_date is None else item.price_date.isoformat(),
    }
