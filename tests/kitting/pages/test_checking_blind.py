"""What the second person reads whose count of a bag is not that of the books."""

import pytest
from bag_stores import Stores, demo_sheets
from browsing import bags_listed, browser_of, send, words
from module_books import books_of_module
from people import DUTY

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, bags_listed)


def test_the_first_difference_is_the_word_and_all_of_them_are_the_sentence() -> None:
    stores, checker = Stores(), browser_of(DUTY)
    check = f"/bags/{stores.code('J03', 'V2')}/check"
    stores.fetch("J03", "V2")
    counted = stores.counted("J03", "V2")
    first, *others = sorted(counted)
    told = words(send(checker, check, do="all"))
    assert f"({first.upper()}) AND {len(others)} MORE" in told
    assert all(f"({code})" in told for code in counted)


def test_no_part_of_a_piece_is_counted_in_a_bag() -> None:
    stores, checker = Stores(), browser_of(DUTY)
    check = f"/bags/{stores.code('J03', 'V1')}/check"
    stores.fetch("J03", "V1")
    assert "NO PART OF A PIECE" in words(send(checker, check, read="CA-4", quantity="1.5"))
    assert "counted 0" in words(checker.get(check))
