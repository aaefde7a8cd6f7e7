"""Every page in a real browser, at the end of the demo's story: open to everybody, on paper as well, and light."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from asked_for import one_of_each
from bag_stores import CLEAN, demo_sheets, planned
from browsing import OTHER_STORES, PASSWORD
from chromium import DESK, PHONE, Opened, assert_open_to_everybody, follow
from foreign_list import LIST
from people import CREW, DUTY, PLANNER, STANDARDS, STORES
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer
from record_books import load
from snapshots import made_once

from inventory.models import Action, Balance, Depot, Lot, OrderLine, Place, Transfer
from kitting.errands.keeping import packed_files
from kitting.errands.loading import LOOK
from kitting.errands.planning import PLAN
from kitting.errands.working import do_next
from kitting.management.season.events import play
from kitting.models import RECOUNTED, TO_NEIGHBOUR, Bag, Borrow, CountList, Person
from kitting.pages.routes import ROUTES, Route
from kitting.roles import ROLES
from kitting.selectors.bag_contents import bag_by_code, label_code
from kitting.selectors.count_lists import at_places
from kitting.services.ask_errands import ask_errand
from kitting.services.count_places import enter_count, list_count, recount
from kitting.services.keep_layouts import keep_layout
from kitting.services.lend_pieces import agree_loan, hand_over
from kitting.services.premade_kits import build_kit, keep_kit_level
from kitting.services.recipes import keep_recipe
from kitting.services.report_failures import report_failure
from kitting.services.storm_issues import Handful, issue_to_storm
from kitting.services.storms import open_storm

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]

# Files, and the health of the server; what only takes a form is left out by itself.
NO_PAGES = {
    "health", "icon", "slip", "paper", "bag-paper", "bag-papers", "sent-sheet-file", "consumption-file",
    "count-sheet-file", "layout-file", "carried-worker", "carried-token", "restock-slip-file", "position-picture",
    "bag-picture", "end-picture", "failure-picture",
}  # fmt: skip
ONE_COLUMN = '[reels]\nreel = "{Cable}"\n"cable type" = "CT-01"\n'
PARTS = 3  # so that workers share the pages
MOST_BYTES = 150_000  # of a first visit, without pictures
PAPERS_MM = {"Letter": 215.9, "A4": 210.0}
MARGIN_MM, PIXELS_A_MM = 13, 96 / 25.4


def bag_in(*states: str) -> str:
    return label_code(Bag.objects.filter(state__in=states).select_related("job").order_by("pk")[0])


def lent_from(code: str) -> Borrow:
    """A piece that a bag lent and that is still to come back."""
    bag = bag_by_code(code)
    at = datetime(2026, 3, 24, 15, tzinfo=UTC)
    return Borrow.objects.create(
        bag=bag, to_job=bag.job, lot=Lot.objects.earliest("pk"), quantity=1_000, why="dig-in", asked_by="M. Osei",
        authorised_by="J. Brandt", borrowed_at=at, pay_back_by=at.date(),
    )  # fmt: skip


def counted_by_two() -> CountList:
    """An open list of a bin whose first line two persons have counted one piece short; the bag beside it waits."""
    depot = Depot.objects.get(depot="N")
    shelf = Balance.objects.filter(place__depot=depot, place__kind="bin", quantity__gt=2_000).earliest("pk")
    rack = Bag.objects.filter(depot=depot, state="staged").earliest("pk").whereabouts
    at = datetime(2026, 3, 24, 15, tzinfo=UTC)
    places = at_places(depot=depot, codes={shelf.place.code, rack})
    found = list_count(depot=depot, to_count=places, actor=STORES, at=at, action="every-1")
    line = found.lines.filter(lot__isnull=False).earliest("position")
    one_less = {"count_list": found.number, "line": line.position, "counted": shelf.quantity - 1_000}
    enter_count(**one_less, actor=STORES, at=at, action="every-2", confirmed=[f"each-or-kit/{line.position}"])
    recount(**one_less, actor=OTHER_STORES, at=at, action="every-3", confirmed=[f"each-or-kit/{line.position}"])
    return found


def lent_to_a_neighbour() -> int:
    """The number of a loan of which a piece is over there already."""
    at = datetime(2026, 3, 24, 15, tzinfo=UTC)
    shelf = Balance.objects.filter(place__depot__depot="N", place__kind="bin", lot__item__stock_code="EL15-1")
    there = shelf.select_related("place__depot", "lot").latest("quantity")
    loan = agree_loan(
        way=TO_NEIGHBOUR, neighbour="Larkfield Line", stock_code="EL15-1", depot="N", quantity=2_000,
        back_by=at.date() + timedelta(30), why="mutual aid", actor=PLANNER, at=at, action="every-9",
    )  # fmt: skip
    hand_over(
        loan=loan.pk, place=there.place, lot=there.lot.number, quantity=1_000, actor=STORES, at=at, action="every-10"
    )
    return loan.pk


def failed_in_the_field() -> int:
    """The number of a report of what failed."""
    at = datetime(2026, 3, 24, 15, tzinfo=UTC)
    lot = {"stock_code": "BI25", "lot": "L-2409-17"}
    return report_failure(what="tracked", failed_at=at, **lot, actor=CREW, at=at, action="every-11").pk


def storm_with_a_kit() -> tuple[str, str]:
    """A storm that is on, with a lot to name, and a recipe of which a kit is to be built; their names."""
    at = datetime(2026, 3, 24, 15, tzinfo=UTC)
    open_storm(storm="EV-1", depot="N", title="ice on the feeders", actor=DUTY, at=at, action="every-4")
    shelf = Balance.objects.filter(place__depot__depot="N", place__kind="bin", quantity__gt=2_000, lot__use_by=None)
    there = shelf.select_related("place__depot", "lot__item").earliest("pk")
    handful = Handful(place=there.place, quantity=1_000, stock_code=there.lot.item.stock_code)
    issue_to_storm(
        storm="EV-1", depot="N", crew="Crew 2", company="Larkfield Line", where="Alder 12", pieces=[handful],
        confirmed=["promised-to-others/1"], actor=STORES, at=at, action="every-5",
    )  # fmt: skip
    splice = {"location": "straight splice", "system": "S12", "cable_type": "CT-01", "depot": "N"}
    recipe = keep_recipe(name="SPLICE-1-0", **splice, actor=STANDARDS, at=at, action="every-6")
    keep_kit_level(recipe=recipe.name, depot="N", least=1, greatest=2, actor=STORES, at=at, action="every-7")
    build_kit(recipe=recipe.name, depot="N", actor=STORES, at=at, action="every-8")
    return "EV-1", recipe.name


def named() -> dict[str, str]:
    """What stands in the place of the names in addresses."""
    depots = {depot.depot: depot.pk for depot in Depot.objects.all()}
    content = packed_files([("schedule.csv", (CLEAN / "schedule.csv").read_bytes())])
    asked: dict[str, Any] = {"by": "R. Tolley", "at": datetime(2026, 3, 24, 15, tzinfo=UTC)}
    other = packed_files([("dock list.csv", LIST.encode())])
    plan = ask_errand(kind=PLAN, given={"as_of": "2026-03-24"}, **asked)
    file = ask_errand(kind=LOOK, given={}, file_name="schedule.csv", file=content, **asked)
    foreign = ask_errand(kind=LOOK, given={}, file_name="dock list.csv", file=other, **asked)
    while do_next():
        pass
    layout = keep_layout(name="Dock", shape="other", headings=["Cable"], text=ONE_COLUMN, actor=PLANNER, at=asked["at"])
    requests = {f"{route}/<int:number>": f"{route}/{number}" for route, number in one_of_each().items()}
    count = counted_by_two()
    storm, recipe = storm_with_a_kit()
    return {
        "record/<int:number>": "record/1", "<str:storm>": storm, "recipes/<str:name>": f"recipes/{recipe}",
        "<str:code>/pay-back": f"<str:code>/pay-back?borrow={lent_from(bag_in('staged')).pk}",
        **requests, "buying/sheets/<int:number>": "buying/sheets/1",
        "orders/<int:number>": f"orders/{OrderLine.objects.earliest('pk').pk}",
        "receipts/<path:number>": f"receipts/{Action.objects.filter(use_case='receive').latest('pk').number}",
        "<str:job>": "J09", "<path:reel>": "R-1187", "<path:code>": "BI25", "<path:name>": "BI25/L-2409-17",
        "<str:code>": bag_in("staged"), "<str:depot>": "N", "<int:source>": str(depots["H"]),
        "<int:target>": str(depots["N"]), "errands/<int:number>": f"errands/{plan.pk}",
        "pieces/<int:number>": f"pieces/{Balance.objects.filter(place__kind='bin').latest('pk').pk}",
        "files/<int:number>/columns": f"files/{foreign.pk}/columns",
        "files/<int:number>": f"files/{file.pk}", "layouts/<int:number>": f"layouts/{layout.pk}",
        "places/<int:number>": f"places/{Place.objects.filter(kind='bin').earliest('pk').pk}",
        "loans/<int:number>": f"loans/{lent_to_a_neighbour()}",
        "failures/<int:number>": f"failures/{failed_in_the_field()}",
        "trucks/<int:number>": f"trucks/{Place.objects.filter(kind='truck').earliest('pk').pk}",
        "receive/<int:number>": f"receive/{OrderLine.objects.latest('pk').pk}",
        "transfers/<int:number>": f"transfers/{Transfer.objects.latest('pk').pk}",
        "counts/differences/<int:number>": f"counts/differences/{count.lines.get(state=RECOUNTED).pk}",
        "counts/<int:number>": f"counts/{count.number}",
    }  # fmt: skip


CREW_2 = "?crew=Crew+2&company=Larkfield+Line&where=Alder+12"
ASKING = {
    "storm-kit": CREW_2,
    "storm-issue": f"{CREW_2}&place=N-01-3&line=%5B%22N-01-3%22,%22BI15%22,%22%22,%221%22%5D",
    "what": "?code=BI15",
    "borrow": "?item=BI25",
    "line": "?line=J09/HJ1-j/joint/ABC/splice",
    "pin": "?line=J09/HJ1-j/joint/ABC/splice",
    "where": "?item=BI25",
    "emergency": "?place=A2-a&failed=elbow",
    "fit-check": "?part=EL15-1&reading=0.845&unit=in",
}


def addresses() -> Iterator[tuple[Route, str]]:
    names = named()
    for route in ROUTES:
        if route.name not in NO_PAGES and not route.form_only:
            address = route.path
            for mark, text in names.items():
                address = address.replace(mark, text)
            yield route, f"/{address}{ASKING.get(route.name, '')}"


def told() -> None:
    """The demo with all weeks after it."""
    load(demo_sheets())
    planned()
    list(play())


@pytest.fixture
def _story() -> None:
    made_once("told-demo", told)
    everything = Person(sign_in="everything", name="E. Verything", roles=[*ROLES])
    everything.set_password(PASSWORD)
    everything.save()


def enter(page: Page, server: str) -> None:
    page.goto(f"{server}/sign-in")
    page.get_by_label("Sign-in name").fill("everything")
    page.get_by_label("Password").fill(PASSWORD)
    follow(page.get_by_role("button", name="Sign in"))


@pytest.mark.looks
@pytest.mark.usefixtures("_story")
@pytest.mark.parametrize("part", range(PARTS))
def test_every_page_is_open_to_everybody_by_day_by_night_and_on_a_phone_and_fits_on_paper(
    live_server: LiveServer, look: Opened, part: int
) -> None:
    page = look()
    enter(page, live_server.url)
    for route, address in [*addresses()][part::PARTS]:
        assert "<" not in address, f"{route.name} needs a name for its address"
        answer = page.goto(live_server.url + address)
        assert answer is not None
        assert answer.status == 200, f"{address}: {answer.status}"
        assert page.locator("h1").count() == 1, address
        assert_open_to_everybody(page)
        page.emulate_media(color_scheme="dark")
        assert_open_to_everybody(page, only_colours=True)
        page.emulate_media(color_scheme="light")
        page.set_viewport_size(PHONE)
        assert_open_to_everybody(page)
        page.set_viewport_size(DESK)
        assert_fits_on_paper(page)


def assert_fits_on_paper(page: Page) -> None:
    """Printed on either paper, nothing is wider than what lies between the margins."""
    page.emulate_media(media="print")
    before = page.viewport_size
    for paper, width in PAPERS_MM.items():
        room = int((width - 2 * MARGIN_MM) * PIXELS_A_MM)
        page.set_viewport_size({"width": room, "height": 900})
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= room, f"{page.url} is {wide} px wide on {paper}, {room} px"
    page.set_viewport_size(before or {"width": 1280, "height": 900})
    page.emulate_media(media="screen")


@pytest.mark.usefixtures("_story")
def test_a_first_visit_is_light(live_server: LiveServer, look: Opened) -> None:
    page = look()
    sizes: list[int] = []
    page.on("response", lambda response: sizes.append(len(response.body()) if response.status == 200 else 0))
    enter(page, live_server.url)
    page.goto(f"{live_server.url}/cutovers")
    assert 0 < sum(sizes) < MOST_BYTES
