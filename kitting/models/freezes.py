"""Outages whose list is frozen: after that a change of the job needs a name and a reason."""

from django.db import models
from django.db.models import Q

from jobs.models import NAME_LENGTH, Job


class Freeze(models.Model):
    """A job whose outage was frozen, with its cutover of that moment; over once the job is moved with a reason."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="freezes")
    cutover = models.CharField(max_length=40)
    frozen_by = models.CharField(max_length=NAME_LENGTH)
    frozen_at = models.DateTimeField()
    over = models.BooleanField(default=False)

    class Meta:
        """A job is frozen once at a time, by somebody."""

        constraints = (
            models.UniqueConstraint(fields=("job",), condition=Q(over=False), name="job_frozen_once"),
            models.CheckConstraint(condition=~Q(frozen_by="") & ~Q(cutover=""), name="freeze_has_a_name_and_a_date"),
        )

    def __str__(self) -> str:
        return f"{self.job.job} frozen for {self.cutover}"
