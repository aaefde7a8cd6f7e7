"""Records of loans between this company and its neighbours: what was agreed, and what went over and came back."""

from django.db import models
from django.db.models import Q

from inventory.models import Action, Depot, Item, Lot
from jobs.models import NAME_LENGTH

TO_NEIGHBOUR, FROM_NEIGHBOUR = "to a neighbour", "from a neighbour"
WAYS = (TO_NEIGHBOUR, FROM_NEIGHBOUR)


class Loan(models.Model):
    """So many thousandths of an item to or from a neighbour, to be given back by a day.

    ``ended_why`` says why nothing more is to be handed over or given back, '' while the loan runs.
    """

    way = models.CharField(max_length=20, choices=[(way, way) for way in WAYS])
    neighbour = models.CharField(max_length=NAME_LENGTH)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="loans")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="loans")
    quantity = models.BigIntegerField()
    back_by = models.DateField()
    why = models.TextField()
    agreed = models.OneToOneField(Action, on_delete=models.PROTECT, related_name="loan")
    ended_why = models.TextField(blank=True)

    class Meta:
        """It is of something, with somebody, for a reason."""

        constraints = (
            models.CheckConstraint(
                condition=Q(way__in=WAYS, quantity__gt=0) & ~Q(neighbour="") & ~Q(why=""), name="loan_says_what_and_why"
            ),
        )

    def __str__(self) -> str:
        return f"loan {self.pk}: {self.item} {self.way}, {self.neighbour}"


class LoanMove(models.Model):
    """Thousandths of a lot that went over, or came ``back``. Never edited."""

    loan = models.ForeignKey(Loan, on_delete=models.PROTECT, related_name="moves")
    action = models.OneToOneField(Action, on_delete=models.PROTECT, related_name="loan_move")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="loan_moves")
    quantity = models.BigIntegerField()
    back = models.BooleanField(default=False)

    class Meta:
        """Something moves."""

        constraints = (models.CheckConstraint(condition=Q(quantity__gt=0), name="loan_move_moves_something"),)

    def __str__(self) -> str:
        return f"{self.loan}: {self.lot}"
