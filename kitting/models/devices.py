"""What devices carry to where there is no signal, and when each was heard last."""

from django.db import models

from jobs.models import NAME_LENGTH

DEVICE_NUMBER_LENGTH = 40


class DeviceLoad(models.Model):
    """What a person loaded last on a device.

    ``number`` is made by the device's browser and stays with it, ``device`` is what people call it. ``bags`` holds the
    state of each bag by its code, of those on which the person could work; ``counts`` the numbers of count lists.
    ``heard_at`` is when it loaded or sent last as that person, ``told_at`` when it was told that nothing came since.
    """

    number = models.CharField(max_length=DEVICE_NUMBER_LENGTH)
    device = models.CharField(max_length=NAME_LENGTH)
    by = models.CharField(max_length=NAME_LENGTH)
    bags = models.JSONField()
    counts = models.JSONField()
    loaded_at = models.DateTimeField()
    heard_at = models.DateTimeField(db_index=True)
    told_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        """A device that is handed over carries the scans of each person who worked with it."""

        constraints = (models.UniqueConstraint(fields=("number", "by"), name="device_load_of_a_person"),)

    def __str__(self) -> str:
        return f"{self.device} ({self.by})"
