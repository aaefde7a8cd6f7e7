"""Every address x every role x own and other depot, against a table of its own: ``route_rights.csv``."""

import csv
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from html import unescape
from pathlib import Path

import pytest
from bag_stores import MORNING, demo_sheets, planned
from browsing import FAR_AHEAD
from django.contrib.sessions.backends.db import SessionStore
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from django.urls import resolve
from module_books import books_of_module
from people import STORES

from inventory.models import TRUCK, VAN, Action, Balance, Depot, Item, OrderLine, Place, PurchaseOrder, Transfer
from jobs.models import Job
from kitting.models import Bag, BagRequest, CountLine, CountList, Person, ReserveRelease
from kitting.pages.routes import OPEN, ROUTES, Route, guarded, may_see
from kitting.roles import ADMINISTRATOR, BUYER, CREW_LEAD, ROLES, VISITING_CREW
from kitting.selectors.bag_contents import bag_by_code, label_code
from kitting.services.list_bags import list_bags

pytestmark = pytest.mark.django_db
SHORT_NAMES = dict(zip(("SE", "PL", "SK", "BU", "CL", "DS", "AU", "AD", "VC"), ROLES, strict=True))
OWN, OTHER = "N", "H"
DONE, REFUSED, NO_FORM = 204, 403, 405
books = books_of_module(demo_sheets, planned)


@cache
def rows() -> dict[str, dict[str, str]]:
    with (Path(__file__).parent / "route_rights.csv").open(encoding="utf-8") as file:
        return {row["route"]: row for row in csv.DictReader(file)}


def roles_in(cell: str) -> set[str]:
    return set(ROLES) if cell == "everybody" else {SHORT_NAMES[short] for short in cell.split()}


def person(role: str, depots: list[str]) -> Person:
    return Person(sign_in="somebody", name="S. Omebody", roles=[role], depots=depots, access_until=FAR_AHEAD)


def answer_of(route: Route, method: str, who: Person, named: dict[str, str]) -> int:
    """Status of a request to a route whose view would only say that it was reached."""
    reached: Callable[..., HttpResponse] = lambda asked, **_: HttpResponse(status=DONE)  # noqa: ARG005, E731
    request: HttpRequest = getattr(RequestFactory(), method)("/")
    request.user, request.session = who, SessionStore()
    return guarded(replace(route, view=reached))(request, **named).status_code


def named_at(route: str, depot: str) -> dict[str, str]:
    """What the address of a route names, for something of a depot."""
    texts = dict(text.split("=", 1) for text in rows()[route]["named"].split(";") if text)
    return {name: THINGS[text](depot) if text in THINGS else text for name, text in texts.items()}


def job_of(depot: str) -> str:
    return Job.objects.filter(depot=depot).order_by("job").values_list("job", flat=True)[0]


def bag_of(depot: str) -> str:
    bags = Bag.objects.filter(depot__depot=depot).select_related("job").order_by("pk")
    if not bags:
        list_bags(job=job_of(depot), actor=STORES, at=MORNING, action=f"list {depot}")
    return label_code(bags.all()[0])


def order_line_of(depot: str) -> str:
    order, _ = PurchaseOrder.objects.get_or_create(number=f"PO to {depot}")
    facts = {"item": Item.objects.earliest("pk"), "depot": Depot.objects.get(depot=depot), "quantity": 1000}
    return str(OrderLine.objects.get_or_create(order=order, line="1", defaults=facts)[0].pk)


def transfer_to(depot: str) -> str:
    target, number = Depot.objects.get(depot=depot), f"to {depot}"
    place, _ = Place.objects.get_or_create(depot=target, code=number, kind=VAN)
    sent, _ = Action.objects.get_or_create(number=number, defaults={"by": "M. Osei", "at": MORNING})
    facts = {"from_depot": Depot.objects.get(depot="M"), "to_depot": target, "place": place, "sent": sent}
    return str(Transfer.objects.get_or_create(number=number, defaults=facts)[0].pk)


def reserve_of(depot: str) -> str:
    place = Depot.objects.get(depot=depot)
    facts = {"item": Item.objects.earliest("pk"), "job": Job.objects.earliest("pk"), "line": "-", "quantity": 1000}
    asked = {"asked_by": "M. Osei", "asked_at": MORNING, "why": "dig-in"}
    return str(ReserveRelease.objects.get_or_create(depot=place, defaults={**facts, **asked})[0].pk)


def asked_of_bag(depot: str) -> str:
    bag = bag_by_code(bag_of(depot))
    facts = {"what": "short issue", "crew": "Crew 14", "lacks": {}, "why": "van"}
    asked = {"asked_by": "M. Osei", "asked_at": MORNING}
    return str(BagRequest.objects.get_or_create(bag=bag, defaults={**facts, **asked})[0].pk)


def count_of(depot: str) -> CountList:
    listed, _ = Action.objects.get_or_create(number=f"count {depot}", defaults={"by": "M. Osei", "at": MORNING})
    facts = {"depot": Depot.objects.get(depot=depot), "listed": listed}
    found, made = CountList.objects.get_or_create(number=ord(depot), defaults=facts)
    if made:
        place = Place.objects.filter(depot__depot=depot).earliest("pk")
        CountLine.objects.create(count_list=found, position=1, place=place)
    return found


THINGS: dict[str, Callable[[str], str]] = {
    "DEPOT": str,
    "BAG": bag_of,
    "JOB": job_of,
    "DEPOT_NUMBER": lambda depot: str(Depot.objects.get(depot=depot).pk),
    "ORDER_LINE": order_line_of,
    "PIECES": lambda depot: str(Balance.objects.filter(place__depot__depot=depot).earliest("pk").pk),
    "TRANSFER": transfer_to,
    "TRUCK": lambda depot: str(
        Place.objects.get_or_create(depot=Depot.objects.get(depot=depot), code="T", kind=TRUCK)[0].pk
    ),
    "RESERVE": reserve_of,
    "BAG_ASKED": asked_of_bag,
    "COUNT": lambda depot: str(count_of(depot).number),
    "COUNT_LINE": lambda depot: str(count_of(depot).lines.get().pk),
}


def expected(route: Route, method: str, role: str, *, other_depot: bool) -> int:
    row = rows()[route.name]
    if (method == "post" and not row["acts"]) or (method == "get" and route.form_only):
        return NO_FORM
    allowed = role in roles_in(row["sees"]) and (method == "get" or role in roles_in(row["acts"]))
    bound = method == "post" and row["depot"] == "own"
    return DONE if allowed and not (bound and other_depot) else REFUSED


def combinations() -> Iterator[tuple[Route, str, str, bool]]:
    for route in ROUTES:
        if route.sees != OPEN:
            for method in ("get", "post"):
                for role in ROLES:
                    for other_depot in (False, True):
                        yield route, method, role, other_depot


def test_every_address_has_a_row_and_every_row_an_address() -> None:
    assert [row["route"] for row in rows().values()] == [route.name for route in ROUTES]


def test_every_address_lets_in_whom_the_table_names_and_nobody_else() -> None:
    wrong, named = [], cache(named_at)
    for route, method, role, other_depot in combinations():
        found = answer_of(route, method, person(role, [OWN]), named(route.name, OTHER if other_depot else OWN))
        wanted = expected(route, method, role, other_depot=other_depot)
        if found != wanted:
            wrong.append((route.name, method, role, "other depot" if other_depot else "own", found, wanted))
    assert not wrong, wrong


def test_no_page_leads_its_reader_to_where_they_are_refused() -> None:
    """From the first page and the list of pages on, one page of each address, for those who may see least."""
    bag_of(OWN)
    wrong = set()
    for role in (BUYER, CREW_LEAD, ADMINISTRATOR, VISITING_CREW):
        who = Person.objects.create(sign_in=role, name=role, roles=[role])
        client = Client()
        client.force_login(who, backend="django.contrib.auth.backends.ModelBackend")
        ahead, seen = ["/", "/more", "/notices"], set()
        while ahead:
            address = ahead.pop()
            seen.add(resolve(address.partition("?")[0]).url_name)
            page = client.get(address).content.decode(errors="ignore")
            for href in map(unescape, re.findall(r'<a [^>]*href="(/[^"]*)"', page)):
                name = resolve(href.partition("?")[0]).url_name
                if not may_see(who.actor(), name):
                    wrong.add((role, address, href))
                elif name not in seen and "." not in href:
                    ahead.append(href)
                    seen.add(name)
    assert not wrong, wrong


def test_who_is_not_signed_in_is_let_in_nowhere_but_at_the_door() -> None:
    open_ = [route.name for route in ROUTES if route.sees == OPEN]
    assert open_ == ["sign-in", "health", "icon"]


def test_no_address_takes_another_method() -> None:
    for route in ROUTES:
        if route.sees != OPEN:
            assert answer_of(route, "delete", person("planner", []), {}) == NO_FORM
