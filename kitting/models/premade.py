"""Records of pre-made kits: recipes for standard locations, and how many kits of each a depot keeps."""

from django.db import models
from django.db.models import F, Q

from inventory.models import Depot
from jobs.models import CODE_LENGTH, CableType, Job, System


class Recipe(models.Model):
    """What a standard location takes, for a cable type and a system; ``revision`` follows from ``lines``.

    Its kits are bags of ``job``, which is never planned and has no schedule.
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

    class Meta:
        """A recipe has a revision."""

        constraints = (models.CheckConstraint(condition=~Q(revision=""), name="recipe_has_a_revision"),)

    def __str__(self) -> str:
        return self.name


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
