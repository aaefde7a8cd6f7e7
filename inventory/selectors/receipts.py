"""What suppliers brought."""

from collections.abc import Sequence

from inventory.models import FROM_SUPPLIER, Movement

Key = tuple[int, int]  # place, lot


def last_receipts(keys: Sequence[Key]) -> dict[Key, str]:
    """The paper, else the action, of the last receipt that stands of each of these lots at these places."""
    wanted = set(keys)
    received = (
        Movement.objects.filter(
            to_place__in={place for place, _ in wanted},
            lot__in={lot for _, lot in wanted},
            origin=FROM_SUPPLIER,
            reversed_by__isnull=True,
        )
        .order_by("pk")
        .values_list("to_place", "lot", "action__paper", "action__number")
    )
    return {(place, lot): paper or number for place, lot, paper, number in received if (place, lot) in wanted}
