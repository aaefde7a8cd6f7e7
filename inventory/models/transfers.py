"""Pieces on the road between two depots, and what was counted differently at the end of it."""

from django.db import models
from django.db.models import F, Q

from inventory.models.catalogue import Depot
from inventory.models.ledger import Action
from inventory.models.stock import Lot, Place


class Transfer(models.Model):
    """Pieces sent from one depot to another. On the road they lie at ``place``, a van that belongs to the receiver.

    The place is this transfer's alone, so what has not arrived is its balance and can't be lost from sight. One that
    was loaded by mistake is ``taken_back``: its pieces lie where they were.
    """

    number = models.CharField(max_length=60, unique=True)
    from_depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="transfers_out")
    to_depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="transfers_in")
    place = models.OneToOneField(Place, on_delete=models.PROTECT, related_name="transfer")
    sent = models.OneToOneField(Action, on_delete=models.PROTECT, related_name="transfer_sent")
    received = models.OneToOneField(
        Action, on_delete=models.PROTECT, null=True, blank=True, related_name="transfer_received"
    )
    taken_back = models.OneToOneField(
        Action, on_delete=models.PROTECT, null=True, blank=True, related_name="transfer_taken_back"
    )

    class Meta:
        """A transfer goes somewhere else, and what was taken back was not received."""

        constraints = (
            models.CheckConstraint(condition=~Q(from_depot=F("to_depot")), name="transfer_between_two_depots"),
            models.CheckConstraint(
                condition=Q(received__isnull=True) | Q(taken_back__isnull=True), name="transfer_received_or_taken_back"
            ),
        )

    def __str__(self) -> str:
        return self.number


class Difference(models.Model):
    """A lot of which not as many pieces arrived as were sent; open for both depots until one action settles it.

    Missing pieces stay on the road meanwhile; pieces too many are not booked in.
    """

    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, related_name="differences")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="differences")
    sent = models.BigIntegerField()
    counted = models.BigIntegerField()
    settled = models.ForeignKey(
        Action, on_delete=models.PROTECT, null=True, blank=True, related_name="differences_settled"
    )

    class Meta:
        """One difference a lot of a transfer, and it is one."""

        constraints = (
            models.UniqueConstraint(fields=("transfer", "lot"), name="difference_once_a_lot"),
            models.CheckConstraint(condition=~Q(sent=F("counted")), name="difference_differs"),
        )

    def __str__(self) -> str:
        return f"{self.transfer}: {self.lot}"
