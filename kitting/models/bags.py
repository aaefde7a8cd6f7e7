"""Records of kits: bags, what they are to hold, what was done with each piece, borrowed pieces and kept scans.

Quantities are thousandths of the item's stock unit.
"""

from django.db import models
from django.db.models import F, Q

from inventory.models import Action, Depot, Item, Lot, Place, Transfer
from jobs.models import CODE_LENGTH, NAME_LENGTH, Job
from kitting.calculation.bag_states import DRAFT, STATES
from kitting.models.planning import LINE_LENGTH, AppliedPlan

PLAN_TABLES = ("requirements", "shortages", "refusals", "cures", "reorder", "questions")
# What may happen to pieces of a line. Those of OUT take them out of the bag, those of ACCOUNTED for good.
PICKED, PUT_BACK, ISSUED, HANDED_BACK = "picked", "put back", "issued", "handed back"
INSTALLED, TURNED_IN, SCRAPPED, LOST, BORROWED = "installed", "turned in", "scrapped", "lost", "borrowed"
# A slip of the finger is taken back, and both stay.
NOT_INSTALLED, NOT_TURNED_IN, NOT_SCRAPPED, NOT_LOST = "not installed", "not turned in", "not scrapped", "not lost"
TAKEN_BACK = {NOT_INSTALLED: INSTALLED, NOT_TURNED_IN: TURNED_IN, NOT_SCRAPPED: SCRAPPED, NOT_LOST: LOST}
BACK_FROM = {deed: back for back, deed in TAKEN_BACK.items()}
DEEDS = (PICKED, PUT_BACK, ISSUED, HANDED_BACK, INSTALLED, TURNED_IN, SCRAPPED, LOST, BORROWED, *TAKEN_BACK)
ACCOUNTED = (INSTALLED, TURNED_IN, SCRAPPED, LOST)
OUT_OF_THE_BAG = (PUT_BACK, BORROWED, *ACCOUNTED)
FITTED = Q(deed=INSTALLED, undone_by=None)  # of entries: those that put pieces on the line
# Why a bag is finished although something is missing: name -> what it means, for who chooses.
SHORT_CAUSES = {
    "not in the bin": "the bin is empty, or holds fewer than the books say",
    "damaged": "what lies there is damaged",
    "wrong item in the bin": "another part lies where it should be",
    "held": "what lies there is on hold",
    "still to come": "it waits for a transfer or an order",
    "other": "say it in words",
}
IN_WORDS = "other"  # the cause that needs words
# Where parts go that were taken out of service: never back to stock (common practice of stores).
ON_PAPER = "on paper"  # fact of an entry that was typed from a night card: whose initials stand on it
SCRAP_METAL, FAILURE_STUDY = "scrap metal", "failure study"
FATES = (SCRAP_METAL, FAILURE_STUDY)


def and_taken_back(*deeds: str) -> tuple[str, ...]:
    """These deeds and those that take them back."""
    return (*deeds, *(BACK_FROM[deed] for deed in deeds if deed in BACK_FROM))


class PlanRow(models.Model):
    """A row of a table of the plan that was applied last, as text; ``position`` is its place in the table."""

    plan = models.ForeignKey(AppliedPlan, on_delete=models.PROTECT, related_name="rows")
    table = models.CharField(max_length=20, choices=[(name, name) for name in PLAN_TABLES])
    job = models.CharField(max_length=CODE_LENGTH, blank=True, db_index=True)
    position = models.PositiveIntegerField()
    cells = models.JSONField()

    class Meta:
        """A place in a table is used once."""

        constraints = (models.UniqueConstraint(fields=("plan", "table", "position"), name="plan_row_once"),)

    def __str__(self) -> str:
        return f"{self.plan} {self.table} {self.position}"


class Bag(models.Model):
    """All that goes to one location of a job; a counted place of its own, wherever it is carried.

    ``revision`` is the schedule revision that its list was made of. ``whereabouts`` is its rack place, or the truck
    that took it. ``state_before_hold`` is '' unless it is on hold. ``transfer`` is that by which it is on the road; it
    belongs to the depot that it goes to then, and its place is the van.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="bags")
    structure = models.CharField(max_length=CODE_LENGTH, blank=True)
    number = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=80, unique=True)
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="bags")
    place = models.OneToOneField(Place, on_delete=models.PROTECT, related_name="bag")
    state = models.CharField(max_length=20, default=DRAFT, choices=[(state, state) for state in STATES])
    state_before_hold = models.CharField(max_length=20, blank=True)
    revision = models.CharField(max_length=10, blank=True)
    whereabouts = models.CharField(max_length=60, blank=True)
    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, null=True, blank=True, related_name="bags")
    checked_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    crew = models.CharField(max_length=NAME_LENGTH, blank=True)
    why = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """One bag a location of a job, in a known state; one bag a rack place is asked about, not forced."""

        constraints = (
            models.UniqueConstraint(fields=("job", "structure"), name="bag_once_a_location"),
            models.CheckConstraint(condition=Q(state__in=STATES), name="bag_in_a_known_state"),
        )

    def __str__(self) -> str:
        return f"{self.job.job} {self.structure}".strip()


class BagLine(models.Model):
    """Pieces of one stock code that a requirement line wants in a bag; ``facts`` is that line as text.

    ``instead_of`` is the stock code that this one stands in for. A line that an earlier list held and the live one
    doesn't is ``dropped``.
    """

    bag = models.ForeignKey(Bag, on_delete=models.PROTECT, related_name="lines")
    line = models.CharField(max_length=LINE_LENGTH)
    position = models.PositiveIntegerField()
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="bag_lines")
    instead_of = models.CharField(max_length=CODE_LENGTH, blank=True)
    quantity = models.BigIntegerField()
    spare = models.BooleanField(default=False)
    dropped = models.BooleanField(default=False)
    facts = models.JSONField()

    class Meta:
        """A line wants a stock code once in its bag."""

        constraints = (
            models.UniqueConstraint(fields=("bag", "line", "item"), name="bag_line_once"),
            models.CheckConstraint(condition=Q(quantity__gte=0), name="bag_line_not_below_nothing"),
        )

    def __str__(self) -> str:
        return f"{self.bag} {self.line}"


class BagEntry(models.Model):
    """What was done with pieces of a line, once and for all; a mistake is made good by another entry.

    ``phase`` is the letters at which pieces were installed. In ``facts`` stand ``position``, where the line names none;
    ``gauge``; ``condition``, how pieces came back, and ``door``, where they went. What takes another entry back
    ``undoes`` it.
    """

    action = models.ForeignKey(Action, on_delete=models.PROTECT, related_name="bag_entries")
    line = models.ForeignKey(BagLine, on_delete=models.PROTECT, related_name="entries")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="bag_entries")
    deed = models.CharField(max_length=20, choices=[(deed, deed) for deed in DEEDS])
    quantity = models.BigIntegerField()
    phase = models.CharField(max_length=3, blank=True)
    facts = models.JSONField(default=dict)
    undoes = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="undone_by")

    class Meta:
        """Something of a known kind was done with something."""

        constraints = (
            models.CheckConstraint(condition=Q(quantity__gt=0), name="bag_entry_of_something"),
            models.CheckConstraint(condition=Q(deed__in=DEEDS), name="bag_entry_of_a_known_kind"),
        )

    def __str__(self) -> str:
        return f"{self.deed} {self.line}"


class Retired(models.Model):
    """Installed pieces that were taken off the line: which entry put them there, why, and their fate. Never edited."""

    action = models.ForeignKey(Action, on_delete=models.PROTECT, related_name="retired")
    entry = models.ForeignKey(BagEntry, on_delete=models.PROTECT, related_name="retired")
    quantity = models.BigIntegerField()
    why = models.TextField()
    fate = models.CharField(max_length=20, choices=[(fate, fate) for fate in FATES])

    class Meta:
        """Something was taken off, for a reason, to a known fate."""

        constraints = (
            models.CheckConstraint(condition=Q(quantity__gt=0) & ~Q(why=""), name="retired_something_for_a_reason"),
            models.CheckConstraint(condition=Q(fate__in=FATES), name="retired_to_a_known_fate"),
        )

    def __str__(self) -> str:
        return f"{self.entry} retired"


class Borrow(models.Model):
    """Pieces taken from a bag for another job: why, by whose leave, what was looked at first, and when they come back.

    ``free_first`` is what was offered before the bag was broken, and why it would not do.
    """

    bag = models.ForeignKey(Bag, on_delete=models.PROTECT, related_name="borrows")
    to_job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="borrows")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="borrows")
    quantity = models.BigIntegerField()
    why = models.TextField()
    free_first = models.JSONField(default=list)
    asked_by = models.CharField(max_length=NAME_LENGTH)
    authorised_by = models.CharField(max_length=NAME_LENGTH)
    borrowed_at = models.DateTimeField()
    pay_back_by = models.DateField()
    paid = models.BigIntegerField(default=0)
    given_up_why = models.TextField(blank=True)

    class Meta:
        """A borrow has a reason and two names, and not more comes back than was taken."""

        constraints = (
            models.CheckConstraint(
                condition=~Q(why="") & ~Q(asked_by="") & ~Q(authorised_by=""), name="borrow_has_reason_and_names"
            ),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, paid__gte=0, paid__lte=F("quantity")), name="borrow_paid_up_to_what_it_is"
            ),
        )

    def __str__(self) -> str:
        return f"{self.lot} from {self.bag} to {self.to_job}"


class KeptScan(models.Model):
    """A scan of a device that could not be applied when it reached the books: kept until a person settles it.

    ``depot`` is whose people decide about it, '' where nobody can tell.
    """

    action = models.CharField(max_length=80, unique=True)
    device = models.CharField(max_length=NAME_LENGTH)
    use_case = models.CharField(max_length=40)
    content = models.JSONField()
    by = models.CharField(max_length=NAME_LENGTH)
    device_at = models.DateTimeField()
    reached_at = models.DateTimeField()
    why = models.TextField()
    depot = models.CharField(max_length=CODE_LENGTH, blank=True)
    settled_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    settled_why = models.TextField(blank=True)

    def __str__(self) -> str:
        return self.action
