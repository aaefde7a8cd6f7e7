"""Pieces between depots by what people do on pages: load in one go, count out, explain, and ask."""

from typing import Any

import pytest
from bag_stores import demo_sheets, planned, promised_in_vain
from browsing import OTHER_STORES, browser_of, paper_text, people, send, words
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import DUTY, PLANNER, STORES
from photographs import photograph, symbol

from inventory.models import BAG, Balance, Depot, Item, Lot, Movement, Place, Transfer
from kitting.models import Event, Printing, Promise
from kitting.selectors.transfer_asks import open_asks
from kitting.selectors.vans import Van, vans_wanted

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)


def van_to_north() -> Van:
    return next(van for van in vans_wanted() if (van.source.depot, van.target.depot) == ("H", "N"))


def load_page(van: Van) -> str:
    return f"/transfers/load/{van.source.pk}/{van.target.pk}"


def loaded(client: Client, van: Van, **given: object) -> Any:
    """All that the plan wants is loaded."""
    fields = {f"q-{one.place.pk}-{one.lot.pk}": str(one.quantity / 1000) for one in van.loads}
    return send(client, load_page(van), **{"number": "V-1", "action": "L-1", **fields, **given})


def counts_of(transfer: Transfer, *, first: int = 0, place: str = "N-04-3") -> dict[str, object]:
    """What is sent when all of a van is counted, the first lot with so many pieces more or less."""
    found: dict[str, object] = {"action": "C-1"}
    for at, one in enumerate(transfer.place.balances.filter(quantity__gt=0).order_by("pk")):
        found[f"counted-{one.lot_id}"] = str(one.quantity // 1000 + (first if at == 0 else 0))
        found[f"place-{one.lot_id}"] = place
    return found


def test_what_the_plan_wants_brought_is_loaded_in_one_go_and_leaves_the_list() -> None:
    people(STORES)
    client, van = browser_of(STORES), van_to_north()

    listed = words(client.get("/transfers"))
    page = words(client.get(load_page(van)))
    answer = words(loaded(client, van))
    twice = words(loaded(client, van))

    assert "H to N" in listed
    assert all(job in page for job in van.jobs)
    assert "ON THE ROAD" in answer
    assert "print its slip" in answer
    assert "ON THE ROAD" in twice
    assert Transfer.objects.count() == 1
    assert not [one for one in vans_wanted() if (one.source, one.target) == (van.source, van.target)]
    assert "V-1" in words(client.get("/transfers"))


def test_a_van_is_counted_out_lot_by_lot_and_a_blank_count_is_refused() -> None:
    people(STORES)
    client = browser_of(STORES)
    loaded(client, van_to_north())
    transfer = Transfer.objects.get()
    address, counts = f"/transfers/{transfer.pk}", counts_of(transfer)
    lot = next(name for name in counts if name.startswith("counted-"))

    blank = words(send(client, address, **{**counts, lot: ""}))
    place = lot.replace("counted", "place")
    seen = send(
        client, address, **{**counts, place: "", "photo-of": place}, photographed="fill:",
        photo=SimpleUploadedFile("bin.jpg", photograph(symbol("N-01-1"))),
    ).content.decode()  # fmt: skip
    whole, twice = (words(send(client, address, **counts)) for _ in range(2))

    assert "is not counted: write 0 where nothing came" in blank
    assert f'name="{place}" value="N-01-1"' in seen
    assert f'name="{lot}" value="{counts[lot]}"' in seen
    assert "RECEIVED" in whole
    assert "is complete" in twice
    assert not transfer.place.balances.filter(quantity__gt=0).exists()
    assert not Promise.objects.filter(place=transfer.place, released_at__isnull=True).exists()
    assert "Count it out" not in words(client.get(address))


def test_a_piece_missing_is_seen_until_it_is_explained() -> None:
    people(STORES)
    client = browser_of(STORES)
    loaded(client, van_to_north())
    transfer = Transfer.objects.get()

    of_bag = Place.objects.create(depot=transfer.to_depot, code="J01-A2", kind=BAG)
    counts = counts_of(transfer, first=-1)
    into_a_bag = {**counts, next(name for name in counts if name.startswith("place-")): of_bag.code}
    assert "NO SHELF J01-A2 is a bag" in words(send(client, f"/transfers/{transfer.pk}", **into_a_bag))
    assert not of_bag.balances.exists()

    counted = words(send(client, f"/transfers/{transfer.pk}", **counts))
    found = transfer.differences.get()
    tasks = words(client.get("/"))
    no_reason = words(send(client, f"/transfers/differences/{found.pk}", how="lost on the road", action="D-0"))
    lost = words(
        send(client, f"/transfers/differences/{found.pk}", how="lost on the road", why="fell off", action="D-1")
    )

    assert "1 lot differs" in counted
    assert "1 ea MISSING" in counted
    assert "1 transfer counted differently" in tasks
    assert "Say how the difference is explained" in no_reason
    assert "EXPLAINED" in lost
    assert "counted differently" not in words(client.get("/"))


def test_a_lot_that_is_not_on_the_slip_is_counted_too_and_explained_with_its_place() -> None:
    people(STORES)
    client = browser_of(STORES)
    loaded(client, van_to_north())
    transfer, lot = Transfer.objects.get(), Lot.objects.get(item__stock_code="EL15-3", number="L-2503-108")
    more = {"code-1": "EL15-3", "lot-1": lot.number, "quantity-1": "1", "target-1": "N-04-3"}
    source = Place.objects.get(balances__lot=lot, depot__depot="H")

    counted = words(send(client, f"/transfers/{transfer.pk}", **counts_of(transfer), **more))
    address = f"/transfers/differences/{transfer.differences.get().pk}"
    explained = words(
        send(client, address, how="sent as well", why="not written down", source=source.code, target="N-04-3")
    )

    assert "1 ea TOO MANY" in counted
    assert "EXPLAINED" in explained
    assert Balance.objects.get(lot=lot, place__depot__depot="N").quantity == 1000


def test_what_is_typed_beside_the_list_names_its_lot_where_several_lie_there() -> None:
    people(STORES)
    client = browser_of(STORES)
    ends = [Depot.objects.get(depot=depot).pk for depot in ("H", "M")]
    address = "/transfers/load/{}/{}".format(*ends)
    row = {"number": "V-2", "code-1": "CS15-2", "place-1": "H-04-2", "quantity-1": "1"}

    which = words(send(client, address, **row, action="L-1"))
    sent = words(send(client, address, **row, **{"lot-1": "L-2508A"}, action="L-2"))
    empty = words(send(client, address, number="V-3", action="L-3"))

    assert "say which lot is loaded" in which
    assert "L-2303B" in which
    assert "ON THE ROAD" in sent
    assert "Transfer V-3 is empty" in empty


def test_pieces_of_the_supplier_go_to_another_depot_only_with_his_yes() -> None:
    people(STORES)
    client = browser_of(STORES)
    ends = [Depot.objects.get(depot=depot).pk for depot in ("N", "H")]
    address = "/transfers/load/{}/{}".format(*ends)
    row = {"number": "V-2", "code-1": "LUG-750A", "place-1": "N-S-1", "quantity-1": "2", "action": "L-1"}

    asked = words(send(client, address, **row))
    before = Transfer.objects.count()
    agreed = words(send(client, address, **row, confirmed="owner-agrees"))

    assert "did he agree" in asked
    assert before == 0
    assert "ON THE ROAD" in agreed


def test_each_depot_loads_and_counts_its_own_and_a_planner_only_looks() -> None:
    people(STORES, OTHER_STORES, PLANNER, depots={STORES.name: ["N"], OTHER_STORES.name: ["H"]})
    van = van_to_north()

    assert loaded(browser_of(STORES), van).status_code == 403
    assert loaded(browser_of(PLANNER), van).status_code == 403
    assert "ON THE ROAD" in words(loaded(browser_of(OTHER_STORES), van))
    transfer = Transfer.objects.get()
    assert send(browser_of(OTHER_STORES), f"/transfers/{transfer.pk}", **counts_of(transfer)).status_code == 403
    assert "1 transfer to count out V-1" in words(browser_of(STORES).get("/"))
    assert "RECEIVED" in words(send(browser_of(STORES), f"/transfers/{transfer.pk}", **counts_of(transfer)))


def test_the_slip_is_printed_and_one_of_no_transfer_is_not() -> None:
    people(STORES)
    client = browser_of(STORES)
    loaded(client, van_to_north())

    slip = client.post(f"/transfers/{Transfer.objects.get().pk}/slip.pdf", {"action": "P-1"})

    box = client.post(f"/transfers/{Transfer.objects.get().pk}/box-label.pdf", {"action": "P-2"})

    assert "Arrive by: J01, staged by 2026-03-03" in paper_text(slip)
    assert "ARRIVE BY: J01, staged by 2026-03-03" in paper_text(box)
    assert sorted(Printing.objects.values_list("document", flat=True)) == ["box label", "transfer slip"]
    assert "There is no transfer 999" in words(send(client, "/transfers/999/slip.pdf"))


def test_what_a_depot_asks_beside_the_plan_is_told_there_until_a_van_takes_it_or_it_is_refused() -> None:
    people(STORES, OTHER_STORES, DUTY, depots={STORES.name: ["N"], OTHER_STORES.name: ["H"]})
    ours, theirs = browser_of(STORES), browser_of(OTHER_STORES)
    wish: dict[str, object] = {"stock_code": "EL15-3", "quantity": "2", "from": "H", "to": "N", "why": "for the van"}

    for wrong, why in (
        ({"to": "H", "from": "N"}, "acts for N only"), ({"from": "N"}, "choose another depot"),
        ({"quantity": "0"}, "how many pieces"), ({"quantity": "1.5"}, "counted by the piece"),
        ({"why": ""}, "wanted for"), ({"stock_code": "EL15-9"}, "did you mean"),
    ):  # fmt: skip
        refused = send(ours, "/transfers", **{**wish, **wrong})
        assert why in words(refused)
        assert {**wish, **wrong}["stock_code"] in refused.content.decode()  # nothing is typed again
    assert not open_asks()
    for _ in range(2):
        assert "ASKED" in words(send(ours, "/transfers", **wish, action="A-1"))

    (ask,) = open_asks()
    assert "1 asked by another depot" in words(theirs.get("/"))
    assert "asked by" not in words(ours.get("/"))
    van = van_to_north()
    answer = loaded(theirs, van, **{f"ask-{ask.number}": "yes"})
    assert "ON THE ROAD" in words(answer)
    assert not open_asks()
    assert Event.objects.get(name="transfer ask answered").depot == "N"

    send(ours, "/transfers", **wish, action="A-2")
    (second,) = open_asks()
    assert "what becomes of it" in words(send(theirs, "/transfers", ask=second.number, answer="", action="B-1"))
    assert "ANSWERED" in words(send(theirs, "/transfers", ask=second.number, answer="none to spare", action="B-2"))
    assert "Nothing that was asked is open" in words(send(theirs, "/transfers", ask=second.number, answer="x"))


def test_the_list_asks_as_often_for_many_transfers_as_for_one() -> None:
    people(STORES)
    client = browser_of(STORES)
    ends = [Depot.objects.get(depot=depot).pk for depot in ("N", "H")]
    item = Item.objects.get(stock_code="TAG-Y")
    place = Place.objects.get(balances__lot__item=item, depot__depot="N")
    counts = []
    for number in range(4):
        row = {"code-1": "TAG-Y", "place-1": place.code, "quantity-1": "1", "number": f"V-{number}"}
        assert "ON THE ROAD" in words(send(client, "/transfers/load/{}/{}".format(*ends), **row))
        with CaptureQueriesContext(connection) as asked:
            client.get("/transfers")
        counts.append(len(asked))

    assert len(set(counts)) == 1


def test_a_van_is_taken_back_from_the_last_scans_with_its_promises_and_so_is_its_count() -> None:
    people(STORES)
    client, van = browser_of(STORES), van_to_north()
    wanted = [(one.place, one.lot, one.quantity) for one in van.loads]
    loaded(client, van)
    transfer = Transfer.objects.get()
    page = f"/transfers/{transfer.pk}"
    send(client, page, **counts_of(transfer, first=-1))
    assert len(Event.objects.filter(name="transfer differs")) == 2
    early = words(send(client, "/moves/L-1/undo"))
    assert "V-1 was counted out by M. Osei: that is taken back first" in early

    assert 'action="/moves/C-1/undo"' in client.get(page).content.decode()
    assert "UNDONE The van is not counted out: it is on the road" in words(send(client, "/moves/C-1/undo"))
    assert "Count it out" in words(client.get(page))
    assert "Counted differently" not in words(client.get(page))
    assert not promised_in_vain()
    aboard = Promise.objects.filter(place=transfer.place, released_at=None)
    assert {one.source for one in aboard} == {"transfer"}
    send(client, page, **{**counts_of(transfer, first=-2), "action": "C-2"})
    assert len(Event.objects.filter(name="transfer differs")) == 4

    send(client, "/moves/C-2/undo")
    assert "UNDONE The van is not loaded" in words(send(client, "/moves/L-1/undo"))
    assert "TAKEN BACK by M. Osei" in words(client.get(page))
    assert "Nothing is on the road" in words(client.get("/transfers"))
    again = van_to_north()
    assert [(one.place, one.lot, one.quantity) for one in again.loads] == wanted
    assert not promised_in_vain()


def test_what_went_on_from_where_it_was_put_is_not_counted_back_and_says_so() -> None:
    people(STORES, depots={STORES.name: ["H"]})
    client = browser_of(STORES)
    loaded(client, van_to_north())
    transfer = Transfer.objects.get()
    people(OTHER_STORES)
    north = browser_of(OTHER_STORES)
    send(north, f"/transfers/{transfer.pk}", **counts_of(transfer))
    assert send(client, "/moves/C-1/undo").status_code == 403
    put = Movement.objects.filter(action__number="C-1").latest("pk")
    there = Balance.objects.get(place=put.to_place, lot=put.lot)
    scrapped = {"quantity": str(there.quantity / 1000), "way": "scrapped", "why": "wet"}
    send(north, f"/pieces/{there.pk}", **scrapped)
    assert "0 ea there" in words(send(north, "/moves/C-1/undo"))
    assert Transfer.objects.get().received is not None
