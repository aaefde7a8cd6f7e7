"""A device that carries work and falls silent is missed: stores hear which one, whose it was and what is open on it."""

import threading
from datetime import datetime, timedelta
from typing import Any

import pytest
from bag_stores import Stores, demo_sheets
from browsing import ADMINISTRATOR, OTHER_STORES, bags_listed, browser_of, words
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from module_books import books_of_module
from people import CREW, PLANNER, STORES

from inventory.models import Depot
from kitting.errands import working
from kitting.models import Bag, DeviceLoad, Event, Person
from kitting.selectors.count_lists import at_places
from kitting.selectors.device_loads import device_stands
from kitting.services.count_places import list_count
from kitting.services.device_loads import tell_silent_devices

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, bags_listed)
PHONE, TABLET = "phone-0007", "tablet-0009"


def post(browser: Client, route: str, **told: Any) -> Any:
    return browser.post(reverse(route), told, content_type="application/json")


def load(browser: Client, number: str = PHONE, device: str = "phone 7") -> DeviceLoad:
    assert post(browser, "carried-data", number=number, device=device, also=[]).status_code == 200
    return DeviceLoad.objects.latest("pk")


def hours_after(one: DeviceLoad, hours: int) -> datetime:
    return one.heard_at + timedelta(hours=hours)


def silences() -> list[tuple[str, str, str]]:
    found = Event.objects.filter(name="device silent").order_by("number")
    return [(one.subject, one.addressed_to, one.depot) for one in found]


def test_a_device_with_open_bags_is_told_to_stores_and_crews_once_after_a_day_and_not_before() -> None:
    one = load(browser_of(STORES))
    assert tell_silent_devices(at=hours_after(one, 24)) == []
    assert tell_silent_devices(at=hours_after(one, 25)) == ["phone 7 (M. Osei)"]
    assert tell_silent_devices(at=hours_after(one, 30)) == []
    told = [("phone 7 (M. Osei)", role, "N") for role in ("storekeeper", "crew lead")]
    assert silences() == told
    event = Event.objects.filter(name="device silent").earliest("number")
    heard = f"{one.heard_at.astimezone(Stores().at.tzinfo):%Y-%m-%d}"
    assert event.data["why"].startswith(f"not heard since {heard}")
    assert "open on it: bags J03 B1, J03 B2, J03 B3, J03 B4, J03 BJ1, J03 V1 and 1 more" in event.data["why"]
    assert event.data["loaded by"] == STORES.name

    again = load(browser_of(STORES))
    assert DeviceLoad.objects.count() == 1
    assert tell_silent_devices(at=hours_after(again, 25)) == ["phone 7 (M. Osei)"]
    assert len(silences()) == 2 * len(told)


def test_a_scan_that_is_sent_is_a_sign_of_life_and_a_bag_that_moved_on_is_not_missed() -> None:
    browser = browser_of(STORES)
    one = load(browser)
    DeviceLoad.objects.update(heard_at=one.heard_at - timedelta(hours=30), told_at=one.heard_at)
    scans = {"device": "phone 7", "device_now": timezone.now().isoformat(), "scans": []}
    assert post(browser, "carried-scans", number=TABLET, **scans).status_code == 200
    assert DeviceLoad.objects.get().told_at  # that was another device
    assert post(browser, "carried-scans", number=PHONE, **scans).status_code == 200
    heard = DeviceLoad.objects.get()
    assert (heard.told_at, heard.heard_at >= one.heard_at) == (None, True)

    Bag.objects.filter(job__job="J03").exclude(structure="V2").update(state="issued")
    (stand,) = device_stands(hours_after(heard, 25))
    assert stand.bags == {"N": ["J03 V2"]}
    Bag.objects.filter(job__job="J03").update(state="issued")
    assert tell_silent_devices(at=hours_after(heard, 25)) == []


def test_each_person_of_a_shared_device_is_missed_by_what_they_loaded() -> None:
    load(browser_of(STORES))
    one = load(browser_of(OTHER_STORES))
    DeviceLoad.objects.filter(by=STORES.name).update(heard_at=one.heard_at - timedelta(hours=3))
    assert tell_silent_devices(at=hours_after(one, 23)) == ["phone 7 (M. Osei)"]


def test_a_planner_who_only_looks_carries_bags_on_which_nothing_is_open() -> None:
    one = load(browser_of(PLANNER))
    assert one.bags == {}
    assert tell_silent_devices(at=hours_after(one, 48)) == []


def test_a_count_list_is_named_while_a_line_of_it_waits() -> None:
    north = Depot.objects.get(depot="N")
    counted = list_count(depot=north, to_count=at_places(depot=north, codes=["N-01-1"]), **Stores().scan())
    one = load(browser_of(STORES))
    Bag.objects.update(state="closed")
    (stand,) = device_stands(hours_after(one, 25))
    assert (stand.bags, stand.counts, stand.is_silent) == ({}, {"N": [str(counted.number)]}, True)


def test_the_list_of_devices_says_when_each_was_heard_and_stores_see_those_of_their_depot() -> None:
    one = load(browser_of(STORES), device="")
    load(browser_of(CREW), TABLET, "tablet 9")
    DeviceLoad.objects.filter(pk=one.pk).update(heard_at=one.heard_at - timedelta(hours=30))
    Person.objects.filter(name=OTHER_STORES.name).update(depots=["H"])
    listed = words(browser_of(ADMINISTRATOR).get("/device"))
    silent, other = listed.index("device PHON SILENT M. Osei"), listed.index("tablet 9")
    assert silent < other
    assert "N: bags J03 B1, J03 B2" in listed
    heard = f"{DeviceLoad.objects.get(pk=one.pk).heard_at.astimezone(Stores().at.tzinfo):%Y-%m-%d}"
    assert heard in listed
    assert "device PHON" in words(browser_of(STORES).get("/exceptions"))
    assert "device PHON" not in words(browser_of(OTHER_STORES).get("/exceptions"))


def test_the_list_of_devices_takes_as_many_queries_however_many_there_are() -> None:
    one = load(browser_of(STORES))
    with CaptureQueriesContext(
        connection,
    ) as few:
        device_stands(one.heard_at)
    for number in range(5):
        load(browser_of(STORES), f"more-{number}")
    with CaptureQueriesContext(connection) as many:
        assert len(device_stands(one.heard_at)) == 6
    assert len(many) == len(few)


@pytest.mark.parametrize(
    "told", [{}, {"number": "", "device": "x", "also": []}, {"number": "n" * 41, "device": "x", "also": []},
             {"number": "n", "device": 7, "also": []}, {"number": "n", "device": "x", "also": [7]}],
)  # fmt: skip
def test_what_no_page_of_ours_sends_loads_nothing(told: dict[str, Any]) -> None:
    answer = post(browser_of(STORES), "carried-data", **told)
    assert (answer.status_code, DeviceLoad.objects.exists()) == (400, False)
    assert "open it again" in answer.json()["problem"]
    assert load(browser_of(STORES)).by == STORES.name


def test_the_worker_looks_for_silent_devices_between_errands(monkeypatch: pytest.MonkeyPatch) -> None:
    one, stop = load(browser_of(STORES)), threading.Event()
    DeviceLoad.objects.update(heard_at=one.heard_at - timedelta(hours=30))

    def errand() -> bool:
        stop.set()
        return True

    monkeypatch.setattr(working, "do_next", errand)
    working.work_until(stop)
    assert {subject for subject, _, _ in silences()} == {"phone 7 (M. Osei)"}
    assert Event.objects.filter(name="device silent").earliest("number").device == "worker"
