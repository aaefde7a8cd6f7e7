"""Records of planning: policies, decisions by hand, rule revisions, applied plans with their promises, and events."""

from django.db import models
from django.db.models import F, Q

from inventory.models import Depot, Item, Lot, OrderLine, Place
from jobs.models import CODE_LENGTH, NAME_LENGTH, Job, Structure, System

DIGEST_LENGTH = 64  # SHA-256 as hexadecimal digits
LINE_LENGTH = 300


class Policy(models.Model):
    """One owner's policy, as text."""

    policy = models.CharField(max_length=60, unique=True)
    value = models.TextField()
    version = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return self.policy


class StandIn(models.Model):
    """A part approved to be used instead of another, with its limits; several approvals may stand side by side."""

    wanted = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="stand_ins")
    allowed = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="stands_in_for")
    system = models.ForeignKey(System, on_delete=models.PROTECT, null=True, blank=True, related_name="stand_ins")
    valid_from = models.DateField(null=True, blank=True)
    valid_to = models.DateField(null=True, blank=True)
    max_quantity = models.BigIntegerField(null=True, blank=True)
    approved_by = models.CharField(max_length=NAME_LENGTH)
    reason = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """An approval has a name and does not end before it starts."""

        constraints = (
            models.CheckConstraint(condition=~Q(approved_by=""), name="stand_in_has_a_name"),
            models.CheckConstraint(
                condition=Q(valid_to__gte=F("valid_from")) | Q(valid_from__isnull=True) | Q(valid_to__isnull=True),
                name="approval_ends_after_it_starts",
            ),
        )

    def __str__(self) -> str:
        return f"{self.allowed} for {self.wanted}"


class Pin(models.Model):
    """A planner's decision that a line takes a stock code, or the very pieces, with the reason."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="pins")
    line = models.CharField(max_length=LINE_LENGTH)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="pins")
    lot = models.CharField(max_length=CODE_LENGTH, blank=True)
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, null=True, blank=True, related_name="pins")
    quantity = models.BigIntegerField()
    reason = models.TextField()
    by = models.CharField(max_length=NAME_LENGTH)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """A pin has a reason and a name, and holds something."""

        constraints = (
            models.CheckConstraint(condition=~Q(reason="") & ~Q(by=""), name="pin_has_reason_and_name"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="pin_holds_something"),
        )

    def __str__(self) -> str:
        return f"{self.line}: {self.item}"


class AddedLine(models.Model):
    """A requirement that a person added by hand, with reason and name."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="added_lines")
    structure = models.CharField(max_length=CODE_LENGTH)
    position = models.CharField(max_length=CODE_LENGTH, blank=True)
    kind = models.CharField(max_length=40)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="added_lines")
    quantity = models.BigIntegerField()
    reason = models.TextField()
    by = models.CharField(max_length=NAME_LENGTH)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """An added line has a reason and a name, and needs something."""

        constraints = (
            models.CheckConstraint(condition=~Q(reason="") & ~Q(by=""), name="added_line_has_reason_and_name"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="added_line_needs_something"),
        )

    def __str__(self) -> str:
        return f"{self.job} {self.kind} by hand"


class ShortLine(models.Model):
    """A line that plans call short: since which day, until which (None: still), who sees to it, '' for nobody named.

    It survives plans that call the line short again, so that its age can be told.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="short_lines")
    line = models.CharField(max_length=LINE_LENGTH)
    since = models.DateField()
    ended = models.DateField(null=True, blank=True)
    owner = models.CharField(max_length=NAME_LENGTH, blank=True)

    class Meta:
        """A line is short once at a time."""

        constraints = (
            models.UniqueConstraint(
                fields=("line",), condition=Q(ended__isnull=True), name="short_line_once_at_a_time"
            ),
        )

    def __str__(self) -> str:
        return self.line


class Answer(models.Model):
    """An answer that settled a doubtful cell: what the cell read, what it was settled to, by whom and on which day.

    ``digest`` is SHA-256 over sheet, key, column, what was read, and the value.
    """

    sheet = models.CharField(max_length=60)
    key = models.TextField()
    column = models.TextField()
    read = models.TextField(blank=True)
    value = models.TextField()
    by = models.TextField()
    on = models.TextField()
    digest = models.CharField(max_length=DIGEST_LENGTH, unique=True)

    def __str__(self) -> str:
        return f"{self.sheet} {self.key} {self.column}"


class RuleRevision(models.Model):
    """A decision table as it stood from a day on: its rows as text. Never edited; the one of highest number is live.

    ``revision`` is the name that lines carry; it follows from the content, so it stands twice where an owner went back.
    """

    table = models.CharField(max_length=60)
    number = models.PositiveIntegerField()
    revision = models.CharField(max_length=40)
    columns = models.JSONField()
    rows = models.JSONField()
    live_from = models.DateField()
    loaded_by = models.CharField(max_length=NAME_LENGTH)
    loaded_at = models.DateTimeField()

    class Meta:
        """A number is used once a table."""

        constraints = (models.UniqueConstraint(fields=("table", "number"), name="rule_revision_once"),)

    def __str__(self) -> str:
        return f"{self.table} {self.number}: {self.revision}"


class BagDepot(models.Model):
    """The depot at which the bag of a location of a job is staged, where that is said; else it is the job's own."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="bag_depots")
    structure = models.ForeignKey(Structure, on_delete=models.PROTECT, related_name="bag_depots")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="bag_depots")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """A bag is staged at one depot."""

        constraints = (models.UniqueConstraint(fields=("job", "structure"), name="bag_depot_once_a_location"),)

    def __str__(self) -> str:
        return f"{self.job.job} {self.structure} at {self.depot.depot}"


class AppliedPlan(models.Model):
    """A plan that a person reviewed and applied: the digest of the facts it used, who and when."""

    digest = models.CharField(max_length=DIGEST_LENGTH)
    as_of = models.DateField()
    applied_by = models.CharField(max_length=NAME_LENGTH)
    applied_at = models.DateTimeField()
    summary = models.JSONField()

    def __str__(self) -> str:
        return f"plan as of {self.as_of.isoformat()}"


class JobReadiness(models.Model):
    """What an applied plan answered for a job: one of the six, why, what was short. Never edited."""

    plan = models.ForeignKey(AppliedPlan, on_delete=models.PROTECT, related_name="answers")
    job = models.CharField(max_length=CODE_LENGTH, db_index=True)
    answer = models.CharField(max_length=20)
    deciding_line = models.CharField(max_length=LINE_LENGTH, blank=True)
    short = models.TextField(blank=True)
    staged_by = models.DateField(null=True, blank=True)

    class Meta:
        """A plan answers once for a job."""

        constraints = (models.UniqueConstraint(fields=("plan", "job"), name="answer_once_a_plan_and_job"),)

    def __str__(self) -> str:
        return f"{self.job}: {self.answer}"


class Promise(models.Model):
    """Pieces promised to a requirement line from ``made_at`` until released: on a shelf, or with an order line.

    ``depot`` is the code of the depot at which the bag of the line is staged.
    """

    plan = models.ForeignKey(AppliedPlan, on_delete=models.PROTECT, related_name="promises")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="promises")
    line = models.CharField(max_length=LINE_LENGTH)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="promises")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="promises")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="promises")
    order_line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, null=True, blank=True, related_name="promises")
    quantity = models.BigIntegerField()
    depot = models.CharField(max_length=CODE_LENGTH)
    source = models.CharField(max_length=10)
    ready_on = models.DateField()
    rule = models.CharField(max_length=60, blank=True)
    rule_revision = models.CharField(max_length=40, blank=True)
    made_at = models.DateTimeField()
    released_at = models.DateTimeField(null=True, blank=True)
    released_why = models.TextField(blank=True)

    class Meta:
        """A promise is of something, and of pieces that are somewhere or on order."""

        constraints = (
            models.CheckConstraint(condition=Q(quantity__gt=0), name="promise_of_something"),
            models.CheckConstraint(
                condition=(Q(lot__isnull=False) & Q(place__isnull=False) & Q(order_line__isnull=True))
                | (Q(lot__isnull=True) & Q(place__isnull=True) & Q(order_line__isnull=False)),
                name="promise_of_pieces_or_of_an_order",
            ),
        )

    def __str__(self) -> str:
        return f"{self.line}: {self.item}"


class Event(models.Model):
    """What happened, once and for all: who did what to what, before and after, why; chained by digest. Never edited.

    ``at`` is the moment by whoever did it, ``recorded_at`` that at which it reached these books; ``addressed_to`` is
    the role that must be told, '' for none.

    ``device`` is '' where it has no name, ``device_at`` what its clock said (None: it told no time), ``clock_behind_s``
    by how many seconds that clock was behind the server's. ``zone`` names the zone of the day at which it happened, of
    its depot where it has one; ``rule_book`` the revision of each decision table that was live. Events of before
    these were kept have no zone.
    """

    number = models.BigIntegerField(unique=True)
    name = models.CharField(max_length=60)
    subject = models.CharField(max_length=LINE_LENGTH)
    data = models.JSONField()
    by = models.CharField(max_length=NAME_LENGTH)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    addressed_to = models.CharField(max_length=60, blank=True)
    depot = models.CharField(max_length=CODE_LENGTH, blank=True)
    device = models.CharField(max_length=NAME_LENGTH, blank=True, default="")
    device_at = models.DateTimeField(null=True, blank=True)
    clock_behind_s = models.BigIntegerField(null=True, blank=True)
    is_offline = models.BooleanField(default=False)
    zone = models.CharField(max_length=60, blank=True, default="")
    rule_book = models.TextField(blank=True, default="")
    previous_digest = models.CharField(max_length=DIGEST_LENGTH)
    digest = models.CharField(max_length=DIGEST_LENGTH, unique=True)

    class Meta:
        """The history of one thing is asked for by its name."""

        indexes = (models.Index(fields=("subject",), name="event_by_subject"),)

    def __str__(self) -> str:
        return f"{self.number} {self.name}"
