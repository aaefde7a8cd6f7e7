"""Before anything can be picked somebody lists the bags: who is told so, and where it is done."""

import re

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import browser_of, people, send, words
from module_books import books_of_module
from people import AUDITOR, STORES

pytestmark = pytest.mark.django_db


def prepared() -> None:
    planned()
    people(STORES, AUDITOR, depots={STORES.name: ["N"]})


books = books_of_module(demo_sheets, prepared)


def test_a_storekeeper_is_told_of_the_jobs_of_the_depot_whose_bags_nobody_has_listed_and_lists_them() -> None:
    """J01 and J03 are staged at N within ten days; J06 later, and J02 at another depot."""
    browser = browser_of(STORES)
    today, bags = words(browser.get("/")), words(browser.get("/bags"))
    assert "2 jobs without bags: list them depot N: J01 by 2026-03-03, J03 by 2026-03-10" in today
    assert "Jobs whose bags are to be listed Job Cutover Answer Staged by J01 Alder Loop" in bags
    assert "J06" not in bags

    assert "LISTED 5 bags of J01" in words(send(browser, "/jobs/J01/bags", action="list-1"))
    assert "1 job without bags: list them depot N: J03 by 2026-03-10" in words(browser.get("/"))
    assert "J01 Alder Loop" not in words(browser.get("/bags")).partition("Bags of depot N Bag")[0]
    Stores(prefix="rest").bags("J03")
    assert "without bags" not in words(browser.get("/"))
    assert "are to be listed" not in words(browser.get("/bags"))


def test_who_lists_no_bags_is_not_told() -> None:
    assert "without bags" not in words(browser_of(AUDITOR).get("/"))


def test_a_full_bag_waits_for_its_check_and_one_that_misses_pieces_to_be_picked() -> None:
    stores = Stores()
    stores.bags("J03")
    stores.fetch("J03", "V1")
    today = words(browser_of(STORES).get("/"))
    assert "1 bag to check, by another person than who filled it depot N: J03 V1" in today
    assert re.search(r"bags? to pick depot N: J03 (?!V1)", today)
    assert "J03 V1" not in words(browser_of(STORES).get("/bags?depot=N&do=pick"))
