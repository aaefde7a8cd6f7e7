"""Who took the last pieces of a lot from a place."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from django.db.models import Max

from inventory.models import Movement

Key = tuple[int, int]  # place, lot


@dataclass(frozen=True, slots=True)
class Taker:
    """The last movement out of a place: by whom, when, and where the pieces went."""

    by: str
    at: datetime
    to: str

    @property
    def sentence(self) -> str:
        """For the person who came too late."""
        return f"the last ones went to {self.to} with {self.by}, {self.at.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def last_takers(keys: Sequence[Key]) -> dict[Key, Taker]:
    """The last movement out of each of these places of each lot, where there was one."""
    wanted = set(keys)
    last = (
        Movement.objects.filter(from_place__in={place for place, _ in wanted}, lot__in={lot for _, lot in wanted})
        .order_by()
        .values_list("from_place", "lot")
        .annotate(last=Max("pk"))
    )
    numbers = {pk: (place, lot) for place, lot, pk in last if (place, lot) in wanted}
    found = Movement.objects.filter(pk__in=numbers).select_related("action", "to_place__depot")
    return {numbers[one.pk]: Taker(one.action.by, one.action.at, str(one.to_place or one.ending)) for one in found}
