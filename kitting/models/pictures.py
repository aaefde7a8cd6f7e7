"""Photographs and drawings: what is seen at a position, how a bag was laid out, how an end was left, what failed.

They prove something and help at night; nothing waits for one.
"""

from django.db import models
from django.db.models import Q

from inventory.models import Action
from jobs.models import CODE_LENGTH, NAME_LENGTH, Job
from kitting.models.bags import Bag
from kitting.models.failures import Failure
from kitting.models.planning import DIGEST_LENGTH

AT_POSITION, OF_BAG, AS_INSTALLED, OF_FAILURE = "position", "bag", "as-installed", "failure"
SHOWN = (AT_POSITION, OF_BAG, AS_INSTALLED, OF_FAILURE)
JPEG, PNG, PDF = "image/jpeg", "image/png", "application/pdf"
MEDIA_TYPES = (JPEG, PNG, PDF)
NOTE_LENGTH = 200


class Picture(models.Model):
    """One photograph or drawing, as it was made small to be kept; its content is never edited.

    ``job`` is the one with which it came, None with a ``failure``. A bag's names its ``bag``, one of a position or an
    end ``structure`` and ``position``.
    ``small`` is the same to look over, empty for a PDF. ``digest`` is SHA-256 over ``content``. With a reason why, it
    was taken away and is shown nowhere any more.
    """

    action = models.OneToOneField(Action, on_delete=models.PROTECT, related_name="picture")
    shows = models.CharField(max_length=20, choices=[(one, one) for one in SHOWN])
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="pictures")
    bag = models.ForeignKey(Bag, on_delete=models.PROTECT, null=True, blank=True, related_name="pictures")
    failure = models.ForeignKey(Failure, on_delete=models.PROTECT, null=True, blank=True, related_name="pictures")
    structure = models.CharField(max_length=CODE_LENGTH, blank=True)
    position = models.CharField(max_length=CODE_LENGTH, blank=True)
    media_type = models.CharField(max_length=20, choices=[(one, one) for one in MEDIA_TYPES])
    content = models.BinaryField()
    small = models.BinaryField(default=bytes)
    digest = models.CharField(max_length=DIGEST_LENGTH)
    note = models.CharField(max_length=NOTE_LENGTH, blank=True)
    by = models.CharField(max_length=NAME_LENGTH)
    at = models.DateTimeField()
    taken_away_why = models.TextField(blank=True)

    class Meta:
        """It shows a bag, a place or a failure, and is found by what it shows."""

        constraints = (
            models.CheckConstraint(
                condition=Q(shows=OF_BAG, bag__isnull=False, job__isnull=False, failure=None, position="")
                | Q(shows=OF_FAILURE, failure__isnull=False, job=None, bag=None, structure="", position="")
                | (
                    Q(shows__in=(AT_POSITION, AS_INSTALLED), job__isnull=False, bag=None, failure=None)
                    & ~Q(structure="")
                    & ~Q(position="")
                ),
                name="picture_of_a_bag_a_place_or_a_failure",
            ),
            models.CheckConstraint(condition=Q(media_type__in=MEDIA_TYPES), name="picture_of_a_known_kind"),
        )
        indexes = (models.Index(fields=("shows", "structure", "position"), name="picture_by_place"),)

    def __str__(self) -> str:
        return f"picture {self.pk}"

    @property
    def is_drawn(self) -> bool:
        """Whether a page or a paper can show it; a PDF is a file to open."""
        return self.media_type != PDF

    @property
    def place(self) -> str:
        """Where it belongs, as papers name ends: ``A2-a``; '' for a bag's."""
        return "-".join(filter(None, (self.structure, self.position)))

    @property
    def subject(self) -> str:
        """What it shows, as events name it."""
        return str(self.bag or self.failure or self.place)
