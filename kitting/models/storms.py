"""Records of storms: who opened and closed an event, which jobs are its own, which kits are kept, lots to be named."""

from django.db import models
from django.db.models import Q

from inventory.models import Lot, Place
from jobs.models import CODE_LENGTH, NAME_LENGTH, Job
from kitting.models.asking import ASKED
from kitting.models.bags import BagLine

OPEN, CLOSED = "open", "closed"
STORM_STATES = (ASKED, OPEN, CLOSED)
NEVER, ONLY_WITH_PLANNER, FREE_TO_BREAK = "never", "only with planner", "free to break"
PROTECTIONS = (NEVER, ONLY_WITH_PLANNER, FREE_TO_BREAK)


class Storm(models.Model):
    """An event: all that is used under its code is told together. ``jobs`` are those whose pieces bear the code."""

    code = models.CharField(max_length=CODE_LENGTH, unique=True)
    title = models.TextField()
    state = models.CharField(max_length=20, default=ASKED, choices=[(state, state) for state in STORM_STATES])
    jobs = models.ManyToManyField(Job, through="StormJob", related_name="storms")
    asked_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    opened_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    opened_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        """A storm is opened and closed by somebody at a moment."""

        constraints = (
            models.CheckConstraint(condition=Q(state__in=STORM_STATES) & ~Q(title=""), name="storm_in_a_known_state"),
            models.CheckConstraint(
                condition=Q(state=ASKED) | (~Q(opened_by="") & Q(opened_at__isnull=False)),
                name="storm_opened_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(state=CLOSED) | (~Q(closed_by="") & Q(closed_at__isnull=False)),
                name="storm_closed_by_somebody",
            ),
        )

    def __str__(self) -> str:
        return self.code


class StormJob(models.Model):
    """A job whose pieces bear a storm's code: the storm's own, or an emergency."""

    storm = models.ForeignKey(Storm, on_delete=models.PROTECT, related_name="storm_jobs")
    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="storm_job")

    def __str__(self) -> str:
        return f"{self.job.job} of {self.storm}"


class KeptKit(models.Model):
    """Whether the kit of a planned job may be broken while a storm is open."""

    storm = models.ForeignKey(Storm, on_delete=models.PROTECT, related_name="kept_kits")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="kept_in_storms")
    protection = models.CharField(max_length=20, choices=[(one, one) for one in PROTECTIONS])
    why = models.TextField()
    by = models.CharField(max_length=NAME_LENGTH)

    class Meta:
        """A job stands once on a storm's list, with a reason and a name."""

        constraints = (
            models.UniqueConstraint(fields=("storm", "job"), name="kit_kept_once_a_storm"),
            models.CheckConstraint(
                condition=Q(protection__in=PROTECTIONS) & ~Q(why="") & ~Q(by=""), name="kit_kept_for_a_reason"
            ),
        )

    def __str__(self) -> str:
        return f"{self.job.job} in {self.storm}: {self.protection}"


class LotToFinish(models.Model):
    """Pieces that went out in haste without a word on their lot: which the books took, and which it was, once known.

    ``lot`` is the one that the books took from ``place``, ``named`` the one that somebody read later.
    """

    storm = models.ForeignKey(Storm, on_delete=models.PROTECT, related_name="lots_to_finish")
    line = models.ForeignKey(BagLine, on_delete=models.PROTECT, related_name="lots_to_finish")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="taken_to_finish")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="lots_to_finish")
    quantity = models.BigIntegerField()
    named = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="finished")
    named_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    named_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        """Something went out, and who names its lot has a name."""

        constraints = (
            models.CheckConstraint(condition=Q(quantity__gt=0), name="lot_to_finish_of_something"),
            models.CheckConstraint(
                condition=Q(named__isnull=True) | (~Q(named_by="") & Q(named_at__isnull=False)),
                name="lot_finished_by_somebody",
            ),
        )

    def __str__(self) -> str:
        return f"{self.line}: lot to finish"
