"""The reserve rotates: planned work is given its oldest pieces while a fresh lot takes their place."""

from datetime import date, timedelta

import pytest
from bag_stores import Stores
from browsing import browser_of, people, send, words
from module_books import books_of_module
from people import BUYER, CREW, DUTY, STORES
from record_books import AT, everything
from refusals import refusal

from inventory.models import Action, Balance, Level, LotHold
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.models import Event, Pin, Policy, Promise
from kitting.selectors.overrides import overrides
from kitting.selectors.reserve import reserve_of
from kitting.selectors.rotation import Rotation, rotations
from kitting.selectors.sheets import sheets_from_records
from kitting.services.rotate_reserve import rotate_reserve

pytestmark = pytest.mark.django_db
TODAY = AT.date()
# J1's cutover is on 03-20: L-OLD ends before it, L-NEAR after it but within 90 days, L-FRESH years later.
STOCK = (
    "stock code,depot,place,place kind,lot,use by,quantity\n"
    "EL-1,N,N-R-1,reserve,L-OLD,2026-03-10,1\n"
    "EL-1,N,N-R-1,reserve,L-NEAR,2026-05-15,2\n"
    "EL-1,N,A-1,bin,L-FRESH,2029-06-30,8\n"
)
LEVELS = "stock code,depot,min,max,reserve floor\nEL-1,N,,,4"
NO_PINS = "job,line,stock code,lot,depot,quantity,reason,by"


def prepared() -> None:
    Policy.objects.update_or_create(policy="demo", defaults={"value": "yes"})  # the clock of the books stands still
    Stores(at=AT, prefix="before").plan(TODAY)
    people(STORES, BUYER)


books = books_of_module(lambda: everything(stock=STOCK, levels=LEVELS, pins=NO_PINS), prepared)


@pytest.fixture
def stores() -> Stores:
    return Stores(at=AT)


def there(lot: str, place: str) -> int:
    return sum(Balance.objects.filter(lot__number=lot, place__code=place).values_list("quantity", flat=True))


def promised(lot: str) -> int:
    found = Promise.objects.filter(lot__number=lot, released_at=None)
    return sum(found.values_list("quantity", flat=True))


def numbers(one: Rotation) -> dict[str, int]:
    return {"old": one.old.pk, "fresh": one.fresh.pk, "quantity": one.quantity}


def test_a_job_is_given_the_old_pieces_in_time_and_fresh_ones_take_their_place_once(stores: Stores) -> None:
    (swap,) = rotations(today=TODAY)
    assert (swap.old.lot.number, swap.fresh.lot.number, swap.quantity) == ("L-NEAR", "L-FRESH", 2000)
    assert [*swap.jobs] == ["J1"], "L-OLD ends before its cutover and stays"
    before, item = promised("L-FRESH"), swap.old.lot.item
    cover = reserve_of(item=item, depot=swap.old.place.depot, at=AT)

    assert "may not" in refusal("not-allowed", rotate_reserve, **numbers(swap), **stores.scan(CREW))
    scan = stores.scan()
    assert rotate_reserve(**numbers(swap), **scan) == rotate_reserve(**numbers(swap), **scan)

    assert (there("L-NEAR", "N-R-1"), there("L-FRESH", "N-R-1")) == (0, 2000)
    assert (there("L-NEAR", "A-1"), there("L-FRESH", "A-1")) == (2000, 6000)
    assert (promised("L-NEAR"), promised("L-FRESH")) == (2000, before - 2000)
    after = reserve_of(item=item, depot=swap.old.place.depot, at=AT + timedelta(days=1))
    assert (after.total, after.taken) == (cover.total, cover.taken), "nothing left the reserve"
    assert not [one for one in overrides() if one.what == "reserve opened"], "a rotation opens no reserve"
    assert Event.objects.get(name="reserve rotated").data["jobs"] == ["J1"]
    assert rotations(today=TODAY) == []
    assert "CHANGED" in refusal("not-proposed", rotate_reserve, **numbers(swap), **stores.scan(DUTY))


@pytest.mark.parametrize("why", ["held", "fresh is held", "pinned", "no job in time", "fresh ends soon"])
def test_no_swap_where_a_lot_is_held_pinned_or_of_use_to_nobody(why: str) -> None:
    (swap,) = rotations(today=TODAY)
    if "held" in why:
        lot = "L-FRESH" if why == "fresh is held" else "L-NEAR"
        LotHold.objects.create(
            item=swap.old.lot.item, lot_number=lot, reason="recall", placed_by="Ana", placed_at=AT
        )  # fmt: skip
    elif why == "pinned":
        Promise.objects.filter(lot=swap.fresh.lot).exclude(pk=swap.promises[0][0].pk).delete()
        Balance.objects.filter(pk=swap.fresh.pk).update(quantity=swap.promises[0][0].quantity)
        kept = swap.promises[0][0]
        Pin.objects.create(
            job=kept.job, line=kept.line, item=kept.item, lot="L-FRESH", quantity=kept.quantity, reason="seen", by="Ana"
        )  # fmt: skip
    elif why == "no job in time":
        type(swap.old.lot).objects.filter(pk=swap.old.lot_id).update(use_by=date(2026, 3, 12))
    else:
        type(swap.fresh.lot).objects.filter(pk=swap.fresh.lot_id).update(use_by=TODAY + timedelta(90))
    assert rotations(today=TODAY) == []


def test_free_fresh_pieces_are_swapped_where_a_job_could_use_the_old_ones() -> None:
    (swap,) = rotations(today=TODAY)
    Promise.objects.filter(lot=swap.fresh.lot).update(place=swap.old.place)
    (free,) = rotations(today=TODAY)
    assert (free.quantity, [*free.promises], [*free.jobs]) == (2000, [], ["J1"])


def test_the_page_shows_floor_refill_and_cover_and_books_a_swap_by_one_press() -> None:
    client, (swap,) = browser_of(STORES), rotations(today=TODAY)
    said = words(client.get("/reserve"))
    assert "EL-1" in said
    assert "nothing left it within the last year" in said
    assert Level.objects.get(item=swap.old.lot.item).reserve_floor == 4000
    assert "depot N 3 4 1 " in said, "in reserve, floor, to be bought again"
    assert "1 lot of the reserve to swap for a fresh one EL-1 lot L-NEAR" in words(client.get("/"))
    assert browser_of(BUYER).get("/reserve").status_code == 403
    booked = words(send(client, "/reserve", **numbers(swap), action="ROT-1"))
    assert "ROTATED" in booked
    assert "Nothing to rotate" in booked
    assert Action.objects.get(number="ROT-1").movements.count() == 2
    assert "CHANGED" in words(send(client, "/reserve", **numbers(swap), action="ROT-2"))


def test_what_is_out_of_date_in_the_reserve_counts_for_no_floor() -> None:
    """Floor 4: three good pieces ask for one more, and for two once L-OLD has ended."""
    (swap,) = rotations(today=TODAY)
    for day, refill in ((TODAY, 1000), (date(2026, 3, 11), 2000)):
        there = reserve_of(item=swap.old.lot.item, depot=swap.old.place.depot, at=AT)
        assert there.refill(day) == refill
        frame = plan(read_book(sheets_from_records(day)), as_of=day).reorder
        assert [int(pieces * 1000) for pieces in frame[frame["stock_code"] == "EL-1"]["net"]] == [refill]
