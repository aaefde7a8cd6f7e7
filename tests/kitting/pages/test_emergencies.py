"""An emergency on its page: place, what has failed, the suggested bag with its sources; then the walk takes over."""

import re
from typing import Any

import pytest
from bag_stores import NIGHT, Stores, demo_sheets, staged_early
from browsing import browser_of, people, send, words
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import CREW, DUTY, STORES

from inventory.models import Balance, Depot
from jobs.models import Job
from kitting.models import Bag, BagEntry, Person, Promise
from kitting.pages.pick_pages import key_of
from kitting.selectors.emergencies import next_number, place_named
from kitting.selectors.pick_walk import pick_walk
from kitting.services.emergency import open_emergency
from kitting.services.storm_issues import out_bag
from kitting.services.storms import open_storm

pytestmark = pytest.mark.django_db


def prepared() -> None:
    """A bag that is staged early, and people who may sign in."""
    staged_early()
    people()


books = books_of_module(demo_sheets, prepared)
SALTMARSH = {"place": "Saltmarsh", "failed": "splice", "depot": "H", "system": "S12", "cable_type": "CT-01"}


@pytest.fixture
def stores() -> Stores:
    """The night of the dig-in."""
    return Stores(NIGHT)


@pytest.fixture
def night() -> Client:
    """The duty supervisor's device."""
    return browser_of(DUTY)


def form_of(page: Any) -> dict[str, str]:
    """What stands in the form that opens it."""
    text = page.content.decode()
    form = text[text.index('<form method="post" class="steps" action="/emergency"') :].partition("</form>")[0]
    return dict(re.findall(r'<input[^>]* name="([^"]+)"[^>]* value="([^"]*)"', form))


def test_three_taps_open_the_bag_and_the_walk_takes_free_pieces_that_are_still_good(
    stores: Stores, night: Client
) -> None:
    """Trap T15: three pieces of L-2303B lie free in H-04-2, good to 03-31; J10's staged bag stays untouched."""
    shown = night.get("/emergency", SALTMARSH)
    assert "Today Bags Emergency" in words(shown)
    assert "WHAT IT NEEDS system S12, built by stores H" in words(shown)
    assert "3 CS15-2" in words(shown)
    assert words(shown).index("near its date") < words(shown).index("staged bag")

    opened = send(night, "/emergency", **form_of(shown))
    assert "OPEN E01 Saltmarsh is open" in words(opened)
    bag = Bag.objects.get(job__job="E01")
    assert (bag.depot.depot, bag.state) == ("H", "listed")

    steps = pick_walk(depot="H", bags=[stores.code("E01", "Saltmarsh")])
    (splice,) = [one for one in steps if one.lot.item.stock_code == "CS15-2"]
    assert (splice.place.code, splice.lot.number, splice.quantity) == ("H-04-2", "L-2303B", 3000)
    assert not Promise.objects.filter(job=bag.job).exists()
    right = {"step": key_of(splice), "place": "H-04-2", "read": "CS15-2", "lot": "L-2303B", "quantity": "3"}
    taken = send(night, f"/pick/H?bag={splice.code}", **right)
    assert "RIGHT 3 CS15-2 in E01 Saltmarsh; 0 more to come" in words(taken)
    assert "CS15-2" not in {one.lot.item.stock_code for one in pick_walk(depot="H", bags=[splice.code])}


def test_promised_pieces_are_left_alone_and_what_no_rule_knows_is_typed(stores: Stores, night: Client) -> None:
    """H's fresh lot is promised to J10; the walk for the emergency offers none of it."""
    unknown = words(night.get("/emergency", {"place": "Nowhere 7", "failed": "elbow"}))
    assert "Nowhere 7 is not on the books" in unknown
    nothing = send(night, "/emergency", place="Nowhere 7", failed="elbow", depot="H", number="E01", why="dig-in")
    assert "Say what E01 needs" in words(nothing)

    typed = {"code-m1": "cs15-2", "quantity-m1": "4"}
    opened = send(
        night, "/emergency", place="Nowhere 7", failed="elbow", depot="H", number="E01", why="dig-in", **typed
    )
    assert "OPEN E01 Nowhere 7" in words(opened)
    promised = Promise.objects.filter(item__stock_code="CS15-2", lot__number="L-2508A", released_at=None)
    lying = Balance.objects.get(place__code="H-04-2", lot__number="L-2508A").quantity
    offered = {one.lot.number: one.quantity for one in pick_walk(depot="H", bags=[stores.code("E01", "Nowhere 7")])}
    assert offered["L-2303B"] == 3000
    assert offered.get("L-2508A", 0) <= lying - sum(one.quantity for one in promised)


def test_a_structure_with_several_positions_asks_which_and_the_next_number_is_taken(night: Client) -> None:
    which = night.get("/emergency", {"place": "A2", "failed": "elbow"})
    assert "Which position? A2-a A2-b" in words(which)
    assert "Open it" not in words(which)
    assert "3 EL15-2" in words(night.get("/emergency", {"place": "A2-a", "failed": "elbow"}))
    assert (place_named("A2-a"), place_named("A2"), place_named("R 7-b")) == (("A2", "a"), ("A2", ""), ("R 7-b", ""))

    Job.objects.create(job="E09", depot="N")
    assert next_number() == "E10"
    used = send(night, "/emergency", **SALTMARSH, number="E09", why="dig-in", **{"code-1": "MST", "quantity-1": "1"})
    assert "take another number" in words(used)
    assert "Open it as E10" in words(used)


def test_an_emergency_is_listed_whatever_its_number_and_a_storm_is_none(stores: Stores, night: Client) -> None:
    open_emergency(
        job="NIGHT-7", structure="Saltmarsh", depot="H", wanted={"CS15-2": 1000}, why="dig-in", **stores.scan(DUTY)
    )
    open_storm(storm="E9", depot="H", title="ice", **stores.scan(DUTY))
    out_bag(Job.objects.get(job="E9"), Depot.objects.get(depot="H"), "Alder 12", "Crew 2")
    listed = words(night.get("/emergency")).partition("Open now")[2]
    assert "NIGHT-7 Saltmarsh" in listed
    assert "Alder 12" not in listed


def test_duty_supervisor_and_storekeeper_open_it_from_the_first_page_and_a_crew_does_not() -> None:
    given = {**SALTMARSH, "number": "E01", "why": "dig-in", "code-1": "MST", "quantity-1": "1"}
    assert 'href="/emergency"' in browser_of(DUTY).get("/").content.decode()
    crew = browser_of(CREW)
    assert 'class="button" href="/emergency"' not in crew.get("/").content.decode()
    assert "open it." in words(crew.get("/emergency", SALTMARSH))
    assert crew.post("/emergency", given).status_code == 403
    Person.objects.filter(name=STORES.name).update(depots=["N"])
    assert browser_of(STORES).post("/emergency", given).status_code == 403
    assert not Bag.objects.filter(job__job="E01").exists()

    Person.objects.filter(name=STORES.name).update(depots=["H"])
    window = browser_of(STORES)
    assert "OPEN E01" in words(send(window, "/emergency", **given, action="P-once"))
    assert "OPEN E01" in words(send(window, "/emergency", **given, action="P-once"))
    assert "E01 Saltmarsh" in words(window.get("/emergency"))
    assert Bag.objects.filter(job__job__startswith="E").count() == 1


def test_a_piece_is_put_in_from_a_place_that_the_walk_does_not_pass(stores: Stores, night: Client) -> None:
    given = {**SALTMARSH, "number": "E01", "why": "dig-in", "code-1": "CS15-2", "quantity-1": "1"}
    send(night, "/emergency", **given)
    code = stores.code("E01", "Saltmarsh")

    wrong = send(night, f"/bags/{code}/put-in", place="H-04-2", read="BI15", quantity="1")
    right = send(night, f"/bags/{code}/put-in", place="H-04-2", read="(241)CS15-2(10)L-2303B", quantity="1")

    assert "WRONG ITEM" in words(wrong)
    assert "RIGHT 1 CS15-2" in words(right)
    assert BagEntry.objects.get(line__bag__job__job="E01").lot.number == "L-2303B"


def test_a_longer_list_of_what_is_missing_costs_the_walk_no_more_queries(night: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            pick_walk(depot="H", jobs=[])
        return len(seen)

    one = {"code-1": "CS15-2", "quantity-1": "1"}
    send(night, "/emergency", **SALTMARSH, number="E01", why="dig-in", **one)
    before = queries()
    more = {**one, "code-2": "MST", "quantity-2": "1", "code-3": "RJ-1", "quantity-3": "1"}
    send(night, "/emergency", **SALTMARSH, number="E02", why="dig-in", **more)
    assert queries() == before
