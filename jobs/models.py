"""Records of the network and the work on it: systems, cable, structures, positions, jobs and their cable schedules.

Lengths are whole nanometres, voltages exact decimals in kV, dates local to the job's depot. A blank fact is null, or ''
where the fact is text; text facts are kept as they are written on the sheet.
"""

from django.db import models
from django.db.models import F, Q


class System(models.Model):
    """A system: nominal voltage line to line, earthing, and what follows from them or is set with a reason."""

    system = models.CharField(max_length=60, unique=True)
    nominal_kv = models.DecimalField(max_digits=9, decimal_places=4)
    earthing = models.CharField(max_length=40)
    wires = models.PositiveSmallIntegerField(null=True, blank=True)
    max_factor = models.DecimalField(max_digits=7, decimal_places=5, null=True, blank=True)
    connector_class_kv = models.CharField(max_length=20, blank=True)
    mcov_need_kv = models.DecimalField(max_digits=9, decimal_places=4, null=True, blank=True)
    mcov_reason = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """A system is medium voltage; a set MCOV need has its reason."""

        constraints = (
            models.CheckConstraint(condition=Q(nominal_kv__gt=1), name="system_is_medium_voltage"),
            models.CheckConstraint(
                condition=Q(mcov_need_kv__isnull=True) | ~Q(mcov_reason=""), name="set_mcov_need_has_a_reason"
            ),
        )

    def __str__(self) -> str:
        return self.system


class CableFacts(models.Model):
    """The build of a cable, as a cable type or a schedule row states it."""

    conductor_size = models.CharField(max_length=30, blank=True)
    metal = models.CharField(max_length=4, blank=True)
    strand = models.CharField(max_length=20, blank=True)
    insulation = models.CharField(max_length=20, blank=True)
    wall_nm = models.BigIntegerField(null=True, blank=True)
    insulation_level = models.CharField(max_length=20, blank=True)
    cable_class_kv = models.CharField(max_length=20, blank=True)
    doi_low_nm = models.BigIntegerField(null=True, blank=True)
    doi_high_nm = models.BigIntegerField(null=True, blank=True)
    jacketed = models.BooleanField(null=True, blank=True)
    jacket_low_nm = models.BigIntegerField(null=True, blank=True)
    jacket_high_nm = models.BigIntegerField(null=True, blank=True)
    shield = models.CharField(max_length=40, blank=True)

    class Meta:
        """Never a table of its own."""

        abstract = True


class CableType(CableFacts):
    """A kind of cable that is bought: its build and its bands of diameters."""

    cable_type = models.CharField(max_length=60, unique=True)
    cores = models.PositiveSmallIntegerField(null=True, blank=True)
    reel_length_nm = models.BigIntegerField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """Bands run from low to high."""

        constraints = (
            models.CheckConstraint(
                condition=Q(doi_high_nm__gte=F("doi_low_nm"))
                | Q(doi_low_nm__isnull=True)
                | Q(doi_high_nm__isnull=True),
                name="type_doi_low_to_high",
            ),
            models.CheckConstraint(
                condition=Q(jacket_high_nm__gte=F("jacket_low_nm"))
                | Q(jacket_low_nm__isnull=True)
                | Q(jacket_high_nm__isnull=True),
                name="type_jacket_low_to_high",
            ),
        )

    def __str__(self) -> str:
        return self.cable_type


class Reel(models.Model):
    """The drum the cable is cut from, with its own measured band, gauge, who and when."""

    reel = models.CharField(max_length=60, unique=True)
    cable_type = models.ForeignKey(CableType, on_delete=models.PROTECT, related_name="reels")
    origin = models.CharField(max_length=10, blank=True)
    doi_low_nm = models.BigIntegerField(null=True, blank=True)
    doi_high_nm = models.BigIntegerField(null=True, blank=True)
    gauge_id = models.CharField(max_length=60, blank=True)
    measured_by = models.CharField(max_length=120, blank=True)
    measured_on = models.DateField(null=True, blank=True)
    length_left_nm = models.BigIntegerField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """A band runs from low to high."""

        constraints = (
            models.CheckConstraint(
                condition=Q(doi_high_nm__gte=F("doi_low_nm"))
                | Q(doi_low_nm__isnull=True)
                | Q(doi_high_nm__isnull=True),
                name="reel_doi_low_to_high",
            ),
        )

    def __str__(self) -> str:
        return self.reel


class Structure(models.Model):
    """A location: pad, vault, riser, switchgear or joint bay."""

    structure = models.CharField(max_length=60, unique=True)

    def __str__(self) -> str:
        return self.structure


class Job(models.Model):
    """A piece of planned work; ``depot`` is the code of its home depot.

    ``cutover`` and ``cutover_end`` are wall-clock times there, ``2026-03-07 23:00``: the clock may change in between.
    """

    job = models.CharField(max_length=60, unique=True)
    title = models.CharField(max_length=200, blank=True)
    depot = models.CharField(max_length=60)
    cutover = models.CharField(max_length=16, blank=True)
    cutover_end = models.CharField(max_length=16, blank=True)
    priority = models.PositiveIntegerField(null=True, blank=True)
    staging_days = models.PositiveSmallIntegerField(null=True, blank=True)
    cancelled = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """An outage ends after it starts."""

        constraints = (
            models.CheckConstraint(
                condition=Q(cutover_end__gt=F("cutover")) | Q(cutover="") | Q(cutover_end=""),
                name="outage_ends_after_it_starts",
            ),
        )

    def __str__(self) -> str:
        return self.job


class Position(models.Model):
    """A place at a structure where a cable may land: a bushing, a terminal, a joint."""

    structure = models.ForeignKey(Structure, on_delete=models.PROTECT, related_name="positions")
    position = models.CharField(max_length=60)
    kind = models.CharField(max_length=40)
    interface = models.CharField(max_length=40, blank=True)
    phases = models.CharField(max_length=3, blank=True)
    insert_fitted = models.BooleanField(null=True, blank=True)
    switching = models.CharField(max_length=20, blank=True)
    state = models.CharField(max_length=20, blank=True)
    environment = models.CharField(max_length=10, blank=True)
    test_point = models.BooleanField(null=True, blank=True)
    existing_cable_type = models.ForeignKey(
        CableType, on_delete=models.PROTECT, null=True, blank=True, related_name="standing_at"
    )
    current_a = models.PositiveIntegerField(null=True, blank=True)
    stage = models.CharField(max_length=10, blank=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="positions")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """A position is named once at its structure."""

        constraints = (models.UniqueConstraint(fields=("structure", "position"), name="position_once_at_a_structure"),)

    def __str__(self) -> str:
        return f"{self.structure.structure}/{self.position}"


class ScheduleRevision(models.Model):
    """One job's cable schedule as loaded: its letter, the digest of its content, by whom and when. One is live."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="revisions")
    letter = models.CharField(max_length=4)
    digest = models.CharField(max_length=64)
    loaded_by = models.CharField(max_length=120)
    loaded_at = models.DateTimeField()
    live = models.BooleanField(default=True)

    class Meta:
        """A letter is used once a job, and one revision is live."""

        constraints = (
            models.UniqueConstraint(fields=("job", "letter"), name="revision_letter_once_a_job"),
            models.UniqueConstraint(fields=("job",), condition=Q(live=True), name="one_live_revision_a_job"),
        )

    def __str__(self) -> str:
        return f"{self.job.job} revision {self.letter}"


class Run(CableFacts):
    """One row of a cable schedule: a length of cable and where both its ends land."""

    revision = models.ForeignKey(ScheduleRevision, on_delete=models.CASCADE, related_name="runs")
    run = models.CharField(max_length=60)
    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="runs")
    system_after = models.ForeignKey(System, on_delete=models.PROTECT, null=True, blank=True, related_name="runs_after")
    phases = models.CharField(max_length=3)
    cables_per_phase = models.PositiveSmallIntegerField(default=1)
    cable_type = models.ForeignKey(CableType, on_delete=models.PROTECT, null=True, blank=True, related_name="runs")
    reels = models.CharField(max_length=200, blank=True)
    length_nm = models.BigIntegerField(null=True, blank=True)
    from_position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="runs_from")
    to_position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="runs_to")
    remarks = models.TextField(blank=True)

    class Meta:
        """A run number is used once in a revision."""

        constraints = (models.UniqueConstraint(fields=("revision", "run"), name="run_once_in_a_revision"),)

    def __str__(self) -> str:
        return f"{self.revision} r{self.run}"
