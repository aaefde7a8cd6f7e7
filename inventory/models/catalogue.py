"""What there is to stock, and where: depots, the ways between them, suppliers, items and their levels."""

from django.db import models
from django.db.models import F, Q

from inventory.models.fields import Edited, ExactDecimalField


class Depot(Edited):
    """A warehouse with its own calendar; ``night_contact`` answers when it is closed: a name and a number."""

    depot = models.CharField(max_length=60, unique=True)
    name = models.CharField(max_length=120, blank=True)
    time_zone = models.CharField(max_length=60, blank=True)
    closed_days = models.TextField(blank=True)
    staging_days = models.PositiveSmallIntegerField(null=True, blank=True)
    receiving_days = models.PositiveSmallIntegerField(null=True, blank=True)
    hours = models.TextField(blank=True)
    night_contact = models.TextField(blank=True)

    def __str__(self) -> str:
        return self.depot


class Way(Edited):
    """Working days that a transfer takes between two depots."""

    from_depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="ways_out")
    to_depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="ways_in")
    days = models.PositiveSmallIntegerField()

    class Meta:
        """One way between two depots in each direction."""

        constraints = (
            models.UniqueConstraint(fields=("from_depot", "to_depot"), name="way_once"),
            models.CheckConstraint(condition=~Q(from_depot=F("to_depot")), name="way_between_two_depots"),
        )

    def __str__(self) -> str:
        return f"{self.from_depot} to {self.to_depot}"


class Supplier(models.Model):
    """Whom items are bought from."""

    name = models.CharField(max_length=120, unique=True)

    def __str__(self) -> str:
        return self.name


# Kinds of dated stock: the date of the first is final, that of the second may be moved after an inspection.
DATE_IS_FINAL, DATE_MAY_BE_EXTENDED = "I", "II"
DATED_KINDS = (DATE_IS_FINAL, DATE_MAY_BE_EXTENDED)


class Item(Edited):
    """A stock code with its typed facts; several values in one fact are joined by semicolons as on the sheet."""

    stock_code = models.CharField(max_length=60, unique=True)
    description = models.CharField(max_length=300, blank=True)
    kind = models.CharField(max_length=40)
    classes_kv = models.CharField(max_length=120, blank=True)
    interface = models.CharField(max_length=40, blank=True)
    gives_interface = models.CharField(max_length=40, blank=True)
    current_a = models.PositiveIntegerField(null=True, blank=True)
    rated_900 = models.BooleanField(null=True, blank=True)
    ways = models.PositiveSmallIntegerField(null=True, blank=True)
    switching = models.CharField(max_length=20, blank=True)
    phase_to_phase = models.BooleanField(null=True, blank=True)
    doi_low_nm = models.BigIntegerField(null=True, blank=True)
    doi_high_nm = models.BigIntegerField(null=True, blank=True)
    doi_low_2_nm = models.BigIntegerField(null=True, blank=True)
    doi_high_2_nm = models.BigIntegerField(null=True, blank=True)
    conductor_sizes = models.CharField(max_length=200, blank=True)
    conductor_sizes_2 = models.CharField(max_length=200, blank=True)
    metals = models.CharField(max_length=40, blank=True)
    metals_2 = models.CharField(max_length=40, blank=True)
    made_of = models.CharField(max_length=20, blank=True)
    strand = models.CharField(max_length=80, blank=True)
    jacket_low_nm = models.BigIntegerField(null=True, blank=True)
    jacket_high_nm = models.BigIntegerField(null=True, blank=True)
    mcov_kv = ExactDecimalField(max_digits=15, decimal_places=6, null=True, blank=True)
    test_point = models.BooleanField(null=True, blank=True)
    shield = models.CharField(max_length=120, blank=True)
    maker = models.CharField(max_length=120, blank=True)
    contains = models.CharField(max_length=300, blank=True)
    stock_unit = models.CharField(max_length=20, default="ea")
    purchase_unit = models.CharField(max_length=40, blank=True)
    per_purchase_unit = models.BigIntegerField(null=True, blank=True)
    minimum_order = models.BigIntegerField(null=True, blank=True)
    order_multiple = models.BigIntegerField(null=True, blank=True)
    lead_days = models.PositiveIntegerField(null=True, blank=True)
    lead_date = models.DateField(null=True, blank=True)
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, null=True, blank=True, related_name="items")
    supplier_code = models.CharField(max_length=80, blank=True)
    price = ExactDecimalField(max_digits=15, decimal_places=6, null=True, blank=True)
    price_date = models.DateField(null=True, blank=True)
    price_breaks = models.CharField(max_length=300, blank=True)
    shelf_months = models.PositiveIntegerField(null=True, blank=True)
    weight_ng = models.BigIntegerField(null=True, blank=True)  # of one stock unit
    per_box = models.PositiveIntegerField(null=True, blank=True)  # stock units; 0: it comes in no box
    dated_kind = models.CharField(max_length=2, blank=True)  # on no sheet: said by whoever keeps the items; '' is final
    lot_tracked = models.BooleanField(null=True, blank=True)
    rank = models.PositiveIntegerField(null=True, blank=True)
    state = models.CharField(max_length=40, blank=True)

    class Meta:
        """Ranges run from low to high; units of purchase hold something."""

        constraints = (
            models.CheckConstraint(
                condition=Q(doi_high_nm__gte=F("doi_low_nm"))
                | Q(doi_low_nm__isnull=True)
                | Q(doi_high_nm__isnull=True),
                name="item_doi_low_to_high",
            ),
            models.CheckConstraint(
                condition=Q(doi_high_2_nm__gte=F("doi_low_2_nm"))
                | Q(doi_low_2_nm__isnull=True)
                | Q(doi_high_2_nm__isnull=True),
                name="item_second_doi_low_to_high",
            ),
            models.CheckConstraint(
                condition=Q(jacket_high_nm__gte=F("jacket_low_nm"))
                | Q(jacket_low_nm__isnull=True)
                | Q(jacket_high_nm__isnull=True),
                name="item_jacket_low_to_high",
            ),
            models.CheckConstraint(
                condition=Q(per_purchase_unit__gt=0) | Q(per_purchase_unit__isnull=True),
                name="purchase_unit_holds_something",
            ),
            models.CheckConstraint(
                condition=Q(weight_ng__gt=0) | Q(weight_ng__isnull=True), name="item_weighs_something"
            ),
            models.CheckConstraint(condition=Q(dated_kind__in=("", *DATED_KINDS)), name="item_of_a_known_dated_kind"),
        )

    def __str__(self) -> str:
        return self.stock_code

    @property
    def called(self) -> str:
        """What it is, in words: its description, or its kind where that is blank."""
        return self.description or self.kind


class OldCode(models.Model):
    """Another number under which an item is still found; it points to one item only."""

    code = models.CharField(max_length=60, unique=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="old_codes")

    def __str__(self) -> str:
        return self.code


class Level(Edited):
    """Least and greatest stock of an item at a depot, and the floor of its emergency reserve, in thousandths."""

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="levels")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="levels")
    minimum = models.BigIntegerField(null=True, blank=True)
    maximum = models.BigIntegerField(null=True, blank=True)
    reserve_floor = models.BigIntegerField(null=True, blank=True)

    class Meta:
        """One level an item and depot; none is below zero, and the greatest is not below the least."""

        constraints = (
            models.UniqueConstraint(fields=("item", "depot"), name="level_once"),
            models.CheckConstraint(
                condition=Q(maximum__gte=F("minimum")) | Q(minimum__isnull=True) | Q(maximum__isnull=True),
                name="level_least_to_greatest",
            ),
            models.CheckConstraint(
                condition=(Q(minimum__gte=0) | Q(minimum__isnull=True))
                & (Q(reserve_floor__gte=0) | Q(reserve_floor__isnull=True)),
                name="level_not_below_zero",
            ),
        )

    def __str__(self) -> str:
        return f"{self.item} at {self.depot}"
