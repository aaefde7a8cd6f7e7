"""Records of the warehouse: items, suppliers, depots, places, lots, movements, balances and orders.

Quantities are whole thousandths of the item's stock unit, lengths whole nanometres, money and voltages exact decimals.
A blank fact is null, or '' where the fact is text; text facts are kept as they are written on the sheet.
"""

from django.db import models
from django.db.models import F, Q

BIN, STAGING, BAG, TRUCK, VAN, HOLD, RESERVE, SUPPLIER_OWNED = (
    "bin", "staging", "bag", "truck", "van", "hold", "reserve", "supplier-owned",
)  # fmt: skip
PLACE_KINDS = (BIN, STAGING, BAG, TRUCK, VAN, HOLD, RESERVE, SUPPLIER_OWNED)
# Where pieces end: an ending holds no balance, and closes the lot's sum.
INSTALLED, SCRAPPED, RETURNED, LOST = "installed", "scrapped", "returned to supplier", "lost"
ENDINGS = (INSTALLED, SCRAPPED, RETURNED, LOST)


class Depot(models.Model):
    """A warehouse with its own calendar."""

    depot = models.CharField(max_length=60, unique=True)
    name = models.CharField(max_length=120, blank=True)
    time_zone = models.CharField(max_length=60, blank=True)
    closed_days = models.TextField(blank=True)
    staging_days = models.PositiveSmallIntegerField(null=True, blank=True)
    receiving_days = models.PositiveSmallIntegerField(null=True, blank=True)

    def __str__(self) -> str:
        return self.depot


class Way(models.Model):
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


class Item(models.Model):
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
    mcov_kv = models.DecimalField(max_digits=9, decimal_places=4, null=True, blank=True)
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
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, null=True, blank=True, related_name="items")
    supplier_code = models.CharField(max_length=80, blank=True)
    price = models.DecimalField(max_digits=14, decimal_places=4, null=True, blank=True)
    price_date = models.DateField(null=True, blank=True)
    shelf_months = models.PositiveIntegerField(null=True, blank=True)
    lot_tracked = models.BooleanField(null=True, blank=True)
    rank = models.PositiveIntegerField(null=True, blank=True)
    state = models.CharField(max_length=40, blank=True)
    version = models.PositiveIntegerField(default=1)

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
                condition=Q(jacket_high_nm__gte=F("jacket_low_nm"))
                | Q(jacket_low_nm__isnull=True)
                | Q(jacket_high_nm__isnull=True),
                name="item_jacket_low_to_high",
            ),
            models.CheckConstraint(
                condition=Q(per_purchase_unit__gt=0) | Q(per_purchase_unit__isnull=True),
                name="purchase_unit_holds_something",
            ),
        )

    def __str__(self) -> str:
        return self.stock_code


class OldCode(models.Model):
    """Another number under which an item is still found; it points to one item only."""

    code = models.CharField(max_length=60, unique=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="old_codes")

    def __str__(self) -> str:
        return self.code


class Level(models.Model):
    """Least and greatest stock of an item at a depot, and the floor of its emergency reserve, in thousandths."""

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="levels")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="levels")
    minimum = models.BigIntegerField(null=True, blank=True)
    maximum = models.BigIntegerField(null=True, blank=True)
    reserve_floor = models.BigIntegerField(null=True, blank=True)

    class Meta:
        """One level an item and depot; the greatest is not below the least."""

        constraints = (
            models.UniqueConstraint(fields=("item", "depot"), name="level_once"),
            models.CheckConstraint(
                condition=Q(maximum__gte=F("minimum")) | Q(minimum__isnull=True) | Q(maximum__isnull=True),
                name="level_least_to_greatest",
            ),
        )

    def __str__(self) -> str:
        return f"{self.item} at {self.depot}"


class Place(models.Model):
    """Anything that can hold a piece. A staging place or bag may be kept for a job and a structure."""

    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="places")
    code = models.CharField(max_length=60)
    kind = models.CharField(max_length=20, choices=[(kind, kind) for kind in PLACE_KINDS])
    job = models.CharField(max_length=60, blank=True)
    structure = models.CharField(max_length=60, blank=True)

    class Meta:
        """A place is named once at its depot and is of a known kind."""

        constraints = (
            models.UniqueConstraint(fields=("depot", "code", "job", "structure"), name="place_once_at_a_depot"),
            models.CheckConstraint(condition=Q(kind__in=PLACE_KINDS), name="place_of_a_known_kind"),
        )

    def __str__(self) -> str:
        return f"{self.depot}/{self.code}"


class Lot(models.Model):
    """A maker's batch of an item; number '' is the lot that nobody knows, and stays visibly so."""

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="lots")
    number = models.CharField(max_length=60, blank=True)
    use_by = models.DateField(null=True, blank=True)

    class Meta:
        """A lot is one number and one date of an item."""

        constraints = (
            models.UniqueConstraint(fields=("item", "number", "use_by"), name="lot_once"),
            models.UniqueConstraint(
                fields=("item", "number"), condition=Q(use_by__isnull=True), name="undated_lot_once"
            ),
        )

    def __str__(self) -> str:
        return f"{self.item} lot {self.number or 'unknown'}"


class LotHold(models.Model):
    """A mark on a lot that stops every piece of it, wherever it lies, until it is released."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="holds")
    reason = models.TextField()
    placed_by = models.CharField(max_length=120)
    placed_at = models.DateTimeField()
    released_by = models.CharField(max_length=120, blank=True)
    released_at = models.DateTimeField(null=True, blank=True)
    release_reason = models.TextField(blank=True)

    class Meta:
        """One open hold a lot; a release names its person."""

        constraints = (
            models.UniqueConstraint(fields=("lot",), condition=Q(released_at__isnull=True), name="one_open_hold_a_lot"),
            models.CheckConstraint(
                condition=Q(released_at__isnull=True) | ~Q(released_by=""), name="release_names_its_person"
            ),
        )

    def __str__(self) -> str:
        return f"hold on {self.lot}"


class Movement(models.Model):
    """Pieces going from a place (null: from the supplier, or found) to a place or an ending. Never edited or deleted.

    ``action`` is made by whoever acts; the same action number is carried out once.
    """

    action = models.CharField(max_length=80, unique=True)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="movements")
    quantity = models.BigIntegerField()
    from_place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="movements_out")
    to_place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="movements_in")
    ending = models.CharField(max_length=24, blank=True)
    why = models.CharField(max_length=200)
    paper = models.CharField(max_length=120, blank=True)
    by = models.CharField(max_length=120)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField(auto_now_add=True)
    reverses = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by")

    class Meta:
        """Something moves, and it moves somewhere."""

        constraints = (
            models.CheckConstraint(condition=Q(quantity__gt=0), name="movement_moves_something"),
            models.CheckConstraint(
                condition=Q(from_place__isnull=False) | Q(to_place__isnull=False), name="movement_has_a_place"
            ),
            models.CheckConstraint(
                condition=(Q(to_place__isnull=False) & Q(ending="")) | (Q(to_place__isnull=True) & ~Q(ending="")),
                name="movement_ends_once",
            ),
            models.CheckConstraint(
                condition=Q(from_place__isnull=True) | Q(to_place__isnull=True) | ~Q(from_place=F("to_place")),
                name="movement_between_two_places",
            ),
        )

    def __str__(self) -> str:
        return self.action


class Balance(models.Model):
    """Pieces of a lot at a place, derived from movements; never below zero."""

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


class PurchaseOrder(models.Model):
    """An order to a supplier."""

    number = models.CharField(max_length=60, unique=True)
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, null=True, blank=True, related_name="orders")

    def __str__(self) -> str:
        return self.number


class OrderLine(models.Model):
    """One line of an order: thousandths of an item's stock unit for a depot, of which ``received`` have come."""

    order = models.ForeignKey(PurchaseOrder, on_delete=models.PROTECT, related_name="lines")
    line = models.CharField(max_length=20)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="order_lines")
    quantity = models.BigIntegerField()
    received = models.BigIntegerField(default=0)
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="order_lines")
    promised = models.DateField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """A line number is used once an order, and orders something."""

        constraints = (
            models.UniqueConstraint(fields=("order", "line"), name="order_line_once"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="order_line_orders_something"),
            models.CheckConstraint(condition=Q(received__gte=0), name="received_not_below_zero"),
        )

    def __str__(self) -> str:
        return f"{self.order}/{self.line}"
