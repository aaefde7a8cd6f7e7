"""Column layouts: how lists of a shape are read, kept by name; a replaced or withdrawn one stays to be looked at."""

from django.db import models
from django.db.models import Q

from jobs.models import NAME_LENGTH
from kitting.models.planning import DIGEST_LENGTH


class KeptLayout(models.Model):
    """One revision of a column layout: ``text`` is the file that commands take, ``shape`` the headings it is for.

    ``text`` is never edited; ``ended_by`` and ``ended_why`` say who withdrew it, or what took its place.
    """

    name = models.CharField(max_length=NAME_LENGTH)
    revision = models.PositiveIntegerField()
    shape = models.CharField(max_length=DIGEST_LENGTH)
    headings = models.JSONField()
    text = models.TextField()
    kept_by = models.CharField(max_length=NAME_LENGTH)
    kept_at = models.DateTimeField()
    live = models.BooleanField(default=True)
    ended_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_why = models.TextField(blank=True)

    class Meta:
        """A revision stands once, a shape and a name have one live layout, and an end has a reason."""

        constraints = (
            models.UniqueConstraint(fields=("name", "revision"), name="layout_revision_once"),
            models.UniqueConstraint(fields=("shape",), condition=Q(live=True), name="one_layout_reads_a_shape"),
            models.UniqueConstraint(fields=("name",), condition=Q(live=True), name="one_live_layout_of_a_name"),
            models.CheckConstraint(
                condition=Q(live=True) | (Q(ended_at__isnull=False) & ~Q(ended_by="") & ~Q(ended_why="")),
                name="layout_ends_by_somebody_for_a_reason",
            ),
            models.CheckConstraint(condition=~Q(name="") & ~Q(kept_by=""), name="layout_has_a_name"),
        )

    def __str__(self) -> str:
        return f"{self.name}, revision {self.revision}"
