"""Where else a piece is, and a staged bag that lends it, on the pages of the night."""

import html
import re

import pytest
from bag_stores import NIGHT, Stores, demo_sheets, staged_early
from browsing import PIN, browser_of, paper_text, people, send, sign_in_name, words
from django.test import Client
from module_books import books_of_module
from people import DUTY, STORES

from inventory.models import Balance, Lot
from jobs.models import Job
from kitting.models import Borrow, ReserveRelease
from kitting.selectors.bag_contents import label_code
from kitting.services.emergency import open_emergency

pytestmark = pytest.mark.django_db


def prepared() -> None:
    """A bag that may lend, and people who may sign in."""
    staged_early()
    people()


books = books_of_module(demo_sheets, prepared)


@pytest.fixture
def stores() -> Stores:
    """The night of the dig-in."""
    return Stores(NIGHT)


@pytest.fixture
def taker(stores: Stores) -> str:
    """The code of the bag for Saltmarsh, which wants three splices."""
    found = open_emergency(
        job="E01", structure="Saltmarsh", depot="H", wanted={"CS15-2": 3000}, why="dig-in", **stores.scan(DUTY)
    )
    return label_code(found.bag)


def test_free_pieces_stand_before_the_staged_bag_which_lends_only_by_leave(
    stores: Stores, taker: str, window: Client
) -> None:
    address = f"/bags/{taker}/borrow?item=CS15-2"
    asked = {
        "lender": f"{stores.code('J10', 'V9')}|L-2508A", "quantity": "3", "why": "dig-in", "pay_back_by": "2026-04-09",
        "approver": sign_in_name(DUTY), "pin": PIN,
    }  # fmt: skip

    seen = words(window.get(address))
    alone = send(window, address, **{**asked, "approver": "", "pin": ""})
    itself = send(window, address, **{**asked, "approver": sign_in_name(STORES)})
    undated = send(window, address, **{**asked, "pay_back_by": "soon"})
    question = send(window, address, **asked)

    assert seen.index("L-2303B") < seen.index("In staged bags and with crews") < seen.index("Which bag lends")
    assert "NEEDS SUPERVISOR" in words(alone)
    assert "may not approve this" in words(itself)
    assert "WHEN BACK" in words(undated)
    assert "Take these first: 3 of CS15-2 lot L-2303B" in words(question)
    assert PIN not in question.content.decode()
    assert not Borrow.objects.exists()

    lent = send(window, address, **asked, confirmed="free-first/1")
    assert "GO CS15-2 lot L-2508A from J10 V9 to E01" in words(lent)
    assert (Borrow.objects.get().authorised_by, Borrow.objects.get().quantity) == (DUTY.name, 3_000)
    assert stores.bag("J10", "V9").state == "broken"


def test_the_reserve_is_asked_for_where_an_emergency_looks_and_comes_to_a_bin_to_be_picked(
    stores: Stores, window: Client
) -> None:
    found = open_emergency(
        job="E02", structure="Saltmarsh", depot="H", wanted={"BI15": 1000}, why="dig-in", **stores.scan(DUTY)
    )
    page = window.get(f"/bags/{label_code(found.bag)}/borrow?item=BI15").content.decode()
    (link,) = re.findall(r'href="(/ask/reserve\?[^"]+)"', page)
    form = window.get(html.unescape(link))
    asked = send(window, "/ask/reserve", **dict(form.wsgi_request.GET.items()), why="dig-in")
    number = ReserveRelease.objects.get().pk
    given = {"deed": "yes", "place": "H-04-2", "reason": "no other"}
    released = send(browser_of(DUTY), f"/to-approve/reserve/{number}", **given)

    assert 'value="E02/Saltmarsh/emergency/BI15"' in form.content.decode()
    assert "ASKED" in words(asked)
    assert "to be picked for E02/Saltmarsh/emergency/BI15" in words(released)


def test_a_scanned_piece_says_go_where_it_is_free_and_needs_supervisor_where_a_bag_holds_it(
    stores: Stores, taker: str, window: Client
) -> None:
    Job.objects.filter(job="J10").update(owner="R. Tolley")
    page = f"/bags/{taker}/borrow"

    def told(read: str, lot: str = "") -> str:
        return words(window.get(page, {"item": "CS15-2", "read": read, "lot": lot}))

    assert "GO 3 of CS15-2 lot L-2303B at H/H-04-2 (near its date, use by 2026-03-31)" in told("CS15-2")
    assert "NEEDS SUPERVISOR 6 of CS15-2 lot L-2508A at J10 V9, H rack 4" in told("CS15-2", "L-2508A")
    assert "it breaks a bag of R. Tolley, which is paid back" in told("CS15-2", "L-2508A")
    assert "owner R. Tolley" in told("")
    assert "WRONG ITEM This is BI15" in told("BI15")
    assert "NOT TO BE HAD No piece of CS15-2 lot L-1 is free" in told("CS15-2", "L-1")
    assert "LOOK AGAIN" in told("no such code")
    stores.issue("J10", "V9")
    assert "WITH A CREW 6 of CS15-2 lot L-2508A" in told("CS15-2", "L-2508A")
    in_reserve = words(window.get(page, {"item": "BI15", "read": "BI15"}))
    assert "NEEDS SUPERVISOR 3 of BI15" in in_reserve
    assert "the duty supervisor releases it" in in_reserve


def test_what_was_lent_is_paid_back_on_the_page_of_the_bag_that_lent_it(
    stores: Stores, taker: str, window: Client
) -> None:
    lender = stores.code("J10", "V9")
    asked = {"lender": f"{lender}|L-2508A", "quantity": "3", "why": "dig-in", "pay_back_by": "2026-04-09"}
    leave = {"approver": sign_in_name(DUTY), "pin": PIN, "confirmed": "free-first/1"}
    send(window, f"/bags/{taker}/borrow?item=CS15-2", **asked, **leave)
    shelf, lot = stores.place("H", "H-04-3"), stores.lot("CS15-2", "L-2508A")
    Balance.objects.create(place=shelf, lot=lot, quantity=6_000)
    page = words(window.get(f"/bags/{lender}"))
    back = f"/bags/{lender}/pay-back?borrow={Borrow.objects.get().pk}"

    note = f"/jobs/J10/borrow-note-{Borrow.objects.get().pk}.pdf"
    first, second = (paper_text(window.post(note)) for _ in range(2))

    too_many = send(window, back, place="H-04-3", lot="L-2508A", quantity="4")
    paid = send(window, back, place="H-04-3", lot="L-2508A", quantity="3")

    assert "Print borrow note" in page
    assert "J10 lends to E01" in first
    assert "REPRINT" not in first
    assert "REPRINT 1" in second
    assert window.post("/jobs/J10/borrow-note-999.pdf").status_code == 404
    assert "LENT CS15-2 lot L-2508A from J10 V9 to E01" in page
    assert "3 are to come back, not 4" in words(too_many)
    assert "PAID BACK 0 still to come back for J10 V9." in words(paid)
    assert "LENT" not in words(window.get(f"/bags/{lender}"))
    assert window.get(f"/bags/{lender}/pay-back?borrow=999").status_code == 404


def test_what_a_bag_would_break_is_found_by_planning_without_its_pieces(
    stores: Stores, taker: str, window: Client
) -> None:
    address, asked = f"/bags/{taker}/borrow?item=CS15-2", {"deed": "look", "quantity": "3"}

    broken = words(send(window, address, **asked))
    lot = Lot.objects.get(number="L-2508A", item__stock_code="CS15-2")
    spare = Balance.objects.create(lot=lot, place=stores.place("H", "H-77"), quantity=3_000)
    replaced = words(send(window, address, **asked))

    assert "J10 V9 lot L-2508A" in broken
    assert "J10, 3 more short, staged by 2026-04-09 3" in broken
    assert "nothing: others replace what it lends" in replaced
    assert (Borrow.objects.count(), Balance.objects.get(pk=spare.pk).quantity) == (0, 3_000)
