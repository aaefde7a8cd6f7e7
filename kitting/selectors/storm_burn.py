"""How fast a storm uses what, and for how many hours the rest lasts."""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal

from django.db.models import Q, Sum

from inventory.models import Balance, Item
from kitting.calculation.quantities import PER_UNIT
from kitting.models import BagEntry, Storm
from kitting.models.bags import HANDED_BACK, ISSUED, TAKEN_BACK, TURNED_IN, and_taken_back
from kitting.selectors.bag_contents import bare
from kitting.selectors.clock import local_zone
from kitting.selectors.premade_kits import READY
from kitting.selectors.stock_sums import FREE, IN_RESERVE, PROMISED, spots, sums

WINDOW = timedelta(hours=24)
LEAST = timedelta(hours=1)  # what went out in the first minutes is no rate yet
_STOCK_DOOR = {"facts__door": "stock"}
Key = tuple[str, str]  # stock code, depot


@dataclass(frozen=True, slots=True, kw_only=True)
class Burn:
    """What a depot gives of an item in a storm, in thousandths, less what came back good.

    Args:
        item, depot: what and whose.
        given: since the storm was opened.
        lately: in the last hours, ``window``.
        window: how long these are: a day, or less where the storm is younger.
        free: on the shelf, good, and promised to nobody; ``promised``: the rest there.
        kits: in pre-made kits that are ready to be given.
        reserve: in the emergency reserve.
    """

    item: Item
    depot: str
    given: int
    lately: int
    window: timedelta
    free: int
    promised: int
    kits: int
    reserve: int

    @property
    def rate(self) -> Decimal:
        """Stock units an hour, to a tenth."""
        seconds = int(self.window.total_seconds())
        hourly = Decimal(self.lately * 3600) / (seconds * PER_UNIT)
        return hourly.quantize(Decimal("0.1"), ROUND_HALF_UP)

    @property
    def hours(self) -> int | None:
        """Whole hours that the free pieces and the kits last at this rate; None where nothing went out lately."""
        return self._hours(self.free + self.kits)

    @property
    def hours_with_reserve(self) -> int | None:
        """The same with the reserve opened."""
        return self._hours(self.free + self.kits + self.reserve)

    @property
    def sentence(self) -> str:
        """In words: ``6 BI15 at N an hour; 40 free and in kits last 6 hours, with the reserve 8``."""
        there = f"{bare(self.free + self.kits)} free and in kits"
        if self.hours is None:
            return f"0 {self.item} at {self.depot} an hour lately; {there}"
        lasts = f"last {self.hours} hours, with the reserve {self.hours_with_reserve}"
        return f"{self.rate} {self.item} at {self.depot} an hour; {there} {lasts}"

    def _hours(self, pieces: int) -> int | None:
        return pieces * (self.window // timedelta(seconds=1)) // (self.lately * 3600) if self.lately else None


def burn_of(storm: Storm, at: datetime) -> list[Burn]:
    """What a storm uses by item and depot, what lasts for the fewest hours first; seven queries.

    What is good today is so by the day of the storm's home depot.
    """
    end = storm.closed_at or at
    home = local_zone([*storm.jobs.filter(job=storm.code).values_list("depot", flat=True)])
    begin = max(storm.opened_at or end, end - WINDOW)
    given, lately = _given(storm, begin)
    items = {item.stock_code: item for item in Item.objects.filter(stock_code__in={code for code, _ in given})}
    shares = sums(spots(items.values(), today=at.astimezone(home).date()))
    kits = _in_kits(list(items.values()))
    found = [
        Burn(
            item=items[code],
            depot=depot,
            given=pieces,
            lately=max(lately[code, depot], 0),
            window=max(end - begin, LEAST),
            free=shares[code, depot][FREE],
            promised=shares[code, depot][PROMISED],
            kits=kits[code, depot],
            reserve=shares[code, depot][IN_RESERVE],
        )
        for (code, depot), pieces in given.items()
        if pieces > 0
    ]
    return sorted(found, key=lambda one: (one.hours is None, one.hours or 0, one.item.stock_code, one.depot))


def _given(storm: Storm, begin: datetime) -> tuple[Counter[Key], Counter[Key]]:
    """Thousandths that went out and did not come back good: in all, and since a moment."""
    rows = BagEntry.objects.filter(line__bag__job__storms=storm).filter(
        Q(deed__in=(ISSUED, HANDED_BACK)) | Q(deed__in=and_taken_back(TURNED_IN), **_STOCK_DOOR)
    )
    names = ("lot__item__stock_code", "line__bag__depot__depot", "deed")
    since = Sum("quantity", filter=Q(action__at__gte=begin), default=0)
    given, lately = Counter[Key](), Counter[Key]()
    for code, depot, deed, pieces, late in rows.values_list(*names).annotate(Sum("quantity"), since=since):
        sign = 1 if deed in (ISSUED, *TAKEN_BACK) else -1
        given[code, depot] += sign * pieces
        lately[code, depot] += sign * late
    return given, lately


def _in_kits(items: list[Item]) -> Counter[Key]:
    """Thousandths in kits that are checked or staged."""
    there = Balance.objects.filter(
        lot__item__in=items, place__bag__job__recipe__isnull=False, place__bag__state__in=READY, quantity__gt=0
    )
    found = Counter[Key]()
    names = ("lot__item__stock_code", "place__depot__depot")
    for code, depot, pieces in there.values_list(*names).annotate(Sum("quantity")):
        found[code, depot] += pieces
    return found
