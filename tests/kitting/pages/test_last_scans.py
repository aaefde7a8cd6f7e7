"""Wherever crews and stores scan, the last five scans of the device stand there, and what takes each of them back."""

from datetime import date
from typing import Any

import pytest
from bag_stores import Stores, demo_sheets
from browsing import OTHER_STORES, bags_listed, browser_of, send, words
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from module_books import books_of_module
from people import CREW, STORES

from inventory.models import Balance, Depot, Item, OrderLine, PurchaseOrder
from kitting.models import Person
from kitting.pages.routes import TAKES_SCANS

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, bags_listed)
HEAD = "Last scans"


def last_of(client: Client, address: str) -> str:
    """What stands under the heading."""
    return words(client.get(address)).partition(HEAD)[2]


def undo_form(client: Client, address: str) -> tuple[str, str]:
    """Where the first undo of a page is sent, and the number it sends; '' where there is none."""
    part = client.get(address).content.decode().partition('id="last-scans"')[2]
    to = part.partition('<form method="post" action="')[2].partition('"')[0]
    return to, part.partition('name="undone" value="')[2].partition('"')[0]


def checked_bag(stores: Stores) -> tuple[str, Client]:
    """A filled bag, and the device of who checks it."""
    code = stores.code("J03", "B2")
    stores.fetch("J03", "B2")
    return code, browser_of(OTHER_STORES)


def test_the_last_five_answers_done_and_refused_stand_on_every_page_that_takes_scans_and_on_no_other() -> None:
    code, checker = checked_bag(Stores())
    check = f"/bags/{code}/check"
    assert HEAD not in words(checker.get(check))
    send(checker, check, read="EL15-1", action="C-0")
    send(checker, check, read="no such thing", action="C-1")
    for number in range(2, 6):
        send(checker, check, read="EL15-1", action=f"C-{number}")
    send(checker, check, read="EL15-1", action="C-5")  # sent twice

    scans = last_of(checker, check)
    assert scans.count("+ 1 EL15-1") == 4
    assert "no such thing" in scans
    depots = {depot.depot: depot.pk for depot in Depot.objects.all()}
    named: dict[str, Any] = {
        "pick": ["N"], "issue": ["N"], "receive": [], "transfers": [], "load-van": [depots["N"], depots["H"]],
        "pieces": [Balance.objects.filter(place__kind="bin", place__depot__depot="N").earliest("pk").pk],
        "item": ["EL15-2"],
        "receive-line": [OrderLine.objects.filter(depot__depot="N").earliest("pk").pk],
    }  # fmt: skip
    elsewhere = {"borrow", "pay-back", "count", "receipt", "transfer", "truck", "undo", "undo-move", "undo-receipt"}
    elsewhere |= {name for name in TAKES_SCANS if name.startswith("storm")}
    for route in TAKES_SCANS - elsewhere:
        page = checker.get(reverse(route, args=named.get(route, [code])))
        assert HEAD in words(page), route
    assert HEAD not in words(checker.get("/bags?depot=N"))


def test_a_counted_piece_is_uncounted_while_the_check_goes_on_and_not_after() -> None:
    code, checker = checked_bag(Stores())
    check = f"/bags/{code}/check"
    send(checker, check, read="EL15-1", action="C-1")
    send(checker, check, read="EL15-1", quantity="2", action="C-2")
    to, number = undo_form(checker, check)
    assert (to, number) == (check, "C-2")

    back = words(send(checker, to, do="undo", undone=number))
    again = words(send(checker, to, do="undo", undone=number))

    assert "- 2" in back
    assert "counted 1" in back
    assert "not counted any more" in again
    assert "undone" in last_of(checker, check)
    send(checker, check, do="again")
    assert undo_form(checker, check) == ("", "")


def test_check_stage_and_issue_are_taken_back_by_the_steps_that_reverse_them_as_long_as_the_bag_allows() -> None:
    stores = Stores()
    code, checker = checked_bag(stores)
    bag = f"/bags/{code}"
    for item, pieces in stores.counted("J03", "B2").items():
        send(checker, f"{bag}/check", read=item, quantity=str(pieces // 1000), action=f"C-{item}")
    send(checker, f"{bag}/check", do="all", action="C-all")
    assert f'<a class="button" href="{bag}/reopen">Undo' in checker.get(bag).content.decode()
    checker.post(f"{bag}/print/bag-label.pdf")
    send(checker, f"{bag}/stage", rack="R-1", action="ST-1")
    staged = checker.get(f"{bag}/stage").content.decode()
    assert staged.count(f'<a class="button" href="{bag}/reopen">Undo') == 2

    issued = send(checker, "/issue/N", bags=code, crew="Crew 2", truck="14", signature="G. Uest", action="I-1")

    assert "OUT" in words(issued)
    shown = last_of(checker, "/issue/N")
    assert "OUT" in shown
    page = checker.get("/issue/N").content.decode()
    assert f'<a class="button" href="{bag}/hand-back">Undo' in page
    assert f'href="{bag}/reopen"' not in page
    send(checker, f"{bag}/hand-back", why="the outage is off", action="H-1")
    assert f'href="{bag}/hand-back">Undo' not in checker.get("/issue/N").content.decode()


def test_an_oops_is_taken_back_from_the_list_and_a_receipt_on_its_own_page() -> None:
    stores = Stores()
    stores.out("J03", "B2")
    write_off = f"/bags/{stores.code('J03', 'B2')}/write-off"
    crew = browser_of(CREW)
    piece = crew.get(write_off).content.decode().partition('<option value="')[2].partition('"')[0]
    send(crew, write_off, piece=piece, what="dropped", action="O-1")
    to, number = undo_form(crew, write_off)
    assert (to, number) == (write_off.replace("write-off", "undo"), "O-1")
    assert "UNDONE J03 B2: both stay in the record." in words(send(crew, to, undone=number, back=write_off))
    assert "undone" in last_of(crew, write_off)

    window, order = browser_of(STORES), PurchaseOrder.objects.create(number="PO-9")
    line = OrderLine.objects.create(order=order, line="1", item=Item.objects.get(stock_code="CS15-6"), quantity=12_000,
                                    depot=Depot.objects.get(depot="N"), promised=date(2026, 3, 1))  # fmt: skip
    received = {"lot": "L-NEW", "use_by": "2028-08", "place": "N-04-3", "kits": "4", "each": "12", "action": "R-1"}
    assert "BOOKED 12 EA" in words(send(window, f"/receive/{line.pk}", **received))
    assert 'href="/receipts/R-1#undo">Undo' in window.get("/receive").content.decode()
    send(window, "/receipts/R-1/undo", why="another order", action="R-2")
    assert 'href="/receipts/R-1#undo">Undo' not in window.get("/receive").content.decode()
    assert "BOOKED 12 EA (4 KIT)" in last_of(window, "/receive")
    assert "undone" in last_of(window, "/receive")


def test_a_turn_in_and_what_was_noted_as_installed_are_taken_back_from_the_list_or_it_says_why_not() -> None:
    stores = Stores()
    stores.out("J03", "B2")
    code = stores.code("J03", "B2")
    turn_in, install, undo = (f"/bags/{code}/{name}" for name in ("turn-in", "install", "undo"))
    window, crew = browser_of(STORES), browser_of(CREW)
    row = window.get(turn_in).content.decode().partition('name="back" value="')[2].partition('"')[0]
    came = {f"quantity-{row}": "1", f"condition-{row}": "sealed", f"door-{row}": "scrap", f"why-{row}": "bent"}
    send(window, turn_in, back=row, **came, action="T-1")
    assert undo_form(window, turn_in) == (undo, f"T-1-{row}")

    undone = send(window, undo, undone=f"T-1-{row}", back=turn_in)
    assert undone.redirect_chain[-1][0] == turn_in
    assert "UNDONE J03 B2: both stay in the record." in words(undone)
    assert "undone" in last_of(window, turn_in)
    outside = window.post(undo, {"undone": f"T-1-{row}", "back": "//elsewhere.example/"})
    assert outside.headers["Location"] == f"/bags/{code}"

    phase = crew.get(install).content.decode().partition('name="phase-')[2]
    key, letter = phase.partition('"')[0], phase.partition('value="')[2].partition('"')[0]
    send(crew, install, **{f"phase-{key}": letter}, action="F-1")
    assert undo_form(crew, install) == (undo, "F-1")
    assert ">Undo<" not in window.get(f"/bags/{code}").content.decode().partition("installed ")[2][:400]
    send(window, f"/bags/{code}/close", exception="the crew keeps the rest", action="C-1")
    assert "J03 B2: can't undo, it is closed." in words(send(crew, undo, undone="F-1", back=install))


def test_who_takes_the_device_over_sees_none_of_the_scans_before_and_the_list_costs_the_same_for_one_as_for_five() -> (
    None
):
    code, checker = checked_bag(Stores())
    page, counts = f"/bags/{code}/check", []
    for number in range(5):
        send(checker, page, read="EL15-1", action=f"C-{number}")
        with CaptureQueriesContext(connection) as taken:
            checker.get(page)
        counts.append(len(taken))
    assert len(set(counts)) == 1

    checker.force_login(Person.objects.get(name=STORES.name), backend="django.contrib.auth.backends.ModelBackend")
    assert HEAD not in words(checker.get(page))
