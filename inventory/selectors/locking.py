"""Records that are about to be changed: fetched and locked in one call.

On SQLite the transaction of a use case holds the only pen already.
"""

from collections.abc import Iterable

from inventory.errors import Refusal
from inventory.models import Balance, Difference, Lot, Movement, Transfer

Key = tuple[int, int]  # place, lot


def locked_balances(keys: Iterable[Key]) -> dict[Key, Balance]:
    """The balances of these places and lots, as far as there are any, locked in the order of their numbers."""
    wanted = set(keys)
    # By lot alone: a database asked for places and lots would try every pair of them.
    found = Balance.objects.filter(lot__in={lot for _, lot in wanted}).values_list("pk", "place", "lot")
    numbers = [pk for pk, place, lot in found if (place, lot) in wanted]
    locked = Balance.objects.select_for_update(no_key=True).filter(pk__in=numbers).order_by("pk")
    return {(balance.place_id, balance.lot_id): balance for balance in locked}


def lock_balances_of(lots: Iterable[Lot]) -> None:
    """Wait until nothing moves pieces of these lots, and let nothing begin to."""
    list(Balance.objects.select_for_update(no_key=True).filter(lot__in=lots).order_by("pk").values_list("pk"))


def locked_movements(action: str) -> list[Movement]:
    """The movements of an action, so that only one reversal looks at them at a time."""
    lines = Movement.objects.filter(action__number=action).order_by("line")
    list(lines.select_for_update(of=("self",)).values_list("pk"))
    return [*lines.select_related("action", "lot__item", "from_place__depot", "to_place__depot", "order_line")]


def locked_transfer(number: str) -> Transfer:
    """A transfer that is about to be received.

    Raises:
        Refusal: there is none of this number.
    """
    transfers = Transfer.objects.select_for_update(of=("self",)).filter(number=number)
    found = transfers.select_related("from_depot", "to_depot", "place__depot", "received", "taken_back").first()
    if found is None:
        raise Refusal("unknown-transfer", f"There is no transfer {number}.", {"transfer": number})
    return found


def locked_difference(number: int) -> Difference:
    """A difference that is about to be settled.

    Raises:
        Refusal: there is none of this number, or it is settled.
    """
    differences = Difference.objects.select_for_update(of=("self",)).filter(pk=number)
    found = differences.select_related("transfer__place__depot", "lot__item").first()
    if found is None or found.settled_id is not None:
        raise Refusal("no-open-difference", f"There is no open difference {number}.", {"difference": number})
    return found
