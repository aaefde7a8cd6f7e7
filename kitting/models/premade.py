"""Records of pre-made kits: recipes for standard locations, and how many kits of each a depot keeps."""

from datetime import date

from django.db import models
from django.db.models import F, Q

from inventory.models import Depot
from jobs.models import CODE_LENGTH, CableType, Job, System


class Recipe(models.Model):
    """What a standard location takes, for a cable type and a system; ``revision`` follows from ``lines``.

    ``why_open`` says why the rules can't make it up any more; ``to_come`` what rules that are published for a later
    day change on ``to_come_on``. Its kits are bags of ``job``, which is never planned and has no schedule.
    """

    name = models.CharField(max_length=CODE_LENGTH, unique=True)
    location = models.CharField(max_length=40)
    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="recipes")
    cable_type = models.ForeignKey(CableType, on_delete=models.PROTECT, related_name="recipes")
    interface = models.CharField(max_length=40, blank=True)
    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="recipe")
    revision = models.CharField(max_length=10)
    lines = models.JSONField()
    why_open = models.TextField(blank=True)
    to_come_on = models.DateField(null=True, blank=True)
    to_come = models.TextField(blank=True)

    class Meta:
        """A recipe has a revision, and a day on which it becomes another one only where it says what differs then."""

        constraints = (
            models.CheckConstraint(condition=~Q(revision=""), name="recipe_has_a_revision"),
            models.CheckConstraint(
                condition=Q(to_come_on__isnull=True, to_come="") | (Q(to_come_on__isnull=False) & ~Q(to_come="")),
                name="recipe_to_come_on_a_day",
            ),
        )

    def __str__(self) -> str:
        return self.name

    def is_due(self, today: date) -> bool:
        """Whether the day has come on which published rules make another recipe of it, and nobody has done so yet."""
        return self.to_come_on is not None and self.to_come_on <= today

    @property
    def due_words(self) -> str:
        """What to do about that."""
        return f"RECIPE CHANGED on {self.to_come_on}: {self.to_come}. Make the recipes up again."


class KitLevel(models.Model):
    """Least and greatest number of kits of a recipe that a depot keeps."""

    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, related_name="levels")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="kit_levels")
    minimum = models.PositiveSmallIntegerField()
    maximum = models.PositiveSmallIntegerField()

    class Meta:
        """One level a recipe and depot; the greatest is not below the least."""

        constraints = (
            models.UniqueConstraint(fields=("recipe", "depot"), name="kit_level_once"),
            models.CheckConstraint(condition=Q(maximum__gte=F("minimum")), name="kit_level_least_to_greatest"),
        )

    def __str__(self) -> str:
        return f"{self.recipe} at {self.depot.depot}"
