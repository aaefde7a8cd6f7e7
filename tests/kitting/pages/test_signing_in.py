from typing import Any

import pytest
from browsing import PASSWORD, PIN, browser_of, people, send, sign_in_name, words
from django.test import Client
from people import DUTY, PLANNER, STORES

from kitting.roles import Actor

pytestmark = pytest.mark.django_db


def test_who_is_not_signed_in_is_asked_to_and_then_sees_the_page_they_wanted() -> None:
    people(PLANNER)
    client = Client()

    asked = client.get("/cutovers", follow=True)
    seen = send(client, "/sign-in", username=sign_in_name(PLANNER), password=PASSWORD, next="/cutovers")

    assert asked.request["PATH_INFO"] == "/sign-in"
    assert seen.request["PATH_INFO"] == "/cutovers"
    assert PLANNER.name in words(seen)


def test_after_five_wrong_passwords_even_the_right_one_is_refused_for_a_while() -> None:
    people(PLANNER)
    client = Client()

    answers = [client.post("/sign-in", {"username": sign_in_name(PLANNER), "password": "wrong"}) for _ in range(6)]
    locked = client.post("/sign-in", {"username": sign_in_name(PLANNER), "password": PASSWORD})

    assert [one.status_code for one in answers[:4]] == [401] * 4
    assert answers[-1].status_code == locked.status_code == 429
    assert "Too many tries" in words(locked)


def test_an_address_of_another_server_is_not_followed_after_signing_in() -> None:
    people(PLANNER)

    seen = send(
        Client(), "/sign-in", username=sign_in_name(PLANNER), password=PASSWORD, next="https://elsewhere.example/"
    )

    assert seen.request["PATH_INFO"] == "/"


def test_a_shared_device_is_handed_over_by_pin_and_stays_on_its_page() -> None:
    people(PLANNER, STORES)
    client = browser_of(PLANNER)

    wrong = send(client, "/switch", username=sign_in_name(STORES), pin="0000", next="/bags")
    still = client.get("/")
    right = send(client, "/switch", username=sign_in_name(STORES), pin=PIN, next="/bags")

    assert wrong.status_code == 401
    assert PLANNER.name in words(still)
    assert right.request["PATH_INFO"] == "/bags"
    assert f"{STORES.name} goes on here." in words(right)


def test_a_pin_alone_signs_nobody_in() -> None:
    people(STORES)

    seen = Client().post("/switch", {"username": sign_in_name(STORES), "pin": PIN}, follow=True)

    assert seen.request["PATH_INFO"] == "/sign-in"


def test_the_server_says_that_it_is_up_and_nothing_else() -> None:
    assert Client().get("/health").json() == {"server": "up", "database": "up"}


def test_a_browser_finds_the_icon_where_it_asks_for_one_by_itself() -> None:
    assert Client().get("/favicon.ico").headers["Location"] == "/static/kitting/mark.svg"


def lie_about(client: Client) -> None:
    """Nobody touches the device for more than a quarter of an hour."""
    session = client.session
    session["seen"] -= 16 * 60
    session.save()


def test_a_device_that_lies_about_asks_who_goes_on_and_keeps_its_page() -> None:
    people(STORES)
    client = browser_of(STORES)
    client.get("/bags")
    lie_about(client)

    locked = client.get("/bags?depot=N", follow=True)
    still = client.post("/night", {}, follow=True)
    again = send(client, "/switch", username=sign_in_name(STORES), pin=PIN, next="/bags?depot=N")

    assert "Hand this device over" in words(locked)
    assert "Hand this device over" in words(still)
    assert again.request["PATH_INFO"] == "/bags"
    assert client.get("/bags").status_code == 200


def test_a_form_that_finds_the_device_locked_is_kept_for_who_typed_it_and_for_nobody_else() -> None:
    people(STORES, DUTY)
    client = browser_of(STORES)
    typed = {"place": "A2-a", "why": "dig-in at the school", "pin": PIN, "action": "P-1"}

    def sent_late(taken_by: Actor) -> Any:
        client.get("/bags")
        lie_about(client)
        locked = send(client, "/emergency", **typed)
        return send(client, "/switch", username=sign_in_name(taken_by), pin=PIN, next=locked.context["next"])

    same = sent_late(STORES)
    page = same.content.decode()
    assert "NOT SENT" in words(same)
    assert 'name="why" value="dig-in at the school"' in page
    assert 'action="/emergency"' in page
    assert PIN not in page
    assert "PIN, typed again" in page
    assert sent_late(DUTY).request["PATH_INFO"] == "/"


def test_pages_of_a_depot_open_in_books_without_one_and_refuse_one_that_nobody_knows() -> None:
    people(STORES)
    client = browser_of(STORES)
    addresses = ("/bags", "/counts", "/premade", "/stock/then")
    assert [client.get(one).status_code for one in addresses] == [200] * 4
    assert ["There is no depot X" in words(client.get(one, {"depot": "X"})) for one in addresses] == [True] * 4
