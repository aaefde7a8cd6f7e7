"""What one person asks and another decides: the rule of two persons, kept by the database."""

from django.db import models
from django.db.models import F, Q

from jobs.models import NAME_LENGTH

ASKED, APPROVED, REFUSED = "asked", "approved", "refused"
_STATE_LENGTH = 20


class Asked(models.Model):
    """Asked by one person with a reason, decided by another with a reason; ``asked_as`` is the role to be answered."""

    state = models.CharField(max_length=_STATE_LENGTH, default=ASKED)
    asked_by = models.CharField(max_length=NAME_LENGTH)
    asked_as = models.CharField(max_length=NAME_LENGTH, blank=True)
    asked_at = models.DateTimeField()
    why = models.TextField()
    decided_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    decided_at = models.DateTimeField(null=True, blank=True)
    decision = models.TextField(blank=True)

    class Meta:
        """Only a part of other records."""

        abstract = True


def two_persons(name: str) -> tuple[models.CheckConstraint, ...]:
    """Constraints of a record of that name: it has a person and a reason, and who decides is somebody else."""
    return (
        models.CheckConstraint(condition=~Q(asked_by="") & ~Q(why=""), name=f"{name}_has_person_and_reason"),
        models.CheckConstraint(
            condition=Q(decided_by="", decided_at__isnull=True)
            | (~Q(decided_by="") & ~Q(decided_by=F("asked_by")) & ~Q(decision="") & Q(decided_at__isnull=False)),
            name=f"{name}_decided_by_another",
        ),
    )
