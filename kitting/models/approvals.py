"""Records of what people may decide only together: stand-ins, the reserve, lots on hold, short bags and borrows."""

from datetime import date

from django.db import models
from django.db.models import Q

from inventory.models import Depot, Item, LotHold, Place
from jobs.models import CODE_LENGTH, NAME_LENGTH, Job, System
from kitting.models.asking import APPROVED, Asked, two_persons
from kitting.models.bags import Bag
from kitting.models.planning import LINE_LENGTH, StandIn

COMPARED, ENDED = "compared", "ended"
RELEASE_HOLD, EXTEND_DATE = "release hold", "extend date"
SHORT_ISSUE, TO_BORROW = "short issue", "borrow"
USED, LAPSED = "used", "lapsed"


class StandInRequest(Asked):
    """Somebody asks to use a part instead of another: asked, compared, then approved (with limits) or refused; ended.

    ``compared`` holds the facts of both beside each other, as whoever decides has seen them. An approval is the record
    that planning reads; it is gone where a loaded sheet withdrew it.
    """

    wanted = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="stand_in_requests")
    stand_in = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="requests_to_stand_in")
    line = models.CharField(max_length=LINE_LENGTH, blank=True)
    system = models.ForeignKey(System, on_delete=models.PROTECT, null=True, blank=True)
    outage_running = models.BooleanField(default=False)
    compared = models.JSONField(null=True, blank=True)
    approval = models.OneToOneField(StandIn, on_delete=models.SET_NULL, null=True, blank=True, related_name="request")

    class Meta:
        """Two persons; nothing stands in for itself."""

        constraints = (
            *two_persons("stand_in_request"),
            models.CheckConstraint(condition=~Q(wanted=models.F("stand_in")), name="stand_in_is_another_part"),
        )

    def __str__(self) -> str:
        return f"request {self.pk}: {self.stand_in} for {self.wanted}"

    def state_on(self, day: date) -> str:
        """Its state on a day: what was approved has ended once its last day is past, or a sheet has withdrawn it."""
        if self.state != APPROVED:
            return self.state
        lasts = self.approval is not None and (self.approval.valid_to is None or self.approval.valid_to >= day)
        return APPROVED if lasts else ENDED


class DutyLimit(models.Model):
    """What a duty supervisor may approve at night without standards: a listed pair, so many pieces, so many days."""

    wanted = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="duty_limits")
    stand_in = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="duty_limits_to_stand_in")
    system = models.ForeignKey(System, on_delete=models.PROTECT, null=True, blank=True)
    most_pieces = models.BigIntegerField()
    most_days = models.PositiveSmallIntegerField()
    listed_by = models.CharField(max_length=NAME_LENGTH)
    listed_at = models.DateTimeField()
    reason = models.TextField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        """It has a name and a reason, and allows something; one a pair and system is in force."""

        constraints = (
            models.CheckConstraint(condition=~Q(listed_by="") & ~Q(reason=""), name="duty_limit_has_name_and_reason"),
            models.CheckConstraint(condition=Q(most_pieces__gt=0, most_days__gt=0), name="duty_limit_allows_something"),
            models.UniqueConstraint(
                fields=("wanted", "stand_in", "system"),
                condition=Q(ended_at__isnull=True),
                name="duty_limit_once_a_system",
            ),
            models.UniqueConstraint(
                fields=("wanted", "stand_in"),
                condition=Q(ended_at__isnull=True, system__isnull=True),
                name="duty_limit_once_for_all",
            ),
        )

    def __str__(self) -> str:
        return f"{self.stand_in} for {self.wanted} at night"


class ReserveRelease(Asked):
    """Pieces of a depot's reserve for a named line of a job: asked by a storekeeper, released to a bin or refused."""

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="reserve_releases")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="reserve_releases")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="reserve_releases")
    line = models.CharField(max_length=LINE_LENGTH)
    quantity = models.BigIntegerField()
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="reserve_releases")
    action = models.CharField(max_length=80, blank=True)

    class Meta:
        """Two persons; it is about something."""

        constraints = (
            *two_persons("reserve_release"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="reserve_release_of_something"),
        )

    def __str__(self) -> str:
        return f"reserve request {self.pk}: {self.item} at {self.depot}"


class LotRequest(Asked):
    """A lot that is to be let go from hold, or to have a later date by certificate; signed by two persons."""

    what = models.CharField(max_length=20, choices=[(what, what) for what in (RELEASE_HOLD, EXTEND_DATE)])
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="lot_requests")
    lot_number = models.CharField(max_length=CODE_LENGTH)
    hold = models.ForeignKey(LotHold, on_delete=models.PROTECT, null=True, blank=True, related_name="requests")
    use_by = models.DateField(null=True, blank=True)
    certificate = models.CharField(max_length=CODE_LENGTH, blank=True)

    class Meta:
        """Two persons; a release names its hold, an extension its date and certificate."""

        constraints = (
            *two_persons("lot_request"),
            models.CheckConstraint(
                condition=Q(what=RELEASE_HOLD, hold__isnull=False, use_by__isnull=True, certificate="")
                | (Q(what=EXTEND_DATE, hold__isnull=True, use_by__isnull=False) & ~Q(certificate="")),
                name="lot_request_says_what",
            ),
        )

    def __str__(self) -> str:
        return f"lot request {self.pk}: {self.what} {self.item} lot {self.lot_number}"


class ExpiredUse(Asked):
    """Thousandths of a lot that may be used on a job past its date, through ``good_to``: standards and duty sign."""

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="expired_uses")
    lot_number = models.CharField(max_length=CODE_LENGTH)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="expired_uses")
    quantity = models.BigIntegerField()
    good_to = models.DateField()

    class Meta:
        """Two persons; it is about something."""

        constraints = (
            *two_persons("expired_use"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="expired_use_of_something"),
        )

    def __str__(self) -> str:
        return f"{self.item} lot {self.lot_number} for {self.job}, past its date"


class BagRequest(Asked):
    """A storekeeper asks that a bag may go out short, or lend pieces to another bag: approved for once, or refused.

    ``lacks`` is what the bag lacked when it was asked, thousandths by stock code; an approval holds only while nothing
    more is missing, and through the day ``good_to``. ``ended`` says that nothing is to be decided or done any more.
    """

    what = models.CharField(max_length=20, choices=[(what, what) for what in (SHORT_ISSUE, TO_BORROW)])
    bag = models.ForeignKey(Bag, on_delete=models.PROTECT, related_name="requests")
    lacks = models.JSONField()
    crew = models.CharField(max_length=NAME_LENGTH, blank=True)
    needed_at = models.CharField(max_length=NAME_LENGTH, blank=True)
    to_bag = models.ForeignKey(Bag, on_delete=models.PROTECT, null=True, blank=True, related_name="requests_to_borrow")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="requests_to_borrow")
    lot_number = models.CharField(max_length=CODE_LENGTH, blank=True)
    quantity = models.BigIntegerField(default=0)
    pay_back_by = models.DateField(null=True, blank=True)
    free_first = models.JSONField(default=list)
    decided_as = models.CharField(max_length=NAME_LENGTH, blank=True)
    good_to = models.DateField(null=True, blank=True)
    ended = models.CharField(max_length=20, blank=True, choices=[(how, how) for how in (USED, LAPSED)])

    class Meta:
        """Two persons; a borrow says of what, to where and until when; an approval has a last day."""

        constraints = (
            *two_persons("bag_request"),
            models.CheckConstraint(
                condition=(Q(what=SHORT_ISSUE, to_bag__isnull=True, item__isnull=True) & ~Q(crew=""))
                | (
                    Q(what=TO_BORROW, to_bag__isnull=False, item__isnull=False)
                    & Q(quantity__gt=0, pay_back_by__isnull=False)
                ),
                name="bag_request_says_what",
            ),
            models.CheckConstraint(
                condition=~Q(state=APPROVED) | Q(good_to__isnull=False), name="bag_approval_has_a_last_day"
            ),
        )

    def __str__(self) -> str:
        if self.what == SHORT_ISSUE:
            return f"request {self.pk}: {self.bag} short"
        return f"request {self.pk}: {self.item} from {self.bag} to {self.to_bag}"
