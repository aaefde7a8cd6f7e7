"""A count by what people do on pages: listed, counted blind, counted again by another, explained, approved, posted."""

import hashlib
import re
from datetime import timedelta
from typing import Any

import pytest
from browsing import OTHER_STORES, browser_of, send, sign_in_name, words
from counters import Counters
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from people import AUDITOR, BUYER, STORES, person
from warehouse import MONDAY, pieces

from inventory.models import Balance, Movement
from kitting.models import (
    COUNTED,
    EXPLAINED,
    LISTED,
    POSTED,
    CountLine,
    CountList,
    Event,
    KeptScan,
    Person,
    Policy,
    Printing,
)
from kitting.roles import Actor
from kitting.selectors.counting import count_list, sheet_revision

pytestmark = pytest.mark.django_db


@pytest.fixture
def stores(db: None) -> Counters:  # noqa: ARG001 - the records must be there
    """Two depots with bins; 12 inserts in a bin of N; M. Osei, L. Fenn and C. Silva can sign in."""
    made = Counters()
    Policy.objects.create(policy="demo", value="yes")  # the clock is that of the last deed
    known(STORES, OTHER_STORES, AUDITOR, BUYER)
    made.receive(12)
    return made


def known(*actors: Actor) -> None:
    """Let their browsers be opened; nobody here types a password."""
    for one in actors:
        Person.objects.create(sign_in=sign_in_name(one), name=one.name, roles=sorted(one.roles), depots=[])


def first() -> Client:
    return browser_of(STORES)


def second() -> Client:
    return browser_of(OTHER_STORES)


def counted(client: Client, figure: str, line: int = 1, *, again: bool = False, **more: object) -> str:
    address = f"/counts/1{'?again=yes' if again else ''}"
    return words(send(client, address, line=line, counted=figure, **more))


def difference_page(position: int = 1) -> str:
    return f"/counts/differences/{CountLine.objects.get(position=position).pk}"


def explained(client: Client, **given: object) -> str:
    fields = {"deed": "explain", "cause": "not booked", "words": "taken by night", **given}
    return words(send(client, difference_page(), **fields))


def differing(stores: Counters, figure: int = 6) -> None:
    """Twelve on the books, so many counted, by two."""
    stores.list("bin")
    stores.count(figure)
    stores.again(figure)


def test_what_is_proposed_has_its_reason_and_becomes_one_list_however_often_it_is_sent(stores: Counters) -> None:
    client = first()
    stores.list("rack", depot="H")
    said = words(send(client, "/counts/propose/N", do="want", place="N/bin", why="six are missing"))
    assert "N/bin is proposed first" in said
    page = client.get("/counts/propose/N")
    assert "spot: M. Osei missed pieces" in words(page)
    assert re.search(r"\b12\b", words(page).replace("12 most", "").partition("BI15")[2].partition("At most")[0]) is None
    keys = re.findall(r'name="what" value="([^"]+)"', page.content.decode())

    fields = {"do": "list", "what": keys, "action": "P-1"}
    listed, twice = send(client, "/counts/propose/N", **fields), send(client, "/counts/propose/N", **fields)
    other = words(send(client, "/counts/propose/N", **{**fields, "action": "P-2"}))

    assert "Count, list 2, depot N" in words(listed)
    assert words(twice) == words(listed)
    assert "CHANGED" in other
    assert CountList.objects.count() == 2
    assert CountLine.objects.get(count_list__number=2).reasons[0].startswith("spot")
    assert "needs a reason" in words(send(client, "/counts/propose/N", do="want", place="bin", why=" "))


def test_places_of_ones_choice_are_listed_and_an_unknown_one_is_named(stores: Counters) -> None:
    assert stores
    client = first()
    wrong = words(send(client, "/counts/propose/N", do="places", codes="bin, attic"))
    listed = words(send(client, "/counts/propose/N", do="places", codes="N/bin, other bin"))
    again = words(send(client, "/counts/propose/N", do="places", codes="bin"))

    assert "N has no place attic" in wrong
    assert "2 to count on this walk" in listed
    assert "on a list already" in again
    assert "list the" not in words(browser_of(AUDITOR).get("/counts/propose/N"))
    assert send(browser_of(AUDITOR), "/counts/propose/N", do="places", codes="rack").status_code == 403
    assert browser_of(BUYER).get("/counts").status_code == 403


def test_the_counter_sees_bin_item_and_lot_and_nothing_of_the_books(stores: Counters) -> None:
    stores.receive(7, lot="L-2")
    stores.list("bin")
    client = first()

    page = words(client.get("/counts/1")).partition("Count, list 1")[2]
    blank = counted(client, "")
    wrong = counted(client, "1,5")
    half = counted(client, "6.5")
    said = counted(client, "12")
    zero = counted(client, "0", 2)

    assert "bin" in page
    assert "BI15 lot L-1" in page
    assert re.search(r"\b(12|7)\b", page) is None
    assert "a blank is not zero" in blank
    assert "comma as decimal point? (1.5)" in wrong
    assert "NO PART OF A PIECE BI15 is counted by the piece, so 6.5 can't be." in half
    assert "NEXT" in said
    assert "lot L-2" in said
    assert "RECOUNT BY ANOTHER" in zero
    assert "All of it is counted" in zero
    assert re.search(r"\b7\b", zero.partition("RECOUNT BY ANOTHER")[2]) is None


def test_a_line_left_for_later_comes_again(stores: Counters) -> None:
    stores.receive(7, lot="L-2")
    stores.list("bin")
    client = first()
    later = send(client, "/counts/1", line=1, do="skip")
    assert "lot L-2" in words(later)
    assert "1 skipped" in words(later)
    last = words(send(client, later.redirect_chain[-1][0], line=2, counted="7"))
    assert "Only skipped ones are left" in last
    assert "lot L-1" in words(client.get("/counts/1"))


def test_a_carton_leads_to_its_lot_and_one_that_is_not_listed_is_added_and_counted_at_its_place(
    stores: Counters,
) -> None:
    stores.receive(7, lot="L-2")
    stores.list("bin", "other bin")
    client = first()

    found = words(client.get("/counts/1", {"read": "(241)BI15(10)L-2"}))
    which = words(client.get("/counts/1", {"read": "BI15"}))
    typed = words(client.get("/counts/1", {"read": "BI15", "read_lot": "L-2"}))
    strange = words(client.get("/counts/1", {"read": "(241)BI15(10)L-9"}))
    nothing = words(client.get("/counts/1", {"read": "XX99"}))

    assert "RIGHT BI15 lot L-2" in found
    assert "WHICH LOT" in which
    assert "RIGHT BI15 lot L-2" in typed
    assert "NOT ON THE LIST BI15 lot L-9" in strange
    assert "LOOK AGAIN" in nothing
    asked = words(send(client, "/counts/1", do="add", line=1, stock_code="(241)BI15(10)L-9"))
    assert "Look again" in asked
    fields = {"do": "add", "line": 1, "stock_code": "(241)BI15(10)L-9", "confirmed": "new-lot/1"}
    assert "ADDED BI15 lot L-9" in words(send(client, "/counts/1", **fields))
    for line in (1, 2):
        counted(client, "1", line)
    assert "lot L-9" in words(client.get("/counts/1")), "it is counted before one walks on to the other bin"


def test_pieces_at_a_place_that_should_be_empty_are_added_and_not_typed_there(stores: Counters) -> None:
    stores.list("other bin")
    client = first()
    assert "should be empty" in words(client.get("/counts/1"))
    assert "is listed as empty: add what lies there" in counted(client, "3")
    assert CountLine.objects.get().state == LISTED
    assert "All of it is counted" in counted(client, "0")
    assert "count settled: post it" in words(client.get("/"))


def test_what_differs_is_counted_again_by_another_person_who_sees_no_figure_either(stores: Counters) -> None:
    stores.list("bin")
    counted(first(), "6")
    own = words(first().get("/counts/1?again=yes"))
    page = words(second().get("/counts/1?again=yes")).partition("Count again, list")[2]
    whole = words(second().get("/counts/1/lines"))
    refused = counted(first(), "6", again=True)
    taken = counted(second(), "7", again=True)

    assert "ANOTHER PERSON You counted it first" in own
    assert "How many" not in own
    assert re.search(r"\b(6|12)\b", page) is None
    assert "differs waits: count by another person" in whole
    assert "difference" not in whole.partition("Lines in walk order")[2]
    assert "another person counts again" in refused
    assert "NEXT" in taken
    assert "difference -5 ea" in words(first().get("/counts/1/lines"))
    assert CountLine.objects.get().recounted_by == OTHER_STORES.name


def test_a_count_that_is_a_pack_off_is_asked_about_and_confirmed_on_its_own_page(stores: Counters) -> None:
    stores.receive(12, item=stores.splice, lot="L-3", use_by=MONDAY.date() + timedelta(900), to="N/other bin")
    stores.list("other bin")
    client = first()
    asked = counted(client, "4", action="C-1", gloves="1")
    assert "did you count by the kit of 3 ea?" in asked
    assert CountLine.objects.get().state == LISTED
    said = counted(client, "4", action="C-1", confirmed="each-or-kit/1")
    assert "RECOUNT BY ANOTHER" in said
    counted(second(), "4", again=True, confirmed="each-or-kit/1")
    page = words(client.get(difference_page()))
    assert "EACH OR KIT?" in page
    assert "each/kit error" in page


def test_before_the_books_change_one_sees_what_moved_what_waits_and_where_else_it_lies(stores: Counters) -> None:
    stores.move(2, stores.lot("L-1"), "N/bin", "N/truck 14")
    KeptScan.objects.create(
        action="D-1", device="phone 2", use_case="pick", content={"stock_code": "BI15"}, by="T. Ahola",
        device_at=MONDAY, reached_at=MONDAY, why="the bag was closed",
    )  # fmt: skip
    stores.list("bin")
    stores.count(6)
    early = words(first().get(difference_page()))
    stores.again(6)
    page = words(first().get(difference_page()))

    assert "a figure is shown once two persons have counted" in early
    assert "On the books" not in early
    assert "On the books at that moment 10 ea" in page
    assert "Counted by M. Osei 6 ea" in page
    assert "Difference -4 ea" in page
    assert "-2 ea to N/truck 14" in page
    assert "the bag was closed" in page
    assert "truck 14 truck L-1 2 ea" in page


def test_a_difference_is_explained_approved_by_another_and_posted(stores: Counters) -> None:
    differing(stores)
    client, auditor = first(), browser_of(AUDITOR)
    assert "1 difference of a count to explain" in words(client.get("/"))
    assert "needs a reason" in explained(client, words=" ")
    assert "differs by one of these" in explained(client, cause="ghosts")
    kept = send(client, difference_page(), deed="explain", cause="late paper", words="").content.decode()
    assert re.search(r'value="late paper" checked', kept), "what was chosen is not chosen again"
    assert "waits for its explanation" in words(send(client, "/counts/1/lines"))
    said = explained(client)
    assert "another person approves it" in said
    assert "counted or explained it" in said
    assert "Approve this difference" not in said
    assert send(client, difference_page(), deed="approve", reason="mine").status_code == 403

    listed = words(auditor.get("/to-approve"))
    assert "BI15 lot L-1 at N/bin: -6 ea" in listed
    assert "not booked: taken by night" in listed
    assert "1 count difference: to approve or refuse" in words(auditor.get("/"))
    assert "needs a reason" in words(send(auditor, difference_page(), deed="approve", reason=""))
    assert "APPROVED" in words(send(auditor, difference_page(), deed="approve", reason="seen the slips"))
    assert "No difference of a count waits" in words(auditor.get("/to-approve"))

    assert send(auditor, "/counts/1/lines").status_code == 403
    assert "POSTED" in words(send(client, "/counts/1/lines"))
    assert Balance.objects.get(lot=stores.lot("L-1"), place=stores.place("N/bin")).quantity == pieces(6)
    assert Movement.objects.filter(action__use_case="post count").count() == 1
    assert "Approved by C. Silva seen the slips" in words(client.get(difference_page()))
    assert "count 1 1 1 M. Osei" in words(client.get("/counts?depot=N"))


def test_a_difference_that_is_sent_back_is_blind_again_and_counted_by_another(stores: Counters) -> None:
    differing(stores)
    explained(first())
    said = words(send(browser_of(AUDITOR), difference_page(), deed="refuse", reason="look behind the rack"))
    assert "SENT BACK" in said
    assert CountLine.objects.get().state == COUNTED
    assert "a figure is shown once" in words(second().get(difference_page()))
    assert "difference -6" not in words(second().get("/counts/1/lines"))
    counted(second(), "12", again=True)
    assert "difference none" in words(first().get("/counts/1/lines"))
    assert "POSTED" in words(send(first(), "/counts/1/lines"))


def test_within_the_limit_nobody_approves_and_who_counted_never_does(stores: Counters) -> None:
    differing(stores, 11)
    assert "within the limit" in explained(first())
    assert "Nothing waits" not in words(first().get("/counts/1/lines"))
    assert CountLine.objects.get().state == EXPLAINED
    assert "No difference of a count waits" in words(browser_of(AUDITOR).get("/to-approve"))
    both = person("B. Oth", "storekeeper", "auditor")
    known(both)
    CountLine.objects.update(counted_by="B. Oth", counted=pieces(2), recount=pieces(2))
    page = words(browser_of(both).get(difference_page()))
    assert "B. Oth counted or explained it" in page
    assert "another person" in words(browser_of(both).get("/to-approve")).partition("Count differences")[2]
    assert send(browser_of(both), difference_page(), deed="approve", reason="mine").status_code == 403


def test_a_sheet_is_printed_by_a_form_and_typed_back_by_line(stores: Counters) -> None:
    stores.receive(7, lot="L-2")
    stores.list("bin")
    client, revision = first(), sheet_revision(count_list(1))
    looked = client.get("/counts/1/sheet.pdf")
    paper = client.post("/counts/1/sheet.pdf", {"action": "P-1"})
    assert looked.status_code == 405  # looking prints nothing
    assert paper.content.startswith(b"%PDF")
    assert Printing.objects.get().revision == revision
    assert revision in words(client.get("/counts/1/lines"))
    file = client.get("/counts/1/sheet.csv").content
    (event,) = Event.objects.filter(name="printed", subject="count sheet as csv 1")
    assert event.data["digest"] == hashlib.sha256(file).hexdigest()
    table = file.decode("utf-8-sig")
    assert "L-2" in table
    assert ",7" not in table  # blind, as on paper

    fields: dict[str, Any] = {"revision": revision, "line-1": "12", "line-2": ""}
    blank = send(client, "/counts/1/paper", **fields)
    assert "(line 2, N/bin)" in words(blank)
    assert 'name="line-1" value="12"' in blank.content.decode()
    asked = words(send(client, "/counts/1/paper", **{**fields, "line-2": "7", "revision": "OLD"}))
    assert "other lines by now than on sheet OLD" in asked
    said = words(send(client, "/counts/1/paper", **{**fields, "line-2": "6", "counted_at": "2026-03-02T08:30"}))
    assert "1 TO RECOUNT 2 lines of count 1 are typed back" in said
    assert {*CountLine.objects.values_list("counted", flat=True)} == {pieces(12), pieces(6)}
    assert "No line waits" in words(client.get("/counts/1/paper"))


def test_accuracy_is_shown_by_depot_and_cause_with_the_number_it_comes_from(stores: Counters) -> None:
    client = browser_of(AUDITOR)
    assert "No count was posted in this time" in words(client.get("/counts/accuracy"))
    differing(stores, 11)
    stores.explain()
    stores.post()
    page = words(client.get("/counts/accuracy"))
    assert "N 0 % 1 1 1 not booked fewer than 20: little to go by" in page
    assert "bushing insert" in words(client.get("/counts/accuracy", {"by": "kind"}))
    assert "No count was posted" in words(client.get("/counts/accuracy", {"until": "2020-01-01"}))
    assert "write the day as" in words(client.get("/counts/accuracy", {"since": "soon"}, follow=True))


def test_what_is_not_there_is_said_in_words(stores: Counters) -> None:
    assert stores
    client = first()
    for address in ("/counts/7", "/counts/7/lines", "/counts/7/paper", "/counts/differences/7", "/counts?depot=Z"):
        answer = client.get(address)
        assert answer.status_code == 404
        assert "There is no" in words(answer)


def test_pages_ask_the_books_as_often_with_more_lines(stores: Counters) -> None:
    client = first()
    stores.list("bin")
    addresses = ("/counts", "/counts/1", "/counts/1/lines", "/counts/1/paper", "/")
    few = {one: queries(client, one) for one in addresses}
    stores.list("other bin")
    for number in range(2, 9):
        lot = stores.receive(3, lot=f"L-{number}")
        assert lot
        CountLine.objects.create(
            count_list=count_list(1), position=number, place=stores.place("N/bin"), lot=stores.lot(f"L-{number}")
        )
    assert {one: queries(client, one) for one in addresses} == few


def queries(client: Client, address: str) -> int:
    client.get(address)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def test_posted_lists_stay_to_be_read(stores: Counters) -> None:
    differing(stores, 11)
    stores.explain()
    stores.post()
    page = words(first().get("/counts/1/lines"))
    assert "POSTED by M. Osei" in page
    assert "difference -1 ea" in page
    assert CountLine.objects.get().state == POSTED
    assert "is posted" in counted(second(), "3", again=True)
    assert Event.objects.filter(name="count posted").exists()
