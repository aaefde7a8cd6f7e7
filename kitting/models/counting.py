"""Records of counts: lists of places to be counted blind, and of each line who saw what, why it differs, who agreed.

Quantities are thousandths of the item's stock unit.
"""

from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType

from django.db import models
from django.db.models import F, Q

from inventory.models import BAG, Action, Depot, Lot, Place
from jobs.models import NAME_LENGTH
from kitting.models.asking import APPROVED

LISTED, COUNTED, RECOUNTED, EXPLAINED, POSTED, TO_FIND = (
    "listed", "counted", "recounted", "explained", "posted", "find the bag",
)  # fmt: skip
COUNT_STATES = (LISTED, COUNTED, RECOUNTED, EXPLAINED, APPROVED, POSTED, TO_FIND)
# Why a count differs from the books: name -> what it means, for who chooses.
CAUSES: Mapping[str, str] = MappingProxyType(
    {
        "late paper": "a paper or scan of before the count has not reached the books",
        "each or kit": "each was taken for a kit, or a kit for each, on a paper that can't be put right any more",
        "not booked": "pieces were taken or brought without a scan",
        "other place": "the pieces lie at another place than booked",
        "other lot": "pieces of another lot of the same stock code were booked",
        "other part": "pieces of another stock code were booked",
        "damaged": "pieces were thrown away without a record",
        "earlier count": "the count before this one was wrong",
        "not found out": "looked into, and nobody can say",
    }
)
ONE_BAG = 1000


class CountList(models.Model):
    """Places of a depot to be counted, in walk order; closed when its differences are posted."""

    number = models.PositiveIntegerField(unique=True)
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="count_lists")
    listed = models.OneToOneField(Action, on_delete=models.PROTECT, related_name="count_list")
    posted = models.OneToOneField(
        Action, on_delete=models.PROTECT, null=True, blank=True, related_name="posted_count_list"
    )

    def __str__(self) -> str:
        return f"count {self.number}"


def _another(person: str, *earlier: str) -> Q:
    """Nobody yet, or somebody else than these."""
    condition = Q()
    for name in earlier:
        condition &= ~Q(**{person: F(name)})
    return Q(**{person: ""}) | condition


class CountLine(models.Model):
    """One lot at one place, a bag (no lot, at a place of the kind bag), or a place that should be empty (no lot).

    ``book`` and ``recount_book`` are what the books say of the moment of the count, as far as they know it by now. Of a
    bag, ``ONE_BAG`` was counted where it stands in its rack place, and 0 where it does not.
    """

    count_list = models.ForeignKey(CountList, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="count_lines")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="count_lines")
    reasons = models.JSONField(default=list)
    state = models.CharField(max_length=20, default=LISTED, choices=[(state, state) for state in COUNT_STATES])
    book = models.BigIntegerField(null=True, blank=True)
    counted = models.BigIntegerField(null=True, blank=True)
    counted_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    counted_at = models.DateTimeField(null=True, blank=True)
    recount_book = models.BigIntegerField(null=True, blank=True)
    recount = models.BigIntegerField(null=True, blank=True)
    recounted_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    recounted_at = models.DateTimeField(null=True, blank=True)
    cause = models.CharField(max_length=20, blank=True, choices=[*CAUSES.items()])
    explanation = models.TextField(blank=True)
    explained_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    approved_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    approval = models.TextField(blank=True)

    class Meta:
        """A line is open on one list only, a blank is no zero, and each step that asks for another person has one."""

        constraints = (
            models.UniqueConstraint(fields=("count_list", "position"), name="count_line_once"),
            models.UniqueConstraint(fields=("place", "lot"), condition=~Q(state=POSTED), name="lot_on_one_open_count"),
            models.UniqueConstraint(
                fields=("place",), condition=Q(lot__isnull=True) & ~Q(state=POSTED), name="place_on_one_open_count"
            ),
            models.CheckConstraint(condition=Q(state__in=COUNT_STATES), name="count_line_in_a_known_state"),
            models.CheckConstraint(condition=Q(cause__in=("", *CAUSES)), name="count_line_of_a_known_cause"),
            models.CheckConstraint(
                condition=Q(state=LISTED) | (Q(counted__gte=0, counted_at__isnull=False) & ~Q(counted_by="")),
                name="blank_count_is_not_zero",
            ),
            models.CheckConstraint(
                condition=Q(recount__isnull=True)
                | (Q(recount__gte=0, recounted_at__isnull=False) & ~Q(recounted_by="")),
                name="recount_has_a_person",
            ),
            models.CheckConstraint(condition=_another("recounted_by", "counted_by"), name="recount_by_another"),
            models.CheckConstraint(
                condition=_another("approved_by", "counted_by", "recounted_by", "explained_by"),
                name="count_approved_by_another",
            ),
        )

    def __str__(self) -> str:
        what = f" {self.lot}" if self.lot else ""
        return f"{self.count_list} line {self.position}: {self.place}{what}"

    @property
    def is_bag(self) -> bool:
        """Whether it asks for a bag as a whole, which is in its rack place or not."""
        return self.lot_id is None and self.place.kind == BAG

    @property
    def figure(self) -> int | None:
        """Thousandths of the count that stands: the last one; None while it is blank."""
        return self.counted if self.recount is None else self.recount

    @property
    def seen_at(self) -> datetime | None:
        """Moment of the count that stands."""
        return self.counted_at if self.recount is None else self.recounted_at

    @property
    def expected(self) -> int | None:
        """Thousandths that the books say of that moment."""
        return self.book if self.recount is None else self.recount_book

    @property
    def difference(self) -> int:
        """Thousandths found beyond the books, below zero where they are missing; 0 for what is no lot, and a blank."""
        if self.lot_id is None or self.figure is None or self.expected is None:
            return 0
        return self.figure - self.expected
