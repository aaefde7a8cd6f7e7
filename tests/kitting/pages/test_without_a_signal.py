"""What a device carries to where there is no signal, and what becomes of the scans that it kept."""

import json
from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import pytest
from bag_stores import MORNING, Stores, demo_sheets
from browsing import OTHER_STORES, VISITOR, bags_listed, browser_of, sign_in_name
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from module_books import books_of_module
from people import CREW, STORES
from refusals import refusal

from inventory.models import Action
from jobs.models import Job
from kitting.calculation.bag_states import FINISH, PICK, STAGE
from kitting.models import Bag, BagEntry, KeptScan
from kitting.models.bags import PICKED
from kitting.selectors.pick_walk import pick_walk
from kitting.services.replay_scans import book_kept, settle_scan

pytestmark = pytest.mark.django_db
JOB, STRUCTURE = "J03", "B1"
NUMBER = "d0c0ffee-0000-4000-8000-000000000007"  # that the browser made for this device
books = books_of_module(demo_sheets, bags_listed)


def loaded(browser: Client, *codes: str) -> dict[str, Any]:
    told = {"number": NUMBER, "device": "phone 7", "also": codes}
    return browser.post(reverse("carried-data"), told, content_type="application/json").json()


def code() -> str:
    return Stores().code(JOB, STRUCTURE)


def kept(name: str, content: Mapping[str, Any], action: str, by: str = sign_in_name(STORES)) -> dict[str, Any]:
    """A scan as the page keeps it."""
    at = (timezone.now() - timedelta(hours=2)).isoformat()
    return {"name": name, "content": content, "action": action, "device_at": at, "by": by}


def sent(browser: Client, *scans: Mapping[str, Any]) -> Any:
    told = {"number": NUMBER, "device": "phone 7", "device_now": timezone.now().isoformat(), "scans": scans}
    return browser.post(reverse("carried-scans"), told, content_type="application/json")


def pick_of(step: Mapping[str, Any], number: int) -> dict[str, Any]:
    names = ("stock_code", "lot", "place", "quantity")
    content = {"bag": code(), "as_spare": step["spare"], **{name: step[name] for name in names}}
    return kept(PICK, content, f"C-{number}")


def test_a_device_carries_what_the_walk_past_the_bins_needs() -> None:
    told = loaded(browser_of(STORES), code())
    bag = next(one for one in told["bags"] if one["code"] == code())
    steps = pick_walk(depot="N", bags=[code()])
    assert [(one["place"][1], one["stock_code"], one["lot"], one["quantity"]) for one in bag["steps"]] == [
        (step.place.code, step.lot.item.stock_code, step.lot.number, step.quantity) for step in steps
    ]
    assert {PICK, FINISH, STAGE} <= set(bag["tasks"])
    assert bag["fits"]
    assert all(one["low"] < one["high"] for one in bag["fits"])
    assert told["leads"][bag["state"]][PICK] == "picking"


def test_bags_of_a_far_cutover_are_carried_only_where_they_are_named() -> None:
    browser = browser_of(STORES)
    assert code() in {one["code"] for one in loaded(browser)["bags"]}
    Job.objects.filter(job=JOB).update(cutover="2026-03-13 08:00")  # eleven days away
    assert code() not in {one["code"] for one in loaded(browser)["bags"]}
    for scanned in (code(), f"BAG {code()} REV A | {STRUCTURE} | {JOB}"):
        assert code() in {one["code"] for one in loaded(browser, scanned, "NOT-OURS-00")["bags"]}


def test_a_visiting_crew_is_offered_only_what_it_may_do() -> None:
    bag = next(one for one in loaded(browser_of(VISITOR), code())["bags"] if one["code"] == code())
    assert bag["tasks"] == ["write off", "turn in"]
    assert bag["steps"] == []


def test_kept_scans_are_booked_once_however_often_they_are_sent() -> None:
    browser = browser_of(STORES)
    bag = next(one for one in loaded(browser, code())["bags"] if one["code"] == code())
    scans = [pick_of(step, number) for number, step in enumerate(bag["steps"])]
    first = sent(browser, *scans).json()
    assert first["applied"] == [one["action"] for one in scans]
    assert (first["known"], first["kept"], first["others"], first["without_number"]) == ([], {}, [], 0)
    assert sent(browser, *scans).json()["known"] == first["applied"]
    assert BagEntry.objects.filter(deed=PICKED).values("action").distinct().count() == len(scans)
    after = next(one for one in loaded(browser, code())["bags"] if one["code"] == code())
    assert after["steps"] == []
    assert sum(one["quantity"] for one in after["inside"]) == sum(one["quantity"] for one in bag["steps"])
    assert after["pickers"] == [STORES.name]


def test_what_can_not_be_booked_is_kept_for_a_person_with_its_reason() -> None:
    answer = sent(browser_of(STORES), kept(STAGE, {"bag": code(), "rack": "R-7"}, "C-stage")).json()
    why = KeptScan.objects.get(action="C-stage").why
    assert answer["kept"] == {"C-stage": why}
    assert why


def test_a_scan_stays_on_the_device_until_who_made_it_signs_in() -> None:
    scan = kept(
        "finish short",
        {"bag": code(), "cause": "not in the bin", "why": "none left"},
        "C-other",
        by=sign_in_name(OTHER_STORES),
    )
    assert sent(browser_of(STORES), scan).json()["others"] == ["C-other"]
    assert not Action.objects.filter(number="C-other").exists()
    assert sent(browser_of(OTHER_STORES), scan).json()["applied"] == ["C-other"]
    assert Action.objects.get(number="C-other").by == OTHER_STORES.name


def test_who_may_not_pick_can_not_do_it_from_a_device_either() -> None:
    browser = browser_of(STORES)
    step = next(one for one in loaded(browser, code())["bags"] if one["code"] == code())["steps"][0]
    scan = {**pick_of(step, 1), "by": sign_in_name(CREW)}
    assert list(sent(browser_of(CREW), scan).json()["kept"]) == ["C-1"]
    assert Bag.objects.get(job__job=JOB, structure=STRUCTURE).state == "listed"


@pytest.mark.parametrize(
    ("scan", "why"),
    [
        (kept("fly", {"bag": "x"}, "C-1"), "no such scan: fly"),
        (kept(STAGE, {"bag": "x"}, "C-1"), "not just these fields: bag, rack"),
        (kept("finish short", {"bag": "x"}, "C-1"), "not just these fields: bag, cause, why"),
        (kept(STAGE, {"bag": "x", "rack": 7}, "C-1"), "no text: 7"),
        (kept(STAGE, {"bag": "x", "rack": "R\0"}, "C-1"), "signs that can't be kept"),
        (kept(STAGE, {"bag": "x", "rack": "R-7", "actor": "J. Brandt"}, "C-1"), "not just these fields"),
        (kept("check", {"bag": "x", "counted": {"EL15-3": -1}}, "C-1"), "no number of pieces: -1"),
        ({**kept(STAGE, {"bag": "x", "rack": "R-7"}, "C-1"), "device_at": "yesterday"}, "no moment"),
        ({**kept(STAGE, {"bag": "x", "rack": "R-7"}, "C-1"), "device_at": "9999-12-31T23:59:59Z"}, "no moment"),
        ({"action": "C-1", "device_at": ["\ud800"]}, "without name, by, content"),
    ],
)
def test_a_scan_that_can_not_be_read_is_kept_for_a_person_and_stops_no_other(scan: dict[str, Any], why: str) -> None:
    good = kept("finish short", {"bag": code(), "cause": "not in the bin", "why": "none left"}, "C-good")
    browser = browser_of(STORES)
    answer = sent(browser, scan, good).json()
    one = KeptScan.objects.get()
    assert (answer["applied"], answer["kept"]) == (["C-good"], {"C-1": one.why})
    assert why in one.why
    assert (one.by, json.loads(one.content["sent"])) == (STORES.name, scan)
    assert sent(browser, scan, good).json()["kept"] == {"C-1": one.why}

    page = browser.get("/exceptions").content.decode()
    assert "not read, by M. Osei" in page
    assert "Book it as it was scanned" not in page
    said = refusal("unknown-scan", book_kept, action="C-1", actor=STORES, at=MORNING, confirmed=["other-lot/1"])
    assert "There is no scan" in said
    settle_scan(action="C-1", why="done by hand", actor=STORES, at=MORNING)
    assert not Action.objects.filter(number="C-1").exists()


def test_what_has_no_number_stays_on_the_device_and_only_what_is_no_queue_is_refused_whole() -> None:
    browser = browser_of(STORES)
    good = kept("finish short", {"bag": code(), "cause": "not in the bin", "why": "none left"}, "C-good")
    nameless: list[Any] = ["junk", {**good, "action": None}, {**good, "action": "C" * 81}]
    answer = sent(browser, *nameless, {**good, "name": "fly", "action": "C-1", "by": "tahola"}, good).json()
    assert (answer["applied"], answer["without_number"], answer["kept"]) == (["C-good"], 3, {})
    assert answer["others"] == ["C-1"]  # it waits for who made it
    assert not KeptScan.objects.exists()
    for body in ("no json", "[]", "[" * 9_999, '{"device": "x", "scans": []}', '{"device": 1, "scans": {}}'):
        refused = browser.post(reverse("carried-scans"), body, content_type="application/json")
        assert refused.status_code == 400
        assert "keeps them" in refused.json()["problem"]
