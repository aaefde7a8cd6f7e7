"""What somebody said of a job on its way: its date is confirmed, its outage has begun, the line is energised."""

from django.db import models
from django.db.models import Q

from jobs.models import MOMENT_LENGTH, NAME_LENGTH, Job

CONFIRMED, OUTAGE, ENERGISED = "confirmed", "outage", "energised"
KINDS = (CONFIRMED, OUTAGE, ENERGISED)


class JobStep(models.Model):
    """One step of a job, with its cutover of that moment.

    ``happened_at`` is when it was so on the line, ``said_at`` when somebody said it. A step is over once the job is
    moved, or once somebody takes it back.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="steps")
    kind = models.CharField(max_length=20, choices=[(kind, kind) for kind in KINDS])
    cutover = models.CharField(max_length=MOMENT_LENGTH, blank=True)
    happened_at = models.DateTimeField()
    said_by = models.CharField(max_length=NAME_LENGTH)
    said_at = models.DateTimeField()
    why = models.TextField(blank=True)
    over = models.BooleanField(default=False)

    class Meta:
        """A step holds once at a time, was said by somebody, and is of a known kind."""

        constraints = (
            models.UniqueConstraint(fields=("job", "kind"), condition=Q(over=False), name="job_step_holds_once"),
            models.CheckConstraint(condition=~Q(said_by=""), name="job_step_has_a_name"),
            models.CheckConstraint(condition=Q(kind__in=KINDS), name="job_step_of_a_known_kind"),
        )

    def __str__(self) -> str:
        return f"{self.job.job} {self.kind}"
