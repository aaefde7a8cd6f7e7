"""On the page of a job it is said where its bags are staged; a staged bag goes to another depot whole, by scan."""

import pytest
from bag_stores import Stores, demo_sheets
from browsing import bags_listed, browser_of, paper_text, send, words
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import BUYER

from inventory.models import Transfer
from kitting.models import Bag, BagDepot

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, bags_listed)


@pytest.fixture
def stores() -> Stores:
    return Stores()


def stage_at(planner: Client, location: str, depot: str, **more: str) -> str:
    return words(send(planner, "/jobs/J03/depots", location=location, depot=depot, **more))


def test_the_page_of_a_job_shows_where_each_bag_is_staged_and_a_planner_changes_it(
    stores: Stores, planner: Client
) -> None:
    before = words(planner.get("/jobs/J03"))
    assert "Where its bags are staged" in before
    assert "B2 N 2026-03-10 listed" in before
    assert "Stage it there" in before
    assert "Stage it there" not in words(browser_of(BUYER).get("/jobs/J03"))
    assert browser_of(BUYER).post("/jobs/J03/depots", {"location": "B2|N", "depot": "H"}).status_code == 403
    kept = stage_at(planner, "B2|N", "H")
    assert "KEPT The bag of B2 is staged at H. Plan and apply" in kept
    assert "B2 H 2026-03-10 listed" in kept
    stores.plan()
    assert "ready if H stages B2 (3 come there by 2026-03-03)" in words(planner.get("/jobs/J03"))
    assert "ready if H stages B2 (3 come there by 2026-03-03)" in words(planner.get("/cutovers"))


def test_what_somebody_else_has_changed_meanwhile_or_a_begun_bag_is_refused_and_what_was_typed_stays(
    stores: Stores, planner: Client
) -> None:
    stage_at(planner, "B2|N", "H")
    stale = send(planner, "/jobs/J03/depots", location="B2|N", depot="M", reason="nearer to the site")
    assert "staged at H meanwhile, not at N" in words(stale)
    back = next(part for part in stale.content.decode().split('"') if part.startswith("/jobs/J03?"))
    assert 'value="nearer to the site"' in planner.get(back.replace("&amp;", "&")).content.decode()
    stores.ready("J03", "B1")
    assert "it is staged: put its pieces back, or send it there whole by van" in stage_at(planner, "B1|N", "H")
    assert not BagDepot.objects.filter(structure__structure="B1").exists()
    assert "J03 has no location" in stage_at(planner, "no such place", "H")


def test_a_staged_bag_is_sent_from_its_page_and_taken_in_at_the_other_depot(stores: Stores, window: Client) -> None:
    stores.ready("J03", "B1")
    code = stores.code("J03", "B1")
    assert "Send it whole to another depot" in words(window.get(f"/bags/{code}"))
    assert "Take it in from the van" not in words(window.get(f"/bags/{code}"))
    assert "H Harbor Stores" in words(window.get(f"/bags/{code}/send"))
    sent = words(send(window, f"/bags/{code}/send", to="H", why="one place to load", action="page-1"))
    assert "ON THE ROAD J03 B1 to H" in sent
    assert "Take it in from the van" in sent
    assert "Issue to a crew: not now. ON THE ROAD TO H: take it in there first" in sent
    assert "Send it whole" not in sent
    assert "J03 B1" in words(window.get("/bags?depot=H&do=take+in"))
    assert "1 bag on the road, to be taken in" in words(window.get("/"))
    van = Transfer.objects.get()
    page = words(window.get(f"/transfers/{van.pk}"))
    assert "It is the bag J03 B1 , which goes whole" in page
    assert "Count it out" not in page
    taken = words(send(window, f"/bags/{code}/take-in", rack="H rack 2", action="page-2"))
    assert "PLACED J03 B1 at H rack 2: FULL" in taken
    assert "STAGED AT DEPOT H Harbor Stores" in paper_text(window.post(f"/bags/{code}/print/bag-label.pdf"))


def test_the_queries_of_the_page_of_a_job_do_not_grow_with_its_bags(stores: Stores, planner: Client) -> None:
    asked = {}
    planner.get("/jobs/J03")
    for job in ("J03", "J01"):
        stores.bags(job)
        with CaptureQueriesContext(connection) as found:
            planner.get(f"/jobs/{job}")
        asked[job] = len(found)
    bags = {job: Bag.objects.filter(job__job=job).count() for job in asked}
    assert bags["J03"] > bags["J01"]
    assert asked["J03"] == asked["J01"]
