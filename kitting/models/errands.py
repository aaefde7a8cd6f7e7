"""Long work that somebody asked for and a worker does: planning, applying, reading a file."""

from django.db import models

from jobs.models import NAME_LENGTH

WAITING, RUNNING, DONE, REFUSED, FAILED, STOPPED = "waiting", "running", "done", "refused", "failed", "stopped"
ERRAND_STATES = (WAITING, RUNNING, DONE, REFUSED, FAILED, STOPPED)


class Errand(models.Model):
    """One piece of long work.

    ``given`` is what is asked, ``file`` what was sent with it; ``stage`` how far it has come; ``result`` what came of
    it, ``kept`` what it must keep of its input to go on with. ``beat`` is the last sign of life of the worker: without
    one for a while the work is begun again, so every kind of errand may be done twice.
    """

    kind = models.CharField(max_length=40)
    asked_by = models.CharField(max_length=NAME_LENGTH)
    asked_at = models.DateTimeField()
    given = models.JSONField(default=dict)
    file_name = models.CharField(max_length=200, blank=True)
    file = models.BinaryField(default=bytes)
    state = models.CharField(max_length=20, default=WAITING, choices=[(one, one) for one in ERRAND_STATES])
    stage = models.CharField(max_length=200, blank=True)
    message = models.TextField(blank=True)
    result = models.JSONField(default=dict)
    kept = models.BinaryField(default=bytes)
    beat = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)

    class Meta:
        """It is in a known state."""

        constraints = (
            models.CheckConstraint(condition=models.Q(state__in=ERRAND_STATES), name="errand_in_a_known_state"),
        )

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}"

    @property
    def ended(self) -> bool:
        """Whether nothing more will come of it."""
        return self.state in (DONE, REFUSED, FAILED, STOPPED)
