"""What comes is counted in both units, put where it is said, and goes to who waits for it."""

from datetime import date
from typing import Any

import pytest
from bag_stores import MORNING, demo_sheets, planned
from browsing import OTHER_STORES, browser_of, people, send, words
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import PLANNER, STORES

from inventory.models import Balance, Depot, Item, LotHold, OrderLine, PurchaseOrder
from kitting.models import Promise

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)


def line_of(code: str, quantity: int, *, depot: str = "N", number: str = "PO-9", line: str = "1") -> OrderLine:
    """A line of a new order."""
    order, _ = PurchaseOrder.objects.get_or_create(number=number)
    return OrderLine.objects.create(
        order=order, line=line, item=Item.objects.get(stock_code=code), quantity=quantity * 1000,
        depot=Depot.objects.get(depot=depot), promised=date(2026, 3, 1),
    )  # fmt: skip


def there(code: str, lot: str) -> dict[str, int]:
    """Pieces of a lot by kind of place."""
    found = Balance.objects.filter(lot__item__stock_code=code, lot__number=lot, quantity__gt=0)
    return {kind: quantity // 1000 for kind, quantity in found.values_list("place__kind", "quantity")}


def counted(line: OrderLine, **given: object) -> tuple[str, dict[str, Any]]:
    """The address of a line and what is sent to it."""
    return f"/receive/{line.pk}", {"lot": "L-NEW", "use_by": "2028-08", "place": "N-04-3", "action": "A-1", **given}


# CS15-6 is bought by the kit of 3 ea.
def test_both_counts_must_say_the_same_and_both_units_are_said_back() -> None:
    people(STORES)
    client, line = browser_of(STORES), line_of("CS15-6", 12)
    address, given = counted(line)

    shown = words(client.get(address))
    differ = words(send(client, address, kits="4", each="4", **given))
    booked = words(send(client, address, kits="4", each="12", **{**given, "action": "A-2"}))

    assert "To come: 12 ea (4 kits) at N" in shown
    assert "All of it has come to N" in words(client.get(address))
    assert "EACH OR KIT?" in differ
    assert "4 kit of 3 ea are not 4 ea" in differ
    assert "BOOKED 12 EA (4 KIT)" in booked
    assert "2028-08-31" in booked
    assert there("CS15-6", "L-NEW") == {"bin": 12}


def test_four_each_where_twelve_were_ordered_asks_each_or_kit_first() -> None:
    people(STORES)
    client, line = browser_of(STORES), line_of("CS15-6", 12)
    address, given = counted(line, each="4")

    asked = send(client, address, **given)
    nothing = there("CS15-6", "L-NEW")
    booked = words(send(client, address, **given, confirmed="each-or-kit/1"))

    assert "each (ea) or kit of 3 ea? Count one carton." in words(asked)
    assert 'name="confirmed" value="each-or-kit/1"' in asked.content.decode()
    assert nothing == {}
    assert "BOOKED 4 EA" in booked
    assert there("CS15-6", "L-NEW") == {"bin": 4}


def test_what_is_out_of_date_on_arrival_goes_to_hold_and_says_so() -> None:
    people(STORES)
    client, line = browser_of(STORES), line_of("CS15-6", 2)
    address, given = counted(line, each="2")

    past = words(send(client, address, **{**given, "use_by": "2026-02"}))

    assert "ON HOLD 2 EA" in past
    assert "out of date on arrival" in past
    assert there("CS15-6", "L-NEW") == {"hold": 2}


def test_pieces_that_will_not_last_for_a_job_that_waits_are_said_to_have_a_short_life() -> None:
    people(STORES)
    client, line = browser_of(STORES), OrderLine.objects.get(order__number="PO-1")
    jobs = {one.job for one in Promise.objects.filter(order_line=line, released_at__isnull=True)}
    last = max(job.cutover_end or job.cutover for job in jobs)
    lives = {"each": "3", "place": "N-04-3"}

    too_short = words(send(client, f"/receive/{line.pk}", **lives, lot="L-A", use_by="2026-03-20", action="A-1"))
    enough = words(send(client, f"/receive/{line.pk}", **lives, lot="L-B", use_by=last[:10], action="A-2"))

    assert "SHORT LIFE 3 EA" in too_short
    assert all(job.job in too_short for job in jobs)
    assert "BOOKED 3 EA" in enough


def test_pieces_of_a_lot_on_hold_are_said_to_be_held_and_nobody_gets_them() -> None:
    people(STORES)
    client, line = browser_of(STORES), OrderLine.objects.get(order__number="PO-1")
    LotHold.objects.create(item=line.item, lot_number="L-A", reason="torn", placed_by="Ana", placed_at=MORNING)

    page = words(send(client, f"/receive/{line.pk}", each="3", lot="L-A", place="N-04-3", action="A-1"))

    assert "ON HOLD 3 EA" in page
    assert "HELD: torn" in page
    assert "Nobody waits for them" in page


def test_a_carton_fills_in_lot_and_date_and_that_of_another_item_is_refused() -> None:
    people(STORES)
    client, line = browser_of(STORES), line_of("CS15-6", 2)
    Item.objects.filter(stock_code="CS15-6").update(supplier_code="MK-6")

    right = client.get(f"/receive/{line.pk}", {"carton": "(240)MK-6(10)L-77(17)280831(30)2"}).content.decode()
    wrong = words(client.get(f"/receive/{line.pk}", {"carton": "(241)EL25-2(10)L-77"}))
    damaged = words(client.get(f"/receive/{line.pk}", {"carton": "(17)281331"}))

    assert all(f'value="{text}"' in right for text in ("L-77", "2028-08-31", "2"))
    assert "WRONG ITEM" in wrong
    assert "there is no such day" in damaged


def test_a_carton_scanned_on_the_list_leaves_its_lines_or_says_that_it_is_not_expected() -> None:
    people(STORES)
    client = browser_of(STORES)
    line_of("CS15-6", 2)

    found = words(client.get("/receive", {"carton": "(241)CS15-6"}))
    not_expected = words(client.get("/receive", {"carton": "(241)GK-1"}))

    assert "PO-9/1" in found
    assert "PO-1/1" not in found
    assert "GK-1 is on no open order line here" in not_expected


def test_pieces_go_to_the_promises_that_waited_for_them_and_the_receipt_names_the_jobs() -> None:
    """Trap T19 as far as it is a page: the first job in the order of service gets them, whoever stands there."""
    people(STORES)
    client = browser_of(STORES)
    line = OrderLine.objects.get(order__number="PO-1")
    waiting = Promise.objects.filter(order_line=line, released_at__isnull=True)
    jobs = set(waiting.values_list("job__job", flat=True))

    page = words(send(client, f"/receive/{line.pk}", each="24", lot="L-24", place="N-04-3", action="A-1"))

    assert jobs
    assert "BOOKED 24 EA" in page
    assert all(f" {job} " in page for job in jobs)
    assert not waiting.exists()


def test_a_form_sent_twice_books_once_and_its_mistakes_are_told_in_words() -> None:
    people(STORES)
    client, line = browser_of(STORES), line_of("CS15-6", 7)
    address, given = counted(line, each="2")

    unread = words(send(client, address, **{**given, "each": "two"}))
    refused = send(client, address, **{**given, "place": "N-04-33"})
    nowhere = words(refused)
    reversed_ = words(send(client, address, **{**given, "use_by": "2028-01", "made_on": "2028-06"}))
    for _ in range(2):
        send(client, address, **given)

    assert "not a quantity. Write a number such as 6 or 12.5" in unread
    assert "has no place N-04-33; did you mean" in nowhere
    scanned = words(send(client, address, **{**given, "each": "09501101530003"}))
    assert "was a code scanned here? Write a number such as 6" in scanned
    assert "NOT DONE CS15-6: use by 2028-01-31 lies before it was made" in reversed_
    assert 'name="lot" value="L-NEW"' in refused.content.decode()
    assert there("CS15-6", "L-NEW") == {"bin": 2}


def test_stores_see_and_receive_the_lines_of_their_own_depots_and_a_planner_only_looks() -> None:
    people(STORES, OTHER_STORES, PLANNER, depots={STORES.name: ["N"], OTHER_STORES.name: ["H"]})
    line = line_of("CS15-6", 6)
    address, given = counted(line, each="6")

    assert "PO-9/1" in words(browser_of(STORES).get("/receive"))
    assert "PO-9/1" not in words(browser_of(OTHER_STORES).get("/receive"))
    assert browser_of(OTHER_STORES).post(address, given).status_code == 403
    assert browser_of(PLANNER).post(address, given).status_code == 403
    assert "PO-9/1" in words(browser_of(PLANNER).get("/receive"))
    assert there("CS15-6", "L-NEW") == {}


def test_lines_that_are_due_wait_on_the_first_page_of_the_stores_and_of_nobody_else() -> None:
    people(STORES, PLANNER)
    line_of("CS15-6", 6)

    assert "1 order line due to receive PO-9/1" in words(browser_of(STORES).get("/"))
    assert "due to receive" not in words(browser_of(PLANNER).get("/"))


def test_the_list_asks_as_often_for_many_lines_as_for_few() -> None:
    people(STORES)
    client = browser_of(STORES)
    client.get("/receive")
    counts = []
    for more in (0, 5):
        for line in range(more):
            line_of("CS15-6", 6, line=f"9{line}")
        with CaptureQueriesContext(connection) as asked:
            client.get("/receive")
        counts.append(len(asked))

    assert counts[0] == counts[1]
