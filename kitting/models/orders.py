"""What purchasing has sent to suppliers: numbered sheets whose lines are locked to them."""

from django.db import models
from django.db.models import Q

from inventory.models import OrderLine
from jobs.models import NAME_LENGTH
from kitting.models.planning import AppliedPlan


class SentSheet(models.Model):
    """A reorder sheet as it was sent: its number, the plan that asked for it, by whom and when. Never edited."""

    number = models.PositiveIntegerField(unique=True)
    plan = models.ForeignKey(AppliedPlan, on_delete=models.PROTECT, related_name="sent_sheets")
    sent_by = models.CharField(max_length=NAME_LENGTH)
    sent_at = models.DateTimeField()

    class Meta:
        """Somebody sent it."""

        constraints = (models.CheckConstraint(condition=~Q(sent_by=""), name="sent_sheet_has_a_name"),)

    def __str__(self) -> str:
        return f"reorder sheet {self.number}"


class SentLine(models.Model):
    """A line of a sent sheet as text, and the order line it became."""

    sheet = models.ForeignKey(SentSheet, on_delete=models.PROTECT, related_name="lines")
    order_line = models.OneToOneField(OrderLine, on_delete=models.PROTECT, related_name="sent_line")
    cells = models.JSONField()

    def __str__(self) -> str:
        return f"{self.sheet}: {self.order_line}"
