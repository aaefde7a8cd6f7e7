"""Records of the network and the work on it: systems, cable, structures, positions, jobs and their cable schedules.

Lengths are whole nanometres, voltages exact decimals in kV, dates local to the job's depot. A blank fact is null, or ''
where the fact is text; text facts are kept as our own sheets write them. ``version`` rises with every change of a
record, so that an edit of what somebody else has changed meanwhile can be refused.
"""

from django.db import models
from django.db.models import F, Q

CODE_LENGTH = 100  # characters; the sheets take no longer code
NAME_LENGTH = 120
MOMENT_LENGTH = len("2026-03-05 09:00")


def low_to_high(low: str, high: str) -> Q:
    """Both ends of a band stand in order, as far as they are known."""
    return Q(**{f"{high}__gte": F(low)}) | Q(**{f"{low}__isnull": True}) | Q(**{f"{high}__isnull": True})


class System(models.Model):
    """A system: nominal voltage line to line, earthing, and what follows from them or is set with a reason."""

    system = models.CharField(max_length=CODE_LENGTH, unique=True)
    nominal_kv = models.DecimalField(max_digits=9, decimal_places=4)
    earthing = models.CharField(max_length=40)
    wires = models.PositiveSmallIntegerField(null=True, blank=True)
    max_factor = models.DecimalField(max_digits=7, decimal_places=5, null=True, blank=True)
    connector_class_kv = models.CharField(max_length=20, blank=True)
    mcov_need_kv = models.DecimalField(max_digits=9, decimal_places=4, null=True, blank=True)
    mcov_reason = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """Medium voltage is more than 1 kV (IEC 60038); sheets read up to 69 kV. A set MCOV need has its reason."""

        constraints = (
            models.CheckConstraint(
                condition=Q(nominal_kv__gt=1) & Q(nominal_kv__lte=69), name="system_is_medium_voltage"
            ),
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
    shield = models.TextField(blank=True)

    class Meta:
        """Never a table of its own; bands run from low to high."""

        abstract = True
        constraints = (
            models.CheckConstraint(
                condition=low_to_high("doi_low_nm", "doi_high_nm"), name="%(class)s_doi_low_to_high"
            ),
            models.CheckConstraint(
                condition=low_to_high("jacket_low_nm", "jacket_high_nm"), name="%(class)s_jacket_low_to_high"
            ),
        )


class CableType(CableFacts):
    """A kind of cable that is bought: its build and its bands of diameters."""

    cable_type = models.CharField(max_length=CODE_LENGTH, unique=True)
    cores = models.PositiveSmallIntegerField(null=True, blank=True)
    reel_length_nm = models.BigIntegerField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return self.cable_type


class Reel(models.Model):
    """The drum the cable is cut from, with its own measured band, gauge, who and when."""

    reel = models.CharField(max_length=CODE_LENGTH, unique=True)
    cable_type = models.ForeignKey(CableType, on_delete=models.PROTECT, related_name="reels")
    origin = models.CharField(max_length=10, blank=True)
    doi_low_nm = models.BigIntegerField(null=True, blank=True)
    doi_high_nm = models.BigIntegerField(null=True, blank=True)
    gauge_id = models.CharField(max_length=CODE_LENGTH, blank=True)
    measured_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    measured_on = models.DateField(null=True, blank=True)
    length_left_nm = models.BigIntegerField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """A band runs from low to high."""

        constraints = (
            models.CheckConstraint(condition=low_to_high("doi_low_nm", "doi_high_nm"), name="reel_doi_low_to_high"),
        )

    def __str__(self) -> str:
        return self.reel


class Structure(models.Model):
    """A location: pad, vault, riser, switchgear or joint bay."""

    structure = models.CharField(max_length=CODE_LENGTH, unique=True)

    def __str__(self) -> str:
        return self.structure


CANCELLED, UNDER_WAY, COMPLETE = "cancelled", "under way", "complete"
ENDS = (CANCELLED, UNDER_WAY, COMPLETE)


class Job(models.Model):
    """A piece of planned work; ``depot`` is the code of its home depot.

    One that has ended, or whose last bag is out with the crew (``under way``), is planned no more. ``cutover`` and
    ``cutover_end`` are wall-clock times there, ``2026-03-07 23:00``: the clock may change in between. ``owner`` is the
    planner whose job it is.
    """

    job = models.CharField(max_length=CODE_LENGTH, unique=True)
    title = models.TextField(blank=True)
    depot = models.CharField(max_length=CODE_LENGTH)
    cutover = models.CharField(max_length=MOMENT_LENGTH, blank=True)
    cutover_end = models.CharField(max_length=MOMENT_LENGTH, blank=True)
    priority = models.PositiveIntegerField(null=True, blank=True)
    staging_days = models.PositiveSmallIntegerField(null=True, blank=True)
    owner = models.TextField(blank=True)
    ended = models.CharField(max_length=20, blank=True, choices=[(how, how) for how in ENDS])
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """An outage does not end before it starts; a job ends in a known way."""

        constraints = (
            models.CheckConstraint(condition=Q(ended__in=("", *ENDS)), name="job_ends_in_a_known_way"),
            models.CheckConstraint(
                condition=Q(cutover_end__gte=F("cutover")) | Q(cutover="") | Q(cutover_end=""),
                name="outage_ends_after_it_starts",
            ),
        )

    def __str__(self) -> str:
        return self.job


class Position(models.Model):
    """A place at a structure where a cable may land: a bushing, a terminal, a joint; on which ``feeder``, if known."""

    structure = models.ForeignKey(Structure, on_delete=models.PROTECT, related_name="positions")
    position = models.CharField(max_length=CODE_LENGTH)
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
    feeder = models.CharField(max_length=CODE_LENGTH, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """A position is named once at its structure."""

        constraints = (models.UniqueConstraint(fields=("structure", "position"), name="position_once_at_a_structure"),)

    def __str__(self) -> str:
        return f"{self.structure.structure}/{self.position}"


class ScheduleRevision(models.Model):
    """One job's cable schedule as loaded: its letter, what it was loaded from, by whom and when. One is live.

    ``digest`` is SHA-256 over the runs, ``file_digest`` over the content of all sheets that came with them.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="revisions")
    letter = models.CharField(max_length=4)
    digest = models.CharField(max_length=64)
    file_digest = models.CharField(max_length=64)
    loaded_by = models.CharField(max_length=NAME_LENGTH)
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
    run = models.CharField(max_length=CODE_LENGTH)
    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="runs")
    system_after = models.ForeignKey(System, on_delete=models.PROTECT, null=True, blank=True, related_name="runs_after")
    phases = models.CharField(max_length=3)
    cables_per_phase = models.PositiveSmallIntegerField(default=1)
    cable_type = models.ForeignKey(CableType, on_delete=models.PROTECT, null=True, blank=True, related_name="runs")
    reels = models.TextField(blank=True)
    length_nm = models.BigIntegerField(null=True, blank=True)
    from_position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="runs_from")
    to_position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="runs_to")
    remarks = models.TextField(blank=True)

    class Meta:
        """A run number is used once in a revision, and a run leads somewhere; bands run from low to high."""

        constraints = (
            *CableFacts.Meta.constraints,
            models.UniqueConstraint(fields=("revision", "run"), name="run_once_in_a_revision"),
            models.CheckConstraint(condition=~Q(from_position=F("to_position")), name="run_leads_somewhere"),
        )

    def __str__(self) -> str:
        return f"{self.revision} r{self.run}"
