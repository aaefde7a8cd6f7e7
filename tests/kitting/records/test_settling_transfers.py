"""Promises follow their pieces on to the van and off it, and never name a place where the pieces are not."""

from collections import Counter

import pytest
from bag_stores import MORNING, Stores, demo_sheets, planned, promised_in_vain
from module_books import books_of_module

from inventory.models import Balance, Depot, Transfer
from inventory.services.transferring import (
    ARRIVED,
    Load,
    Unload,
    receive_transfer,
    send_transfer,
    settle_difference,
)
from kitting.calculation.promising.model import SHELF, TRANSFER
from kitting.models import Event, Promise
from kitting.selectors.pick_walk import pick_walk
from kitting.selectors.vans import Van, vans_wanted
from kitting.services.settle_transfers import settle_transfers

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)


@pytest.fixture
def stores() -> Stores:
    """The stores of the first morning."""
    return Stores()


def wanted_by_north() -> Van:
    return next(van for van in vans_wanted(["H"]) if van.target.depot == "N" and van.source.depot == "H")


def stamp(stores: Stores) -> dict[str, object]:
    scan = stores.scan()
    return {"by": scan["actor"].name, "at": scan["at"], "action": scan["action"]}


def sent(stores: Stores, van: Van, number: str = "V-9", *, more: int = 0) -> Transfer:
    """Load what is wanted, and so many thousandths more of its first lot."""
    loads = [
        Load(lot=one.lot, quantity=one.quantity + more * (at == 0), source=one.place)
        for at, one in enumerate(van.loads)
    ]
    send_transfer(transfer=number, to_depot=van.target, loads=loads, **stamp(stores))  # type: ignore[arg-type]
    return Transfer.objects.get(number=number)


def counted_out(stores: Stores, transfer: Transfer, *, but: int = 0) -> None:
    """Put all of a van in one bin, ``but`` so many thousandths of its first lot."""
    aboard = [*transfer.place.balances.filter(quantity__gt=0).select_related("lot__item").order_by("pk")]
    target = stores.place(transfer.to_depot.depot, "arrived")
    unloads = [
        Unload(lot=one.lot, counted=one.quantity - (but if at == 0 else 0), target=target)
        for at, one in enumerate(aboard)
    ]
    receive_transfer(transfer=transfer.number, unloads=unloads, **stamp(stores))  # type: ignore[arg-type]


def promised_to(job_depot: str) -> Counter[str]:
    """Thousandths promised by line, for jobs of a depot."""
    found: Counter[str] = Counter()
    for line, quantity in Promise.objects.filter(released_at__isnull=True, job__depot=job_depot).values_list(
        "line", "quantity"
    ):
        found[line] += quantity
    return found


def test_promises_ride_along_and_end_on_the_shelf_where_the_pieces_are_put(stores: Stores) -> None:
    van, before = wanted_by_north(), promised_to("N")
    transfer = sent(stores, van)

    moved, again = settle_transfers(by="L. Fenn", at=MORNING), settle_transfers(by="L. Fenn", at=MORNING)

    aboard = Promise.objects.filter(released_at__isnull=True, place=transfer.place)
    assert moved > 0
    assert again == 0
    assert set(aboard.values_list("source", flat=True)) == {TRANSFER}
    assert sum(aboard.values_list("quantity", flat=True)) == sum(one.quantity for one in van.loads)
    assert not [one for one in vans_wanted() if (one.source, one.target) == (van.source, van.target)]
    assert promised_in_vain() == {}

    counted_out(stores, transfer)
    settle_transfers(by="L. Fenn", at=MORNING.replace(day=3, hour=3))  # 21:00 of the 2nd at the depots

    arrived = Promise.objects.filter(released_at__isnull=True, place__code="arrived", place__depot__depot="N")
    assert set(arrived.values_list("source", "ready_on")) == {(SHELF, MORNING.date())}
    assert not aboard.all().exists()
    assert promised_to("N") == before
    assert promised_in_vain() == {}


def test_a_call_that_was_left_out_while_the_van_was_on_its_way_is_made_good_by_the_next(stores: Stores) -> None:
    before = promised_to("N")
    counted_out(stores, sent(stores, wanted_by_north()))

    settle_transfers(by="L. Fenn", at=MORNING)

    assert promised_to("N") == before
    assert promised_in_vain() == {}


def test_what_is_missing_stays_promised_from_the_van_until_it_is_explained(stores: Stores) -> None:
    before = promised_to("N")
    transfer = sent(stores, wanted_by_north())
    settle_transfers(by="L. Fenn", at=MORNING)
    counted_out(stores, transfer, but=1000)
    for _ in range(2):
        settle_transfers(by="L. Fenn", at=MORNING)

    told = Event.objects.filter(name="transfer differs").order_by("depot")
    assert [(one.depot, one.addressed_to) for one in told] == [("H", "storekeeper"), ("N", "storekeeper")]
    assert {one.subject for one in told} == {f"V-9: {transfer.differences.get().lot}"}
    left = Promise.objects.filter(released_at__isnull=True, place=transfer.place)
    assert sum(left.values_list("quantity", flat=True)) == 1000
    assert promised_in_vain() == {}

    target = stores.place("N", "arrived")
    settle_difference(
        difference=transfer.differences.get().pk,
        how=ARRIVED,
        why="under the seat",
        target=target,
        **stamp(stores),  # type: ignore[arg-type]
    )
    settle_transfers(by="L. Fenn", at=MORNING)

    assert not left.all().exists()
    assert promised_to("N") == before


def test_a_job_that_all_its_pieces_came_for_waits_for_none_that_is_missing(stores: Stores) -> None:
    """Of five that were sent for two, four came: the two are there, and nothing is to be picked from the van."""
    before = promised_to("N")
    stores.bags("J01")
    transfer = sent(stores, wanted_by_north(), more=3000)
    settle_transfers(by="L. Fenn", at=MORNING)
    assert transfer.place not in {step.place for step in pick_walk(depot="N")}
    counted_out(stores, transfer, but=1000)
    settle_transfers(by="L. Fenn", at=MORNING)

    assert transfer.place.balances.get(quantity__gt=0).quantity == 1000
    assert not Promise.objects.filter(released_at__isnull=True, place=transfer.place).exists()
    assert promised_to("N") == before
    assert {step.bag.structure for step in pick_walk(depot="N") if step.place.code == "arrived"} == {"A2"}


def test_pieces_that_go_elsewhere_take_no_promise_with_them(stores: Stores) -> None:
    """A van to a third depot takes pieces that the jobs of North are promised: they are promised them no more."""
    one = wanted_by_north().loads[0]
    there = Balance.objects.get(lot=one.lot, place=one.place).quantity
    load = Load(lot=one.lot, quantity=there, source=one.place)
    target = Depot.objects.get(depot="M")
    send_transfer(transfer="V-M", to_depot=target, loads=[load], **stamp(stores))  # type: ignore[arg-type]

    assert settle_transfers(by="L. Fenn", at=MORNING) == 0
    assert promised_in_vain() == {}
    told = Event.objects.get(name="promised pieces gone").data["lost"]
    assert one.jobs[0] in {lost["job"] for lost in told}
