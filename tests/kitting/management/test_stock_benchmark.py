"""The benchmark of the books books what it times."""

import pytest

from inventory.models import Balance, Movement
from inventory.selectors.rebuilding import unequal_balances
from kitting.management.benchmarks.stock import movements_a_second, rebuild_seconds, records_seconds, warehouse
from kitting.models import Event


@pytest.mark.django_db(transaction=True)
def test_movements_are_booked_by_every_hand_and_a_rebuild_finds_what_was_written_beside_them() -> None:
    made = warehouse(hands=2)
    opened = Movement.objects.count()
    movements_a_second(made, actions=2, lines=5)
    booked = Movement.objects.filter(action__number__startswith="move ")
    beside = Movement.objects.filter(action__number__startswith="inventory ")
    assert booked.count() == beside.count() == 2 * 2 * 5
    assert Movement.objects.count() == opened + 2 * 2 * 2 * 5
    assert sum(one.stored for one in unequal_balances() if one.key[0] != made.shelf.pk) == 20_000  # what was booked
    rebuild_seconds(made, 40)
    assert not unequal_balances()
    assert sum(Balance.objects.filter(place__in=made.bags).values_list("quantity", flat=True)) == 80_000


@pytest.mark.django_db
def test_records_are_loaded_read_and_planned() -> None:
    measured = records_seconds(40, lots=100)
    assert (measured.runs, measured.jobs) == (40, 1)
    assert Event.objects.filter(name="sheets loaded").count() == 1
