"""When somebody last saw pieces where the books have them, and whether that is long ago."""

from collections.abc import Collection
from datetime import date

from django.db.models import Max, Q

from inventory.models import OPENING, TRUCK, Balance, Movement
from inventory.selectors.finding import local_day

OLD_DAYS = 7


def last_seen(balances: Collection[Balance]) -> dict[int, date | None]:
    """By number of the balance, the day on which it was seen last; None for never; one query at most.

    That is the day of the last count. On a truck, which nobody walks past, a scan of the lot there is a sight too.
    """
    trucks = {(one.place_id, one.lot_id): one for one in balances if one.place.kind == TRUCK}
    seen = {one.pk: one.counted_on for one in balances}
    if not trucks:
        return seen
    places = {place for place, _ in trucks}
    moves = Movement.objects.filter(
        Q(from_place__in=places) | Q(to_place__in=places), lot__in={lot for _, lot in trucks}
    )
    rows = (
        moves.exclude(origin=OPENING).order_by().values("from_place", "to_place", "lot").annotate(at=Max("action__at"))
    )
    for row in rows:
        for place in (row["from_place"], row["to_place"]):
            one = trucks.get((place, row["lot"]))
            if one is not None:
                days = (seen[one.pk], local_day(one.place.depot, row["at"]))
                seen[one.pk] = max(day for day in days if day is not None)
    return seen


def is_old(seen: date | None, today: date) -> bool:
    """Whether nobody has seen it for more than a week."""
    return seen is None or (today - seen).days > OLD_DAYS


def seen_words(seen: date | None, today: date, how: str) -> str:
    """``counted 9 days ago, OLD``; ``how`` is the word for the sight."""
    if seen is None:
        return f"never {how}"
    age = (today - seen).days
    return f"{how} {age} day{'s' * (age != 1)} ago{', OLD' if is_old(seen, today) else ''}"
