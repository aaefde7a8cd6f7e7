"""Any code that we print jumps to its task: papers, inner bags, racks, places, reels; and racks are known places."""

from datetime import date

import pytest
from bag_stores import OTHER_STORES, Stores, demo_sheets, planned
from browsing import PIN, VISITOR, browser_of, people, send, words
from django.test import Client
from module_books import books_of_module
from people import AUDITOR, BUYER, CREW, PLANNER

from inventory.models import STAGING, Action, Depot, Item, LotHold, OrderLine, Place, Transfer
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.calculation.short_codes import make_code
from kitting.documents.label_records import inner_bags_of
from kitting.documents.plan_papers import PlanPapers
from kitting.models import CountList, Printing, Promise
from kitting.selectors.bag_contents import bare
from kitting.selectors.inner_bags import inner_code
from kitting.selectors.printed_papers import paper_of
from kitting.selectors.sheets import sheets_from_records
from kitting.services.note_printing import note_printing

pytestmark = pytest.mark.django_db


def prepared() -> None:
    """J03's bags listed, one of them staged, and people who may sign in."""
    planned()
    stores = Stores(prefix="listed")
    stores.bags("J03")
    stores.ready("J03", "BJ1", rack="R-7")
    people()


books = books_of_module(demo_sheets, prepared)


def goes_to(client: Client, code: str) -> str:
    """Where a scan leads; '' where it only says what the code is."""
    return client.get("/what", {"code": code}).headers.get("Location", "")


def test_every_paper_of_ours_leads_to_the_page_of_its_task(window: Client) -> None:
    hold = LotHold.objects.create(
        item=Item.objects.get(stock_code="BI25"), lot_number="L-2409-17", reason="recall", placed_by="Ana",
        placed_at=Stores().at,
    )  # fmt: skip
    sent = Action.objects.create(number="A-1", by="M. Osei", at=Stores().at)
    north, harbor = (Depot.objects.get(depot=one) for one in "NH")
    van = Place.objects.create(depot=north, code="V-7", kind="van")
    transfer = Transfer.objects.create(number="T-26/07", from_depot=harbor, to_depot=north, place=van, sent=sent)
    count = CountList.objects.create(depot=north, number=12, listed=sent)

    assert goes_to(window, make_code("I", "J03")) == goes_to(window, make_code("T", "J03")) == "/jobs/J03/bags"
    assert goes_to(window, f"{make_code('P', 'J03', 'N')} REV A") == "/pick/N?job=J03"
    assert goes_to(window, make_code("V", "T-26/07")) == f"/transfers/{transfer.pk}"
    assert goes_to(window, make_code("H", str(hold.pk))) == "/lots/BI25/L-2409-17"
    assert goes_to(window, make_code("L", "BI25", "L-2409-17")) == "/lots/BI25/L-2409-17"
    assert goes_to(window, make_code("C", str(count.number)).lower()) == "/counts/12/lines"
    assert paper_of(make_code("I", "J99")) is None
    assert "NOT OURS" in words(window.get("/what", {"code": make_code("I", "J99")}))


def test_a_label_of_the_plan_whose_bag_nobody_has_listed_says_so_until_it_is_listed(window: Client) -> None:
    made = plan(read_book(sheets_from_records()), as_of=date(2026, 3, 2))
    (label,) = [bag.code for bag in PlanPapers(made, ["J01"]).paper("J01").bags if bag.structure == "A2"]
    scanned = f"BAG {label} REV ABC123 | A2 | J01"
    asked = window.get("/what", {"code": scanned})
    picked = words(window.get("/pick/N", {"bag": label}, follow=True))
    checked = words(window.get(f"/bags/{label}"))
    Stores(prefix="later").bags("J01")

    told = "list the bags of J01, then this is the label of J01 A2."
    assert asked.status_code == 200
    assert f"OF THIS PLAN, NOT LISTED YET {told}" in words(asked)
    assert "NOT OURS" not in words(asked)
    assert 'href="/jobs/J01/bags"' in asked.content.decode()
    assert told in checked
    assert told in picked
    assert goes_to(window, label) == f"/bags/{label}"
    assert "NOT OURS" in words(window.get("/what", {"code": make_code("J01", "A2", "9")}))


def test_a_paper_that_was_printed_again_with_other_content_says_so(window: Client) -> None:
    slip = make_code("I", "J03")
    window.post("/jobs/J03/issue-slip.pdf", {"action": "P-1"})
    first = Printing.objects.get(document="issue-slip").revision
    assert goes_to(window, f"{slip} REV {first}") == "/jobs/J03/bags"

    stores = Stores()
    stores.issue("J03", "BJ1")
    window.post("/jobs/J03/issue-slip.pdf", {"action": "P-2"})
    second = Printing.objects.latest("pk").revision

    assert "SUPERSEDED BY REV" in words(window.get("/what", {"code": f"{slip} REV {first}"}))
    assert goes_to(window, f"{slip} REV {second}") == "/jobs/J03/bags"


def test_a_pick_list_says_that_it_was_printed_again_with_other_pieces_at_whichever_depot_it_is_for(
    window: Client,
) -> None:
    for depot in "NH":
        number = make_code("P", "J03", depot)
        about = {"document": "pick list", "subject": f"J03 at {depot}"}
        note_printing(**about, revision="1A2B3C", **Stores(prefix=f"first {depot}").scan())
        assert goes_to(window, f"{number} REV 1A2B3C") == f"/pick/{depot}?job=J03"
        note_printing(**about, revision="4D5E6F", **Stores(prefix=f"again {depot}").scan())

        assert "SUPERSEDED BY REV 4D5E6F" in words(window.get("/what", {"code": f"{number} REV 1A2B3C"}))
        assert goes_to(window, f"{number} REV 4D5E6F") == f"/pick/{depot}?job=J03"


def test_an_inner_bag_is_counted_at_the_check_and_that_of_another_bag_is_refused(window: Client) -> None:
    stores = Stores()
    stores.fetch("J03", "B1")
    bag, other = stores.bag("J03", "B1"), stores.bag("J03", "BJ1")
    checker, code = browser_of(OTHER_STORES), stores.code("J03", "B1")
    inner = inner_bags_of(bag, stores.at.date())

    wrong = send(checker, f"/bags/{code}/check", read=inner_code(other, 1))
    assert "WRONG BAG that inner bag belongs in J03 BJ1" in words(wrong)
    for one in inner:
        send(checker, f"/bags/{code}/check", read=one.code)
    done = send(checker, f"/bags/{code}/check", do="all")

    assert "FULL J03 B1: FULL" in words(done)
    assert goes_to(window, inner[0].code) == f"/bags/{code}"
    assert "inner bags, no number 99" in words(checker.get("/fit", {"part": inner_code(bag, 99)}))


def test_a_rack_lists_its_bags_and_a_reel_and_a_place_have_pages(window: Client) -> None:
    assert goes_to(window, "R-7") == "/bags?depot=N&rack=R-7"
    rack = words(window.get("/bags?depot=N&rack=R-7"))
    assert "Bags at R-7" in rack
    assert "J03 BJ1" in rack
    assert "J03 V1" not in rack

    reel, place = window.get("/what", {"code": "R-1187"}), window.get("/what", {"code": "H-04-2"})
    assert 'href="/reels/R-1187"' in reel.content.decode()
    number = Place.objects.get(code="H-04-2").pk
    assert f'href="/places/{number}"' in place.content.decode()
    assert "L-2303B" in words(window.get(f"/places/{number}"))
    assert window.get("/places/999999").status_code == 404


def test_a_job_and_an_order_are_found_by_their_numbers_and_a_stock_code_says_who_wants_it(window: Client) -> None:
    assert goes_to(browser_of(PLANNER), "j09") == goes_to(window, "J09") == "/jobs/J09"
    line = OrderLine.objects.get(order__number="PO-1", line="1")
    assert goes_to(browser_of(BUYER), "PO-1/1") == goes_to(browser_of(BUYER), "po-1") == f"/orders/{line.pk}"
    assert "NOT OURS" in words(window.get("/what", {"code": "PO-1/7"}))

    seen = words(window.get("/what", {"code": "EL25-2"}))
    wanted = Promise.objects.filter(item__stock_code="EL25-2", job__job="J09", released_at=None)
    assert f"{bare(sum(wanted.values_list('quantity', flat=True)))} to J09" in seen[seen.index("promised: ") :]
    assert "Where is one?" in seen


def test_a_bin_is_no_rack_place_and_where_racks_are_known_another_one_is_refused(window: Client) -> None:
    """D11, F7: nothing is staged at a place that nobody can find again; what comes near is asked."""
    code = Stores().code("J03", "BJ1")
    north = Depot.objects.get(depot="N")
    stage = f"/bags/{code}/stage"

    assert "NO RACK PLACE N-01-1 is a bin of depot N" in words(send(window, stage, rack="n-01-1"))
    for piece in ("EL15-1", "(01)09501101530003"):
        assert f"NO RACK PLACE {piece} is read from a piece or its carton" in words(send(window, stage, rack=piece))
    assert "PLACED" in words(send(window, stage, rack="R-8"))  # no rack place is on the books of N yet
    for rack in ("RACK-01", "EAST-12"):
        Place.objects.create(depot=north, code=rack, kind=STAGING)
    assert "UNKNOWN RACK PLACE depot N has no Q on its books" in words(send(window, stage, rack="Q"))
    asked = send(window, stage, rack="RACK-0I")
    assert "is it RACK-01?" in words(asked)
    assert "J03 BJ1 at RACK-01" in words(send(window, stage, rack="RACK-0I", confirmed="near-rack/1"))
    assert "PLACED" in words(send(window, stage, rack="N/EAST-12"))
    assert Stores().bag("J03", "BJ1").whereabouts == "EAST-12"


def test_a_form_that_is_asked_about_keeps_what_was_typed_and_has_its_pin_typed_again(window: Client) -> None:
    Place.objects.create(depot=Depot.objects.get(depot="N"), code="RACK-01", kind=STAGING)
    stage = f"/bags/{Stores().code('J03', 'BJ1')}/stage"

    with_pin = send(window, stage, rack="RACK-0I", pin=PIN).content.decode()
    without = send(window, stage, rack="RACK-0I", pin="").content.decode()

    assert 'name="rack" value="RACK-0I"' in with_pin
    assert PIN not in with_pin
    assert "PIN, typed again" in with_pin
    assert "typed again" not in without


def test_a_scan_leads_nobody_where_they_may_not_go() -> None:
    stores, visitor = Stores(), browser_of(VISITOR)
    code = stores.code("J03", "BJ1")

    for text in (code, make_code("I", "J03"), "BI25", "R-1187", "H-04-2", "R-7", make_code("L", "BI25", "L-2409-17")):
        for actor in (VISITOR, CREW, AUDITOR):
            client = browser_of(actor)
            page = client.get("/what", {"code": text}, follow=True)
            assert page.status_code == 200, (text, actor)
            if not page.redirect_chain:
                links = page.content.decode().partition("<h1>")[2].split("<h2>")[1:]
                for one in links:
                    address = one.partition('href="')[2].partition('"')[0]
                    assert not address or client.get(address).status_code == 200, (text, actor, address)
    assert goes_to(visitor, code) == f"/bags/{code}/turn-in"
