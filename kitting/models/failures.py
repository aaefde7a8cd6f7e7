"""Failures on the line: what failed, where and from which lot, as far as anybody knows. A report is never edited."""

from django.db import models
from django.db.models import Q

from inventory.models import Action, Item
from jobs.models import CODE_LENGTH


class Failure(models.Model):
    """One report of a part that failed.

    ``structure`` is '' where nobody knows the place, ``item`` None where nobody knows the part, ``lot_number`` '' where
    nobody knows the lot. ``depot`` is that of the job that fitted the place last, else of who reported it; '' where
    neither is known. With a reason why it was withdrawn, it counts nowhere any more.
    """

    action = models.OneToOneField(Action, on_delete=models.PROTECT, related_name="failure")
    structure = models.CharField(max_length=CODE_LENGTH, blank=True)
    position = models.CharField(max_length=CODE_LENGTH, blank=True)
    phase = models.CharField(max_length=3, blank=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="failures")
    lot_number = models.CharField(max_length=CODE_LENGTH, blank=True)
    failed_at = models.DateTimeField()
    what = models.TextField()
    depot = models.CharField(max_length=CODE_LENGTH, blank=True)
    withdrawn_why = models.TextField(blank=True)

    class Meta:
        """It says what failed; a position is one of a structure, a lot one of an item."""

        constraints = (
            models.CheckConstraint(condition=~Q(what=""), name="failure_in_words"),
            models.CheckConstraint(
                condition=~Q(structure="") | Q(position="", phase=""), name="failure_at_a_structure"
            ),
            models.CheckConstraint(
                condition=Q(lot_number="") | Q(item__isnull=False), name="failure_of_a_lot_of_an_item"
            ),
        )
        indexes = (
            models.Index(fields=("item", "lot_number"), name="failure_by_lot"),
            models.Index(fields=("structure", "position"), name="failure_by_place"),
        )

    def __str__(self) -> str:
        return f"failure {self.pk}"

    @property
    def place(self) -> str:
        """Where, as people call it: ``A2-a phase B``; ``place unknown``."""
        end = "-".join(filter(None, (self.structure, self.position))) or "place unknown"
        return f"{end} phase {self.phase}" if self.phase else end

    @property
    def part(self) -> str:
        """Of what: ``EL15-2 lot L-1``."""
        return f"{self.item} lot {self.lot_number or 'unknown'}" if self.item else "part unknown"
