"""What is on order."""

from django.db import models
from django.db.models import Q

from inventory.models.catalogue import Depot, Item, Supplier
from inventory.models.fields import Edited

KEEP, SEND_BACK = "keep", "send back"  # what no job waits for
SURPLUS = (KEEP, SEND_BACK)


class PurchaseOrder(Edited):
    """An order; its lines name their suppliers."""

    number = models.CharField(max_length=60, unique=True)

    def __str__(self) -> str:
        return self.number


class OrderLine(Edited):
    """One line of an order: thousandths of an item's stock unit for a depot, of which ``received`` have come.

    A supplier may promise a part of a line for another day: that part is a line of its own, with ``part_of`` the line
    it was ordered on, and the sum of both stays. ``cut`` are thousandths that were ordered and will not come.
    ``surplus`` is what purchasing decided where no job waits for its pieces: keep them, or send them back.
    """

    order = models.ForeignKey(PurchaseOrder, on_delete=models.PROTECT, related_name="lines")
    line = models.CharField(max_length=20)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="order_lines")
    quantity = models.BigIntegerField()
    received = models.BigIntegerField(default=0)
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="order_lines")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, null=True, blank=True, related_name="order_lines")
    promised = models.DateField(null=True, blank=True)
    part_of = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="parts")
    cut = models.BigIntegerField(default=0)
    surplus = models.CharField(max_length=10, blank=True, choices=[(word, word) for word in SURPLUS])
    surplus_why = models.TextField(blank=True)

    class Meta:
        """A line number is used once an order."""

        constraints = (
            models.UniqueConstraint(fields=("order", "line"), name="order_line_once"),
            models.CheckConstraint(condition=Q(quantity__gte=0), name="ordered_not_below_zero"),
            models.CheckConstraint(condition=Q(received__gte=0), name="received_not_below_zero"),
            models.CheckConstraint(condition=Q(cut__gte=0), name="cut_not_below_zero"),
        )

    def __str__(self) -> str:
        return f"{self.order}/{self.line}"
