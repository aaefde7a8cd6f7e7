"""What was printed of the records, when and by whom: the second print of a revision says REPRINT 1."""

from django.db import models
from django.db.models import Q

from inventory.models import Action
from jobs.models import NAME_LENGTH

BAG_LABEL = "bag-label"  # the document whose prints say what is believed of a bag


class Printing(models.Model):
    """One print of a document. ``number`` is 0 for the first print of a revision, n for REPRINT n. Never edited."""

    action = models.OneToOneField(Action, on_delete=models.PROTECT, related_name="printing")
    document = models.CharField(max_length=40)
    subject = models.CharField(max_length=NAME_LENGTH)
    revision = models.CharField(max_length=40, blank=True)
    number = models.PositiveIntegerField()
    by = models.CharField(max_length=NAME_LENGTH)
    at = models.DateTimeField()

    class Meta:
        """Somebody printed something, and a number is given once."""

        constraints = (
            models.UniqueConstraint(fields=("document", "subject", "revision", "number"), name="printing_once"),
            models.CheckConstraint(
                condition=~Q(document="") & ~Q(subject="") & ~Q(by=""), name="printing_names_paper_and_person"
            ),
        )

    def __str__(self) -> str:
        return f"{self.document} {self.subject}"
