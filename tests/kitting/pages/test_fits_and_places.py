"""Does it fit, and where is one that does, as a crew asks at two in the morning."""

from datetime import date

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import VISITOR, browser_of, people, words
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import CREW, STORES

from inventory.models import Balance, Depot, Item, Lot, LotHold, Place
from kitting.documents.label_records import inner_bag_of
from kitting.selectors.inner_bags import inner_bag, inner_code
from kitting.selectors.nearest import where_is

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 2)


def prepared() -> None:
    """J03's and J06's bags listed, and people who may sign in."""
    planned()
    stores = Stores(prefix="listed")
    for job in ("J03", "J06"):
        stores.bags(job)
    people()


books = books_of_module(demo_sheets, prepared)


@pytest.fixture
def crew() -> Client:
    return browser_of(CREW)


def fit(client: Client, **asked: str) -> str:
    return words(client.get("/fit", asked))


def test_a_reading_that_no_cable_has_asks_for_the_unit_and_one_that_a_cable_has_does_not(crew: Client) -> None:
    """Trap T21: 0.845 was read in inches; in millimetres no cable has it."""
    doubted = fit(crew, part="EL15-1", reading="0.845", unit="mm")
    inch = fit(crew, part="EL15-1", reading="21.463", unit="in")

    assert "CHECK UNIT 0.85 mm (0.033 in) is outside 0.300 in (7.62 mm) to 3.000 in (76.20 mm)" in doubted
    assert "It is 0.845 in" in doubted
    assert "DOES NOT FIT" not in doubted
    assert "It is 21.463 mm" in inch
    assert "CHECK UNIT" not in fit(crew, part="EL15-1", reading="0.3", unit="in")
    assert "CHECK UNIT" in fit(crew, part="EL15-1", reading="3.001", unit="in")
    assert "DOES NOT FIT" in fit(crew, part="EL15-1", reading="0.845", unit="mm", sure="yes")


def test_what_does_not_fit_leads_to_the_nearest_pieces_that_do_on_trucks_as_well(crew: Client) -> None:
    """Trap T21: EL15-1 is too small by 0.045 in; EL15-2 holds 0.845 in."""
    elbow = Item.objects.get(stock_code="EL15-2")
    truck = Place.objects.create(depot=Depot.objects.get(depot="H"), code="T-22", kind="truck")
    Balance.objects.create(
        place=truck, lot=Lot.objects.create(item=elbow, number="L-TRUCK"), quantity=3000, counted_on=date(2026, 2, 1)
    )
    said = fit(crew, part="EL15-1", reading="0.845", unit="in", depot="N")

    assert "DOES NOT FIT entrance too small by 1.14 mm (0.045 in)" in said
    assert "What does fit A part that doesn't fit is not forced on" in said
    assert "H T-22 truck" in said.partition("Where EL15-2 is")[2]
    assert "1 working day by van seen 29 days ago, OLD" in said
    assert "What does fit" not in fit(crew, part="EL15-2", reading="0.845", unit="in")
    assert "No part of this kind" in fit(crew, part="EL15-1", reading="2.9", unit="in")


def test_a_bag_an_inner_bag_and_a_line_are_scanned_in_the_place_of_a_part(crew: Client) -> None:
    stores = Stores()
    bag = stores.bag("J06", "E7")
    label = f"BAG {stores.code('J06', 'E7')} REV A | E7 | J06"
    elbows = [stand.line for stand in stores.contents("J06", "E7").lines if stand.line.facts.get("kind") == "elbow"]
    inner = next(n for n in range(1, 9) if "elbow" in str(inner_bag_of(bag, n, TODAY).shares))

    by_bag = fit(crew, part=label, reading="0.845", unit="in")
    by_inner = fit(crew, part=inner_code(bag, inner), reading="0.845", unit="in")
    by_line = fit(crew, part=elbows[0].line)
    seals = fit(crew, part="JS-1", reading="0.845", unit="in")

    for said in (by_bag, by_inner):
        assert "DOES NOT FIT entrance too small by 1.14 mm (0.045 in)" in said
    assert "FITS margin" in by_line
    assert "JS-1 (jacket seal): not fitted by the diameter over insulation" in seals
    assert (inner_bag(inner_code(bag, inner)), inner_bag(stores.code("J06", "E7"))) == ((bag, inner), None)


def test_a_part_of_a_bag_is_judged_by_the_cable_of_its_line_until_there_is_a_reading(crew: Client) -> None:
    code = Stores().code("J03", "V1")
    asked = fit(crew, part=code)
    told = fit(crew, part=code, reading="1.450", unit="in")
    assert "FITS margin 0.026 in (0.66 mm) below" in asked
    assert "by cable type" in asked
    assert "FITS margin 0.040 in (1.02 mm) below" in told
    assert "cable 1.450 in (36.83 mm) by gauge" in told
    assert "CAN'T TELL" in fit(crew, part="J03-V1-9-ZZ", reading="1.450", unit="in")


def test_both_sides_of_a_part_with_two_ranges_are_told(crew: Client) -> None:
    sleeve = Item.objects.get(stock_code="CS15-2")
    Item.objects.filter(pk=sleeve.pk).update(doi_low_2_nm=25_400_000, doi_high_2_nm=30_000_000)
    said = fit(crew, part="CS15-2", reading="1.1", unit="in")
    assert "first side of CS15-2" in said
    assert "FITS second side of CS15-2" in fit(crew, part="CS15-2", reading="1.15", unit="in")
    assert "DOES NOT FIT first side of CS15-2" in fit(crew, part="CS15-2", reading="1.15", unit="in")


def test_where_is_one_looks_at_every_depot_and_leaves_out_what_is_promised_held_or_out_of_date(crew: Client) -> None:
    insert = Item.objects.get(stock_code="BI15")
    near = where_is([insert], depot="N", today=TODAY)[insert.pk]
    assert {"reserve", "truck"} <= {one.kind for one in near}
    assert "shelf" not in {one.kind for one in near if one.balance.place.depot.depot == "N"}  # trap T03: all promised
    assert [one.days for one in near] == sorted(one.days or 0 for one in near)

    seen = words(crew.get("/where", {"item": "BI15", "depot": "N"}))
    assert "never counted" in seen
    assert "H H-R-2 reserve 3 1 working day by van" in seen
    LotHold.objects.create(
        item=insert, lot_number=near[0].balance.lot.number, reason="recall", placed_by="Ana", placed_at=Stores().at
    )
    held = where_is([insert], depot="N", today=TODAY).get(insert.pk, [])
    assert near[0].balance.lot.number not in {one.balance.lot.number for one in held}
    assert "NOT FOUND" in words(crew.get("/where", {"item": "no such"}))


def test_visitors_get_answers_and_no_way_into_the_books(crew: Client) -> None:
    stores, visitor = Stores(), browser_of(VISITOR)
    stores.ready("J03", "BJ1")

    for client, may in ((crew, True), (visitor, False)):
        page = client.get("/where", {"item": "CS15-6", "depot": "N"})
        assert "J03 BJ1 staged bag" in words(page)
        assert ('href="/bags/' in page.content.decode()) is may
    assert 'href="/where?item=CS15-6"' in browser_of(STORES).get("/items/CS15-6").content.decode()
    for address in ("/where", "/fit"):
        assert f'href="{address}"' in visitor.get("/").content.decode()


def test_more_items_cost_no_more_queries() -> None:
    def queries(*codes: str) -> int:
        with CaptureQueriesContext(connection) as seen:
            where_is(Item.objects.filter(stock_code__in=codes), depot="N", today=TODAY)
        return len(seen)

    assert queries("BI15") == queries("BI15", "EL15-2", "CS15-2", "JS-1")
