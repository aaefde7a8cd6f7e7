"""Pre-made kits on pages: recipes, what to build, what is wrong with a kit, and a whole kit by one scan."""

from datetime import UTC, date, datetime

import pytest
from bag_stores import Stores, demo_sheets
from browsing import OTHER_STORES, browser_of, people, send, words
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import DUTY, STANDARDS, STORES

from inventory.models import Balance, Lot
from kitting.models import Bag, Policy, Recipe
from kitting.selectors.bag_contents import label_code
from kitting.services.emergency import open_emergency
from kitting.services.premade_kits import build_kit, keep_kit_level
from kitting.services.recipes import keep_recipe
from kitting.services.storms import open_storm

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 3, 14, 18, 0, tzinfo=UTC)
SPLICE = {"name": "SPLICE-1-0", "location": "straight splice", "system": "S12", "cable_type": "CT-01", "depot": "N"}


def with_recipe() -> None:
    """The demo with a recipe, and people who may sign in."""
    keep_recipe(**SPLICE, **Stores(NOON, prefix="recipe").scan(STANDARDS))
    Policy.objects.update_or_create(policy="demo", defaults={"value": "yes"})  # its clock goes by the last deed
    people()


books = books_of_module(demo_sheets, with_recipe)


@pytest.fixture
def stores() -> Stores:
    """Stores at N."""
    return Stores(NOON)


def built(stores: Stores, use_by: date | None = None) -> Bag:
    """A kit that is filled, checked and staged, with splices good until a day."""
    bag = build_kit(recipe="SPLICE-1-0", depot="N", confirmed=("more-than-greatest/1",), **stores.scan())
    place = stores.place("N", "KITS")
    for stand in stores.contents("SPLICE-1-0", bag.structure).lines:
        item = stand.line.item
        assert item is not None
        dated = use_by if item.kind == "splice" and use_by else date(2028, 1, 1)
        lot, _ = Lot.objects.get_or_create(
            item=item, number=f"L-{dated}", defaults={"use_by": dated if item.shelf_months else None}
        )
        Balance.objects.update_or_create(place=place, lot=lot, defaults={"quantity": 90_000})
        stores.pick("SPLICE-1-0", bag.structure, item.stock_code, lot.number, place, stand.line.quantity / 1000)
    stores.ready("SPLICE-1-0", bag.structure, rack="RACK-9")
    return stores.bag("SPLICE-1-0", bag.structure)


def test_a_recipe_is_made_up_by_the_rules_and_says_each_line_with_its_reason_and_fit() -> None:
    client = browser_of(STANDARDS)
    made = words(send(client, "/recipes", do="keep", **{**SPLICE, "name": "RISER-1", "location": "riser"}))
    assert "KEPT RISER-1, rev" in made
    page = words(client.get("/recipes/SPLICE-1-0"))
    assert "CS15-2 splice 3 ABC" in page
    assert "rule J-01" in page
    assert "FITS margin" in page
    again = send(client, "/recipes", do="keep", **SPLICE).content.decode()
    assert "a job has it" in again
    assert 'value="SPLICE-1-0"' in again
    assert "No recipe has changed" in words(send(client, "/recipes", do="renew"))
    assert client.get("/recipes/NO-SUCH").status_code == 404
    assert browser_of(STORES).post("/recipes", {"do": "renew"}).status_code == 403


def test_kits_are_built_up_to_what_the_depot_keeps_and_one_more_only_knowingly(stores: Stores) -> None:
    client = browser_of(STORES)
    assert "Nothing is kept ahead" in words(client.get("/premade?depot=N"))
    level = {"do": "level", "recipe": "SPLICE-1-0"}
    wrong = words(send(client, "/premade/N/build", **level, least="2", greatest="x"))
    assert "whole numbers such as 2" in wrong
    assert "from 1 to 2 kits" in words(send(client, "/premade/N/build", **level, least="1", greatest="2"))
    assert "BUILD 2" in words(client.get("/premade?depot=N"))
    assert "2 pre-made kits to build depot N: 2 SPLICE-1-0" in words(client.get("/"))
    up = {"do": "up", "recipe": "SPLICE-1-0", "action": "U-1"}
    for _ in range(2):
        assert "LISTED SPLICE-1-0 kit 1, SPLICE-1-0 kit 2" in words(send(client, "/premade/N/build", **up))
    assert "2 stand there" in words(send(client, "/premade/N/build", **{**up, "action": "U-2"}))
    one = {"do": "one", "recipe": "SPLICE-1-0", "action": "U-3"}
    assert "build another?" in words(send(client, "/premade/N/build", **one))
    assert "kit 3" in words(send(client, "/premade/N/build", **one, confirmed="more-than-greatest/1"))
    assert Bag.objects.filter(job__job="SPLICE-1-0").count() == 3
    assert stores


def test_a_kit_shows_until_when_it_is_good_and_is_to_be_looked_at_when_that_is_near(stores: Stores) -> None:
    client = browser_of(STORES)
    built(stores)
    assert "READY RACK-9 2028-01-01" in words(client.get("/premade?depot=N"))
    assert "to look at" not in words(client.get("/"))
    built(stores, date(2026, 4, 2))
    near = words(client.get("/premade?depot=N"))
    assert "USE BY 2026-04-02: give it soon, or renew it" in near
    assert near.index("2026-04-02") < near.index("2028-01-01")
    today = words(client.get("/"))
    assert "1 pre-made kit to look at depot N: SPLICE-1-0 kit 2" in today
    assert "staged, to be issued" not in today
    assert "SPLICE-1-0 kit 2" in words(client.get("/bags?depot=N&do=rework"))


def test_a_recipe_that_rules_have_changed_since_is_made_up_again_on_the_page_of_kits(stores: Stores) -> None:
    client, bag = browser_of(STORES), built(stores)
    Recipe.objects.update(to_come_on=date(2026, 3, 14), to_come="rev ABCDEF: 1 MST more")
    assert "RECIPE CHANGED SPLICE-1-0 since 2026-03-14: rev ABCDEF: 1 MST more" in words(client.get("/premade?depot=N"))
    open_storm(storm="EV1", depot="N", title="ice", **stores.scan(DUTY))
    crew = {"to": "storm:EV1", "crew": "Crew 2", "company": "Larkfield Line", "where": "Alder 12"}
    assert "Make the recipes up again" in words(send(client, f"/bags/{label_code(bag)}/give", **crew))
    assert "MADE UP AGAIN" in words(send(client, "/premade/N/build", do="renew"))
    assert Recipe.objects.get().to_come == ""


def test_a_kit_is_given_whole_from_its_page_and_an_ordinary_bag_is_not(stores: Stores) -> None:
    client, bag = browser_of(STORES), built(stores)
    code = label_code(bag)
    page = words(client.get(f"/bags/{code}"))
    assert "Give it whole to a crew" in page
    assert "Issue to a crew" not in page
    nobody = words(send(client, f"/bags/{code}/give", to="", crew="Crew 2", where="Alder 12"))
    assert "one of them" in nobody
    wanted = {"MST": 1000}
    opened = open_emergency(job="E01", structure="X", depot="N", wanted=wanted, why="dig-in", **stores.scan(DUTY))
    form = client.get(f"/bags/{code}/give").content.decode()
    assert 'value="job:E01"' in form
    assert "SPLICE" not in form.partition("<select")[2].partition("</select>")[0]
    told = words(send(client, f"/bags/{code}/give", to="job:E01", crew="Crew 14", where="Alder 12"))
    assert "OUT E01 Alder 12 is with Crew 14" in told
    assert "Give it whole" not in words(client.get(f"/bags/{label_code(opened.bag)}"))


def test_in_a_storm_one_scan_is_enough_for_the_next_kit(stores: Stores) -> None:
    open_storm(storm="EV1", depot="N", title="ice", **stores.scan(DUTY))
    client, kits = browser_of(STORES), [built(stores), built(stores)]
    assert "First who takes them" in words(client.get("/storms/EV1/kit"))
    crew = {"crew": "Crew 2", "company": "Larkfield Line", "where": "Alder 12"}
    page = words(client.get("/storms/EV1/kit", crew))
    assert page.count("Take this one") == 2
    for number, kit in enumerate(kits, 1):
        given = send(client, "/storms/EV1/kit", **crew, kit=label_code(kit))
        assert "OUT EV1 Alder 12" in words(given)
        assert "Crew 2 (Larkfield Line) for Alder 12" in words(given)
        assert Bag.objects.filter(job__job="EV1").count() == number
    assert "can't give whole" in words(send(client, "/storms/EV1/kit", **crew, kit=label_code(kits[0])))
    assert "not one of ours" in words(send(client, "/storms/EV1/kit", **crew, kit="XYZ"))


@pytest.mark.parametrize("address", ["/premade?depot=N", "/recipes", "/recipes/SPLICE-1-0", "/bags?depot=N", "/"])
def test_pages_of_kits_ask_the_books_no_more_often_with_more_kits(stores: Stores, address: str) -> None:
    client = browser_of(OTHER_STORES)
    keep_kit_level(recipe="SPLICE-1-0", depot="N", least=5, greatest=9, **stores.scan())
    built(stores, date(2026, 4, 2))
    few = _queries(client, address)
    for _ in range(2):
        built(stores, date(2026, 4, 2))
    assert _queries(client, address) == few


def _queries(client: Client, address: str) -> int:
    client.get(address)  # the first visit keeps the session
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)
