"""Bags on a count by what people do on pages: the label is scanned on its rack place, or the bag is to be found."""

from datetime import timedelta

import pytest
from bag_stores import MORNING, Stores, demo_sheets, planned
from browsing import OTHER_STORES, browser_of, people, send, words
from module_books import books_of_module
from people import AUDITOR, STORES

from inventory.models import Depot
from kitting.models import POSTED, TO_FIND, CountLine
from kitting.selectors.count_lists import at_places
from kitting.services.count_places import list_count

pytestmark = pytest.mark.django_db


def a_staged_bag() -> None:
    """The demo with J01's A2 staged on rack R-1."""
    made = Stores(prefix="before")
    planned()
    made.bags("J01")
    made.ready("J01", "A2", rack="R-1")
    people(STORES, OTHER_STORES, AUDITOR)


books = books_of_module(demo_sheets, a_staged_bag)


@pytest.fixture
def stores() -> Stores:
    made = Stores(at=MORNING + timedelta(hours=2))
    north = Depot.objects.get(depot="N")
    list_count(depot=north, to_count=at_places(depot=north, codes=["R-1"]), **made.scan())
    return made


def test_a_bag_is_on_its_place_when_its_own_label_is_scanned_there(stores: Stores) -> None:
    client, code = browser_of(STORES), stores.code("J01", "A2")
    page = words(client.get("/counts/1"))
    wrong = words(send(client, "/counts/1", do="here", line=1, bag="J03-V1-1-C4"))
    right = words(send(client, "/counts/1", do="here", line=1, bag=f"BAG {code} REV A | A2 | J01"))

    assert f"R-1 bag {code}" in page
    assert f"WRONG BAG {code} should stand at R-1" in wrong
    assert "NEXT" in right
    assert CountLine.objects.get().counted == 1000
    assert "agrees" in words(client.get("/counts/1/lines"))


def test_a_bag_that_is_not_there_is_to_be_found_and_keeps_its_pieces(stores: Stores) -> None:
    client, code = browser_of(STORES), stores.code("J01", "A2")
    before = stores.counted("J01", "A2")
    missed = words(send(client, "/counts/1", do="missing", line=1))
    address = f"/counts/differences/{CountLine.objects.get().pk}"

    assert "FIND THE BAG" in missed
    assert "1 bag to be found" in words(client.get("/"))
    assert f"{code} R-1 count 1 M. Osei" in words(client.get("/counts?depot=N"))
    assert "POSTED" in words(send(client, "/counts/1/lines"))
    assert CountLine.objects.get().state == TO_FIND
    assert stores.counted("J01", "A2") == before
    page = words(client.get(address))
    assert f"Find the bag {code} should stand at R-1" in page
    assert "Found there" not in words(browser_of(AUDITOR).get(address))
    assert "needs a reason" in words(send(client, address, deed="found", where=" "))
    assert "FOUND R-7 is its rack place" in words(send(client, address, deed="found", where="R-7"))
    assert CountLine.objects.get().state == POSTED
    assert stores.bag("J01", "A2").whereabouts == "R-7"
    assert "to be found" not in words(client.get("/"))
