"""How pieces got where they are: actions and their movements, never edited and never deleted."""

from datetime import timedelta

from django.db import models
from django.db.models import F, Q

from inventory.models.purchases import OrderLine
from inventory.models.stock import Lot, Place

# Where pieces come from when it is no place of ours.
FROM_SUPPLIER, OPENING, FOUND = "supplier", "opening balance", "found"
ORIGINS = (FROM_SUPPLIER, OPENING, FOUND)
# Where pieces end: an ending holds no balance, and closes the lot's sum.
INSTALLED, SCRAPPED, RETURNED, LOST = "installed", "scrapped", "returned to supplier", "lost"
ENDINGS = (INSTALLED, SCRAPPED, RETURNED, LOST)


class Action(models.Model):
    """Something a person did once. ``number`` is made by whoever acts, so that sending it again changes nothing.

    ``digest`` is over the content: another content under the same number is refused. ``at`` is the moment on the
    server, ``device_at`` what the clock of the person's device said.
    """

    number = models.CharField(max_length=80, unique=True)
    use_case = models.CharField(max_length=40)
    digest = models.CharField(max_length=64)
    why = models.TextField(blank=True)
    paper = models.CharField(max_length=120, blank=True)
    by = models.CharField(max_length=120)
    at = models.DateTimeField(db_index=True)
    device_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        """Somebody did it, under a number."""

        constraints = (
            models.CheckConstraint(condition=~Q(number="") & ~Q(by=""), name="action_has_number_and_person"),
        )

    def __str__(self) -> str:
        return self.number

    @property
    def drift(self) -> timedelta | None:
        """How much later the server was told than the device's clock said, where the device said so."""
        return None if self.device_at is None else self.at - self.device_at


class Movement(models.Model):
    """Pieces of a lot going from a place or an origin to a place or an ending.

    A reversal is a movement the other way round, so it may come from an ending, and go back to an origin.
    """

    action = models.ForeignKey(Action, on_delete=models.PROTECT, related_name="movements")
    line = models.PositiveIntegerField()
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="movements")
    quantity = models.BigIntegerField()
    from_place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="movements_out")
    origin = models.CharField(max_length=24, blank=True)
    to_place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="movements_in")
    ending = models.CharField(max_length=24, blank=True)
    order_line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, null=True, blank=True, related_name="movements")
    reverses = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by")

    class Meta:
        """Something moves, from somewhere to somewhere else, and only a reversal runs the other way round."""

        constraints = (
            models.UniqueConstraint(fields=("action", "line"), name="movement_once_an_action"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="movement_moves_something"),
            models.CheckConstraint(
                condition=Q(from_place__isnull=False, origin="")
                | Q(from_place__isnull=True, reverses__isnull=True, origin__in=ORIGINS)
                | Q(from_place__isnull=True, reverses__isnull=False, origin__in=ENDINGS),
                name="movement_begins_once",
            ),
            models.CheckConstraint(
                condition=Q(to_place__isnull=False, ending="")
                | Q(to_place__isnull=True, reverses__isnull=True, ending__in=ENDINGS)
                | Q(to_place__isnull=True, reverses__isnull=False, ending__in=ORIGINS),
                name="movement_ends_once",
            ),
            models.CheckConstraint(
                condition=Q(from_place__isnull=False) | Q(to_place__isnull=False), name="movement_has_a_place"
            ),
            models.CheckConstraint(
                condition=Q(from_place__isnull=True) | Q(to_place__isnull=True) | ~Q(from_place=F("to_place")),
                name="movement_between_two_places",
            ),
        )

    def __str__(self) -> str:
        return f"{self.action}/{self.line}"
