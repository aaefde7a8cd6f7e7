"""Where pieces lie: places, lots, what stops a lot, and how many pieces of a lot are at a place."""

from django.db import models
from django.db.models import F, Q

from inventory.models.catalogue import Depot, Item

BIN, STAGING, BAG, TRUCK, VAN, HOLD, RESERVE, SUPPLIER_OWNED, LENT = (
    "bin", "staging", "bag", "truck", "van", "hold", "reserve", "supplier-owned", "lent",
)  # fmt: skip
PLACE_KINDS = (BIN, STAGING, BAG, TRUCK, VAN, HOLD, RESERVE, SUPPLIER_OWNED, LENT)


class Place(models.Model):
    """Anything that can hold a piece. A staging place or bag may be kept for a job and a structure.

    The kind is part of its name: the same shelf may have a part that is marked off as hold.
    """

    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="places")
    code = models.CharField(max_length=60)
    kind = models.CharField(max_length=20, choices=[(kind, kind) for kind in PLACE_KINDS], default=BIN)
    job = models.CharField(max_length=60, blank=True)
    structure = models.CharField(max_length=60, blank=True)

    class Meta:
        """A place is named once at its depot and is of a known kind."""

        constraints = (
            models.UniqueConstraint(fields=("depot", "code", "kind", "job", "structure"), name="place_once_at_a_depot"),
            models.CheckConstraint(condition=Q(kind__in=PLACE_KINDS), name="place_of_a_known_kind"),
        )

    def __str__(self) -> str:
        return f"{self.depot.depot}/{self.code}"


class Lot(models.Model):
    """A maker's batch of an item; number '' is the lot that nobody knows, and stays visibly so.

    A known lot has one date; pieces that nobody knows the lot of are told apart by theirs. Pieces that belong to the
    supplier stay his wherever they go, so they are a lot of their own beside ours of the same number.
    """

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="lots")
    number = models.CharField(max_length=60, blank=True)
    use_by = models.DateField(null=True, blank=True)
    supplier_owned = models.BooleanField(default=False)

    class Meta:
        """A number is used once an item and owner; so is a date of pieces without a number."""

        constraints = (
            models.UniqueConstraint(
                fields=("item", "number", "supplier_owned"), condition=~Q(number=""), name="known_lot_once"
            ),
            models.UniqueConstraint(
                fields=("item", "use_by", "supplier_owned"), condition=Q(number=""), name="unknown_lot_once_a_date"
            ),
            models.UniqueConstraint(
                fields=("item", "supplier_owned"),
                condition=Q(number="", use_by__isnull=True),
                name="unknown_undated_lot_once",
            ),
        )

    def __str__(self) -> str:
        return f"{self.item.stock_code} lot {self.number or 'unknown'}"

    @property
    def date_words(self) -> str:
        """Its use-by date; without one it has no shelf life, or nobody knows the date of what does go out of date."""
        if self.use_by is not None:
            return f"use by {self.use_by}"
        return "no shelf life" if self.item.shelf_months is None else "use-by DATE UNKNOWN"

    @property
    def day_words(self) -> str:
        """The same where "use by" stands at the head of the column."""
        return self.date_words.removeprefix("use by ")


class LotHold(models.Model):
    """A mark on a lot number that stops every piece of it, here or yet to come, wherever it lies, until released.

    Single pieces that are set aside (turned in, damaged, expired on arrival) lie at a place of the kind hold instead.
    """

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="holds")
    lot_number = models.CharField(max_length=60)
    reason = models.TextField()
    placed_by = models.CharField(max_length=120)
    placed_at = models.DateTimeField()
    released_by = models.CharField(max_length=120, blank=True)
    released_at = models.DateTimeField(null=True, blank=True)
    release_reason = models.TextField(blank=True)

    class Meta:
        """One open hold a lot number, with a reason; a release names its person and reason."""

        constraints = (
            models.UniqueConstraint(
                fields=("item", "lot_number"), condition=Q(released_at__isnull=True), name="one_open_hold_a_lot"
            ),
            models.CheckConstraint(condition=~Q(lot_number="") & ~Q(reason=""), name="hold_names_lot_and_reason"),
            models.CheckConstraint(
                condition=Q(released_at__isnull=True) | (~Q(released_by="") & ~Q(release_reason="")),
                name="release_names_person_and_reason",
            ),
        )

    def __str__(self) -> str:
        return f"hold {self.pk} on {self.item.stock_code} lot {self.lot_number}"


class Balance(models.Model):
    """Pieces of a lot at a place, derived from movements; never below zero. ``counted_on``: when a person last looked.

    A balance of nothing stays: somebody looked, or stocks the item there.
    """

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="balances")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="balances")
    quantity = models.BigIntegerField(default=0)
    counted_on = models.DateField(null=True, blank=True)

    class Meta:
        """One balance a lot and place, never below zero."""

        constraints = (
            models.UniqueConstraint(fields=("place", "lot"), name="balance_once"),
            models.CheckConstraint(condition=Q(quantity__gte=0), name="balance_not_below_zero"),
        )

    def __str__(self) -> str:
        return f"{self.lot} at {self.place}"


class TruckLevel(models.Model):
    """One line of a truck's list: least and greatest stock of an item on it, in thousandths."""

    truck = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="truck_levels")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="truck_levels")
    minimum = models.BigIntegerField()
    maximum = models.BigIntegerField()

    class Meta:
        """One line a truck and item; it lists something, and the greatest is not below the least."""

        constraints = (
            models.UniqueConstraint(fields=("truck", "item"), name="truck_level_once"),
            models.CheckConstraint(
                condition=Q(minimum__gte=0, maximum__gt=0, maximum__gte=F("minimum")),
                name="truck_level_least_to_greatest",
            ),
        )

    def __str__(self) -> str:
        return f"{self.item} on {self.truck}"
