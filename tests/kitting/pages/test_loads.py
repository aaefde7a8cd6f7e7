"""What a bag weighs is said where it is lifted: on its page, where it goes out, and on the issue slip."""

from fractions import Fraction

import pytest
from bag_stores import CREW, Stores, demo_sheets, staged_early
from browsing import browser_of, paper_text, people, words
from module_books import books_of_module
from people import STORES

from inventory.models import Item
from kitting.calculation.weights import NG_PER_KG, both_weights

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, staged_early)


def test_a_bag_weighs_the_sum_by_hand_and_at_least_that_where_an_item_has_no_weight() -> None:
    people(STORES, CREW)
    stores, storekeeper = Stores(), browser_of(STORES)
    code, there = stores.code("J10", "V9"), stores.counted("J10", "V9")
    page, slip = f"/bags/{code}", "/jobs/J10/issue-slip.pdf"
    nothing = f"weight unknown: {len(there)} items without weight"
    assert nothing in words(storekeeper.get(page))

    by_hand = Fraction()
    for number, (item, quantity) in enumerate(sorted(there.items()), 1):
        Item.objects.filter(stock_code=item).update(weight_ng=number * NG_PER_KG // 10)
        by_hand += Fraction(number * quantity * NG_PER_KG, 10 * 1000)
    whole = both_weights(by_hand)
    assert f"To lift {whole}" in words(storekeeper.get(page))
    first = min(there)
    Item.objects.filter(stock_code=first).update(weight_ng=None, per_box=2)
    rest = both_weights(by_hand - Fraction(there[first] * NG_PER_KG, 10 * 1000))
    boxes = -(-there[first] // 2000)
    told = f"at least {rest}, 1 item without weight, at least {boxes} box{'es' * (boxes > 1)}, {len(there) - 1} items"

    assert f"{told} without a number per box" in words(storekeeper.get(page))
    assert told in words(storekeeper.get("/issue/H"))
    assert f"To lift in all: {told}" in words(storekeeper.get("/issue/H", {"bag": code}))
    stores.issue("J10", "V9")
    for paper in (slip, "/jobs/J10/issue-slip-roll.pdf"):
        text = paper_text(storekeeper.post(paper))
        assert f"To lift in all: {told}" in text
        assert text.count(told) == 2
    assert f"0.{len(there)}00 kg" in words(storekeeper.get(f"/items/{max(there)}"))
    assert "In a box 2" in words(storekeeper.get(f"/items/{first}"))
