"""Pieces on a shelf are moved, scrapped and sent back by hand; a wrong receipt is taken back."""

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import browser_of, people, send, words
from module_books import books_of_module
from people import PLANNER, STORES

from inventory.models import Balance, Movement, Place
from kitting.models import Event, Promise

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)


def shelf(code: str, depot: str, *, promised: bool) -> Balance:
    """Pieces in a bin, of a lot that is promised or not."""
    kept = Promise.objects.filter(released_at=None).values("lot", "place")
    keys = {(one["lot"], one["place"]) for one in kept}
    there = Balance.objects.filter(
        lot__item__stock_code=code, place__depot__depot=depot, place__kind="bin", quantity__gt=0
    ).select_related("lot", "place")
    return next(one for one in there if ((one.lot_id, one.place_id) in keys) is promised)


def promised_there(place: Place, lot: int) -> int:
    """Thousandths promised of a lot at a place."""
    return sum(Promise.objects.filter(place=place, lot=lot, released_at=None).values_list("quantity", flat=True))


def test_pieces_put_at_another_place_stay_promised_and_scrapped_ones_are_told_to_planners() -> None:
    people(STORES)
    stores, client = Stores(), browser_of(STORES)
    found = shelf("EL15-2", "N", promised=True)
    promised, before, to = promised_there(found.place, found.lot_id), found.quantity, stores.place("N", "N-99")
    page = f"/pieces/{found.pk}"
    assert f'href="{page}"' in client.get("/items/EL15-2").content.decode()

    moved = send(client, page, quantity=before // 1000, to="N-99", action="M-1")

    assert "BOOKED" in words(moved)
    assert (promised_there(found.place, found.lot_id), promised_there(to, found.lot_id)) == (0, promised)
    there = Balance.objects.get(place=to, lot=found.lot)
    assert there.quantity == before
    refused = words(send(client, f"/pieces/{there.pk}", quantity="1", way="scrapped", action="M-2"))
    assert "Say why" in refused
    scrapped = send(client, f"/pieces/{there.pk}", quantity=before // 1000, way="scrapped", why="crushed", action="M-3")
    assert "planners hear" in words(scrapped)
    assert Event.objects.get(name="promised pieces gone").addressed_to == "planner"
    assert promised_there(to, found.lot_id) == 0


def test_a_move_by_mistake_is_taken_back_from_the_list_of_scans_with_its_promises_and_once() -> None:
    people(STORES, PLANNER)
    client = browser_of(STORES)
    found = shelf("EL15-2", "N", promised=True)
    promised, before, to = promised_there(found.place, found.lot_id), found.quantity, Stores().place("N", "N-99")
    for number, away in (("M-1", {"to": "N-99"}), ("M-2", {"way": "scrapped", "why": "crushed"})):
        page = send(client, f"/pieces/{found.pk}", quantity=before // 1000, action=number, **away)
        undo = f"/moves/{number}/undo"
        assert f'action="{undo}"' in page.content.decode()
        back = words(send(client, undo, do="undo", undone=number))
        assert "UNDONE" in back
        found.refresh_from_db()
        assert found.quantity == before
        assert f'action="{undo}"' not in client.get("/items/EL15-2").content.decode()
        if number == "M-1":  # what was scrapped is planned anew
            assert (promised_there(found.place, found.lot_id), promised_there(to, found.lot_id)) == (promised, 0)
    again = words(send(client, "/moves/M-1/undo"))
    assert "NOT DONE" in again
    assert "There is no move M-9" in words(send(client, "/moves/M-9/undo"))
    assert browser_of(PLANNER).post("/moves/M-1/undo").status_code == 403


def test_bags_and_the_reserve_are_opened_their_own_way_and_by_stores_only() -> None:
    people(STORES, PLANNER, depots={STORES.name: ["H"]})
    found = shelf("EL15-2", "N", promised=True)
    held = Balance.objects.filter(place__kind="reserve", place__depot__depot="H", quantity__gt=0).first()

    assert browser_of(PLANNER).post(f"/pieces/{found.pk}", {"quantity": "1"}).status_code == 403
    assert browser_of(STORES).post(f"/pieces/{found.pk}", {"quantity": "1"}).status_code == 403
    assert browser_of(STORES).get("/pieces/999999").status_code == 404
    assert held is not None
    told = words(send(browser_of(STORES), f"/pieces/{held.pk}", quantity="1", way="scrapped", why="old"))
    assert "the reserve is opened by the duty supervisor" in told


def test_a_receipt_that_was_booked_wrong_is_taken_back_once_and_awaited_again() -> None:
    people(STORES)
    client = browser_of(STORES)
    line = client.get("/receive").content.decode().split('href="/receive/')[1].split('"')[0]
    fields = {"each": "1", "lot": "L-77", "use_by": "2029-01", "place": "N-01-1", "paper": "D-1"}
    page = send(client, f"/receive/{line}", action="R-77", confirmed=["each-or-kit/1", "short-life/1"], **fields)
    assert Movement.objects.filter(action__number="R-77").exists(), words(page)

    undone = send(client, "/receipts/R-77/undo", why="other lot", action="R-78")
    again = send(client, "/receipts/R-77/undo", why="other lot", action="R-79")

    assert "UNDONE" in words(undone)
    assert "was reversed by" in words(again)
    assert sum(Balance.objects.filter(lot__number="L-77").values_list("quantity", flat=True)) == 0
