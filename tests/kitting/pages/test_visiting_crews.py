"""Visiting crews turn in and look up field answers until their access ends; then they are told, and nothing is lost."""

import json
from datetime import datetime, timedelta

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import ADMINISTRATOR, PASSWORD, PIN, browser_of, people, send, sign_in_name, words
from django.test import Client
from module_books import books_of_module
from people import PLANNER, STORES
from refusals import refusal

from inventory.models import Movement
from kitting.models import Event, KeptScan, Person
from kitting.roles import VISITING_CREW
from kitting.selectors.clock import books_now
from kitting.services.keep_people import keep_person, set_access
from kitting.services.replay_scans import Recorded, replay

pytestmark = pytest.mark.django_db
GUEST, SENT = "guest", "2026-03-02T15:00:00+00:00"


def bag_with_visitors() -> None:
    """J03's bag for V2 is out, with a visiting crew whose access lasts another day."""
    planned()
    made = Stores(prefix="before")
    made.out("J03", "V2")
    people(STORES, ADMINISTRATOR, PLANNER)
    visits(books_now() + timedelta(days=1))


books = books_of_module(demo_sheets, bag_with_visitors)


def visits(until: datetime) -> Person:
    return keep_person(
        sign_in=GUEST, name="V. Guest, Larkfield Line", roles=[VISITING_CREW], depots=["N"], actor=ADMINISTRATOR,
        at=books_now(), password=PASSWORD, pin=PIN, until=until,
    )  # fmt: skip


def guest() -> Person:
    return Person.objects.get(sign_in=GUEST)


def ended() -> Person:
    """The guest, whose access ended a minute ago."""
    Person.objects.filter(sign_in=GUEST).update(access_until=books_now() - timedelta(minutes=1))
    return guest()


def turned_in(stores: Stores) -> dict[str, object]:
    """What a scan of the turn-in says of one piece of the bag that is out."""
    contents = stores.contents("J03", "V2")
    stand = next(one for one in contents.lines if one.open and one.line.item)
    return {
        "bag": stores.code("J03", "V2"), "stock_code": stand.line.item.stock_code,
        "lot": contents.lots[next(iter(stand.inside))].number, "quantity": 1000, "condition": "sealed",
        "door": "inspect", "place": ["N", "N turn-in shelf", "hold"],
    }  # fmt: skip


def test_an_access_needs_an_end_that_is_near_and_no_other_role_beside_it() -> None:
    given = {"sign_in": "crew2", "name": "C. Two", "depots": [], "actor": ADMINISTRATOR, "at": books_now()}
    visiting = {**given, "roles": [VISITING_CREW]}
    assert "until when" in refusal("no-end", keep_person, **visiting)
    assert "lies ahead" in refusal("ended-already", keep_person, **visiting, until=books_now())
    assert "30 days" in refusal("too-long", keep_person, **visiting, until=books_now() + timedelta(days=31))
    both = {**given, "roles": [VISITING_CREW, "storekeeper"]}
    assert "no other role" in refusal("visiting-alone", keep_person, **both, until=books_now() + timedelta(days=1))
    assert "is no visiting crew" in refusal(
        "no-visitor", set_access, sign_in=sign_in_name(STORES), until=None, actor=ADMINISTRATOR, at=books_now()
    )
    assert "may not" in refusal("not-allowed", set_access, sign_in=GUEST, until=None, actor=STORES, at=books_now())


def test_the_page_of_people_says_who_gave_an_access_until_when_extends_and_stops_it() -> None:
    admin = browser_of(ADMINISTRATOR)
    said = words(admin.get("/people"))
    assert f"V. Guest, Larkfield Line: has access until {guest().access_until:%Y-%m}" in said
    assert f"given by {ADMINISTRATOR.name}" in said

    refused = send(admin, "/people", sign_in="crew2", name="C. Two", roles=[VISITING_CREW], active="on")
    assert "Say until when" in words(refused)
    assert 'value="C. Two"' in refused.content.decode()
    later = (books_now() + timedelta(days=3)).strftime("%Y-%m-%dT12:00")
    assert "EXTENDED" in words(send(admin, "/people", do="extend", visitor=GUEST, until=later))
    assert "STOPPED" in words(send(admin, "/people", do="stop", visitor=GUEST))
    assert "V. Guest, Larkfield Line: NO ACCESS" in words(admin.get("/people"))
    names = ["access extended", "access stopped"]
    assert [*Event.objects.filter(name__startswith="access ").values_list("name", flat=True).order_by("pk")] == names
    assert browser_of(PLANNER).post("/people", {"do": "stop", "visitor": GUEST}).status_code == 403


def test_while_it_lasts_a_visitor_turns_in_and_looks_up_and_no_more() -> None:
    client, stores = Client(), Stores(prefix="visit")
    assert "V. Guest" in words(send(client, "/sign-in", username=GUEST, password=PASSWORD))
    code = stores.code("J03", "V2")
    seen = {page: client.get(page).status_code for page in ("/fit", "/where", f"/bags/{code}/turn-in")}
    assert set(seen.values()) == {200}
    barred = {page: client.get(page).status_code for page in ("/stock", "/bags", "/trucks", "/cutovers", "/reserve")}
    assert set(barred.values()) == {403}


def test_once_it_has_ended_sign_in_handing_over_and_every_page_refuse_it_in_words() -> None:
    inside = Client()
    send(inside, "/sign-in", username=GUEST, password=PASSWORD)
    ended()
    at_door = send(Client(), "/sign-in", username=GUEST, password=PASSWORD)
    assert (at_door.status_code, "ACCESS ENDED: that of V. Guest" in words(at_door)) == (403, True)
    assert "ACCESS ENDED" not in words(send(Client(), "/sign-in", username=GUEST, password="a wrong one"))
    handed = send(browser_of(STORES), "/switch", username=GUEST, pin=PIN)
    assert (handed.status_code, "ACCESS ENDED" in words(handed)) == (401, True)
    next_page = inside.get("/where")
    assert (next_page.status_code, "ACCESS ENDED" in words(next_page)) == (403, True)
    assert inside.get("/switch").status_code == 200, "somebody else may take the device over"
    Person.objects.filter(sign_in=GUEST).update(access_until=None)
    assert "nobody has said until when" in words(send(Client(), "/sign-in", username=GUEST, password=PASSWORD))


def test_what_was_turned_in_too_late_is_kept_for_a_person_and_books_nothing() -> None:
    stores, inside = Stores(prefix="visit"), Client()
    stores.place("N", "N turn-in shelf", "hold")
    scan, code = turned_in(stores), stores.code("J03", "V2")
    send(inside, "/sign-in", username=GUEST, password=PASSWORD)
    queue = [Recorded("turn in", scan, "g-0", books_now(), guest().actor())]
    assert replay(device="guest phone", scans=queue, device_now=books_now(), at=books_now()).applied == ("g-0",)
    before, late = Movement.objects.count(), ended().actor()
    queue = [Recorded("turn in", scan, name, books_now() - timedelta(hours=1), late) for name in ("g-0", "g-1")]

    done = replay(device="guest phone", scans=queue, device_now=books_now(), at=books_now())
    assert (done.applied, done.known, done.kept) == ((), ("g-0",), ("g-1",))
    piece = {**scan, "why": ""}
    one = {"name": "turn in", "content": piece, "action": "g-3", "device_at": SENT, "by": GUEST}
    queued = {"device": "guest phone", "device_now": SENT, "scans": [one]}
    answered = inside.post("/carried/scans", json.dumps(queued), content_type="application/json").json()
    assert "ACCESS ENDED" in answered["kept"]["g-3"]
    typed = inside.post(f"/bags/{code}/turn-in", {"do": "tick", "quantity-7": "1", "pin": PIN, "action": "g-2"})
    assert typed.status_code == 403
    assert Movement.objects.count() == before
    assert KeptScan.objects.get(action="g-2").content == {"code": code, "do": "tick", "quantity-7": "1"}

    said = words(browser_of(STORES).get("/exceptions"))
    assert "Turn in, by V. Guest, Larkfield Line ACCESS ENDED" in said
    assert "quantity-7 1" in said
    booked = words(send(browser_of(STORES), "/exceptions", do="book", scan="g-1"))
    assert f"turned in from {stores.bag('J03', 'V2')}" in booked
    assert Movement.objects.count() == before + 1
