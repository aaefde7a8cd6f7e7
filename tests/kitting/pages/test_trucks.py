"""The page of a truck: restocked by one press or by scan, turned in from, its slip printed, its pieces used."""

import pytest
from bag_stores import Stores, demo_sheets, free_lot, planned
from browsing import browser_of, paper_text, people, send, words
from module_books import books_of_module
from people import CREW, STORES

from inventory.models import Balance, Place
from kitting.calculation.short_codes import make_code
from kitting.models import CountList, Event

pytestmark = pytest.mark.django_db


def signed_in() -> None:
    planned()
    people(STORES, CREW)


books = books_of_module(demo_sheets, signed_in)


def test_a_crew_lists_what_its_truck_carries_and_stores_load_it_by_one_press() -> None:
    crew, client = browser_of(CREW), browser_of(STORES)
    shelf, _ = free_lot()
    code, truck = shelf.lot.item.stock_code, Place.objects.get(code="truck 14")
    page = f"/trucks/{truck.pk}"

    kept = words(send(crew, page, do="list", stock_code=code, least="1", most="2"))
    assert f"N/truck 14: 1 to 2 {code}." in kept
    assert "BELOW ITS LEAST: 2 to take" in kept
    assert "book it" not in kept, "stores load"
    assert "1 truck to restock or to clear N/truck 14" in words(client.get("/"))
    assert "least" in words(send(crew, page, do="list", stock_code=code, least="3", most="2"))

    slip = client.post(f"{page}/restock-slip.pdf", {"action": "R-1"})
    assert "RESTOCK SLIP" in paper_text(slip)
    assert f"{shelf.place.code} {code}" in paper_text(slip)
    found = client.get("/what", {"code": make_code("R", "N", "truck 14")})
    assert found.headers["Location"] == page
    assert client.get(f"{page}/restock-slip.csv").content.decode("utf-8-sig").startswith("truck,what,place")
    assert Event.objects.filter(name="printed", subject__startswith="restock slip as csv N/").count() == 1

    loaded = words(send(client, page, do="load", **{f"take-{shelf.pk}": "2"}, action="L-1"))
    assert "LOADED" in loaded
    assert "Nothing is to be taken from the shelf." in loaded
    scan = {"do": "scan", "bin": shelf.place.code, "read": code, "lot": shelf.lot.number, "quantity": "1"}
    assert "at most 2 of it" in words(send(client, page, **scan, action="L-2"))
    send(client, page, **scan, action="L-2", confirmed=["beside-the-list/1"])
    assert Balance.objects.get(place=truck, lot=shelf.lot).quantity == 3000


def test_more_than_the_truck_holds_is_refused_with_a_recount_and_nothing_typed_is_lost() -> None:
    crew, client = browser_of(CREW), browser_of(STORES)
    aboard = Balance.objects.get(place__code="truck 14", lot__item__stock_code="BI15")
    page = f"/trucks/{aboard.place_id}"
    typed = {"do": "turn-in", "balance": aboard.pk, "condition": "sealed", "to": "N-02-1"}
    refused = send(crew, page, **typed, pieces="3")
    assert "MORE THAN THERE" in words(refused)
    assert 'value="N-02-1"' in refused.content.decode()
    assert "Count this truck" in words(client.get(page))
    listed = send(client, "/counts/propose/N", do="places", codes="truck 14", action="C-1")
    assert listed.redirect_chain[-1][0] == f"/counts/{CountList.objects.get(listed__number='C-1').number}"
    assert "BACK" in words(send(crew, page, **typed, pieces="1"))
    assert Balance.objects.get(pk=aboard.pk).quantity == 1000


def test_what_was_used_goes_into_the_bag_that_is_out() -> None:
    stores, crew = Stores(prefix="used"), browser_of(CREW)
    stores.out("J03", "V2")
    contents = stores.contents("J03", "V2")
    lot = contents.lots[next(number for one in contents.lines for number in one.inside if one.open)]
    truck = Place.objects.get(code="truck 14")
    aboard = Balance.objects.create(place=truck, lot=lot, quantity=1000)
    page, bag = f"/trucks/{truck.pk}", stores.code("J03", "V2")
    assert "NOTED" in words(send(crew, page, do="use", bag=bag, used=aboard.pk, used_pieces="1"))
    assert Balance.objects.get(pk=aboard.pk).quantity == 0
    assert "holds no" in words(send(crew, page, do="use", bag=bag, used=aboard.pk, used_pieces="1"))
