"""Two who do the same in the same moment: one does it, the other is told; no place is listed or booked twice."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from counters import OTHER, Counters
from django.db import connection
from people import STORES
from warehouse import assert_books_are_whole, pieces

import inventory.errors
from inventory.models import Movement
from kitting.errors import Refusal
from kitting.models import CountLine, CountList
from kitting.selectors.count_lists import at_places
from kitting.services.count_places import list_count
from kitting.services.settle_counts import post_count


def both(*acts: Callable[[], object]) -> set[str]:
    """What each is told, '' for who did it."""
    meeting = Barrier(len(acts), timeout=60)

    def run(act: Callable[[], object]) -> str:
        try:
            meeting.wait()
            act()
        except (Refusal, inventory.errors.Refusal) as refusal:
            return refusal.code
        finally:
            connection.close()
        return ""

    with ThreadPoolExecutor(len(acts)) as pool:
        return {*pool.map(run, acts)}


@pytest.mark.django_db(transaction=True)
def test_of_two_lists_with_one_place_one_is_made_and_of_two_postings_one_is_booked() -> None:
    stores = Counters()
    stores.receive(12)
    lines = at_places(depot=stores.north, codes=["bin"])
    scans = [stores.scan(actor) for actor in (STORES, OTHER)]
    told = both(*(lambda scan=scan: list_count(depot=stores.north, to_count=lines, **scan) for scan in scans))
    assert told == {"", "on-a-list"}
    assert (CountList.objects.count(), CountLine.objects.count()) == (1, 1)
    stores.count(11)
    stores.again(11)
    stores.explain()
    scans = [stores.scan(actor) for actor in (STORES, OTHER)]
    assert both(*(lambda scan=scan: post_count(count_list=1, **scan) for scan in scans)) == {"", "posted-already"}
    assert Movement.objects.filter(action__use_case="post count").count() == 1
    assert stores.holds("N/bin", stores.lot("L-1")) == pieces(11)
    assert_books_are_whole()
