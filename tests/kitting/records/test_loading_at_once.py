"""Two people load at the same moment."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection
from record_books import everything, load, rows_in_every_table

from kitting.selectors.event_chain import check_chain


@pytest.mark.django_db(transaction=True)
def test_of_two_who_load_the_same_sheets_at_once_one_stores_them_and_the_other_finds_nothing_new() -> None:
    both_ready = Barrier(2)

    def loads(by: str) -> bool:
        both_ready.wait()
        try:
            return bool(load(everything(), by=by))
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as people:
        assert sorted(people.map(loads, ("R. Tolley", "M. Osei"))) == [False, True]
    found = rows_in_every_table()
    assert (found["Movement"], found["Run"], found["Item"]) == (3, 4, 33)
    assert check_chain().unbroken_to == found["Event"] == 5  # sheets, schedule, a pin, a stand-in, the depot of a bag
