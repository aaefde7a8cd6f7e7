"""How late suppliers were: what has come, against the day that was promised first."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from statistics import median_low

from django.db.models import F, Max, Q

from inventory.models import OrderLine
from inventory.selectors.finding import local_day
from kitting.models import Event

LOOK_BACK_DAYS = 365


@dataclass(frozen=True, slots=True)
class Lateness:
    """Order lines, or parts, that came within the last year; ``late``: days of each that came after its day."""

    came: int
    late: Sequence[int]

    @property
    def words(self) -> str:
        """``2 of 5 came late in the last year, typically 4 days, at most 9``."""
        if not self.came:
            return "nothing came in the last year: nobody knows how late they are"
        if not self.late:
            return f"none of {self.came} came late in the last year"
        days, most = median_low(self.late), max(self.late)
        told = f"{len(self.late)} of {self.came} came late in the last year, typically {_days(days)}"
        return f"{told}, at most {most}" if most > days else told


NEVER_CAME = Lateness(0, ())


def _days(count: int) -> str:
    return f"{count} day{'s' * (count != 1)}"


def lateness(today: date) -> Mapping[int, Lateness]:
    """By supplier; two queries. A line that was put off counts from the day that was promised first.

    A line counts once all of it has come, on the day of its last piece; one without a day never promised anything.
    """
    since = datetime.combine(today - timedelta(LOOK_BACK_DAYS - 1), time.min, UTC)
    came_in = Q(movements__to_place__isnull=False, movements__reverses=None, movements__reversed_by=None)
    done = OrderLine.objects.filter(supplier__isnull=False, received__gte=F("quantity"))
    done = done.annotate(landed=Max("movements__action__at", filter=came_in)).filter(landed__gte=since)
    lines = [*done.select_related("order", "depot", "part_of__order")]
    first = _first_days(lines)
    came: dict[int, int] = defaultdict(int)
    late: dict[int, list[int]] = defaultdict(list)
    for line in lines:
        promised = first.get(str(line.part_of or line), line.promised)
        if promised is not None and line.supplier_id is not None:
            came[line.supplier_id] += 1
            days = (local_day(line.depot, line.landed) - promised).days
            if days > 0:
                late[line.supplier_id].append(days)
    return {supplier: Lateness(count, late[supplier]) for supplier, count in came.items()}


def _first_days(lines: Sequence[OrderLine]) -> dict[str, date]:
    """The day that was promised first for each line, or the line it is a part of, where it was moved at all."""
    roots = {str(line): str(line.part_of or line) for line in lines}
    events = Event.objects.filter(name__in=("order re-dated", "order split"))
    found: dict[str, date] = {}
    for subject, data in events.order_by("number").values_list("subject", "data"):
        if data["before"]:
            found.setdefault(roots.get(subject, subject), date.fromisoformat(data["before"]))
    return found
