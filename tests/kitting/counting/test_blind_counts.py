"""Whoever counts sees no book figure; a blank is no zero, and what differs is counted again by another person."""

from dataclasses import fields
from datetime import timedelta

import pytest
from counters import OTHER, Counters
from django.db import IntegrityError, transaction
from people import AUDITOR, BUYER, STORES, person
from refusals import refusal
from warehouse import assert_books_are_whole, pieces

from inventory.errors import Doubt
from inventory.models import Action, Movement
from inventory.services.reversing import reverse
from kitting.models import COUNTED, LISTED, CountLine, Event
from kitting.selectors.counting import BlindLine, blind_lines, count_list
from kitting.services.count_places import AGAIN, NEXT, add_to_count
from kitting.services.replay_scans import Recorded, replay


def test_the_counter_sees_place_item_lot_and_pack_but_never_what_the_books_hold(stores: Counters) -> None:
    stores.receive(4, item=stores.splice)
    stores.receive(7777, "L-2", to="N/other bin")
    found = blind_lines(stores.list("bin", "other bin"))
    assert [(one.place, one.stock_code, one.lot, one.unit, one.pack) for one in found] == [
        ("bin", "CS15-6", "L-1", "ea", "kit of 3 ea"), ("other bin", "BI15", "L-2", "ea", ""),
    ]  # fmt: skip
    assert not {"book", "quantity", "expected"} & {field.name for field in fields(BlindLine)}
    told = stores.count(7775, line=2)
    assert "7777" not in f"{found} {told.word} {told.sentence}"
    assert (told.word, [one.position for one in blind_lines(count_list(1), recount=True)]) == (AGAIN, [2])


def test_a_place_that_agrees_is_not_counted_again_and_one_that_differs_is_by_another(stores: Counters) -> None:
    stores.receive(6)
    stores.receive(6, "L-2", to="N/other bin")
    stores.list("bin", "other bin")
    assert stores.count(6).word == NEXT
    assert refusal("no-difference", stores.again, 6).endswith("agrees with the books: nothing to count again.")
    assert refusal("not-counted", stores.again, 6, 2).endswith("nothing to count again.")
    assert stores.count(5, line=2).word == AGAIN
    assert "counted again by another person" in refusal("counted-already", stores.count, 6, 2)
    for same in (STORES, person(" m.  OSEI", "storekeeper")):
        assert "another person counts again" in refusal("own-count", stores.again, 6, 2, same)
    assert Event.objects.filter(name="own recount refused").count() == 2
    assert stores.again(5, line=2).word == NEXT
    line = stores.line(2)
    assert (line.state, line.difference, line.counted_by, line.recounted_by) == (
        "recounted",
        -1000,
        "M. Osei",
        "L. Fenn",
    )


def test_a_blank_is_not_zero_and_an_empty_place_is_counted_as_zero(stores: Counters) -> None:
    """Trap T54: the place is printed on the list and nothing lies there; it can't be left out."""
    stores.receive(2)
    stores.move(2, stores.lot("L-1"), "N/bin", "N/truck 14")
    stores.list("bin", "other bin")
    assert [(one.place, one.stock_code) for one in blind_lines(count_list(1))] == [("bin", "BI15"), ("other bin", "")]
    assert "enter 0 where nothing lies" in refusal("blank-is-not-zero", stores.count, None)
    assert "never less" in refusal("below-zero", stores.count, -1)
    stores.count(0)
    assert "nobody counted line 2, N/other bin: enter 0" in refusal("blank-lines", stores.post)
    assert "add what lies there" in refusal("not-empty", stores.count, 1, 2)
    with pytest.raises(IntegrityError), transaction.atomic():
        CountLine.objects.filter(position=2).update(state=COUNTED)
    assert stores.line(2).state == LISTED
    stores.count(0, line=2)
    stores.post()
    assert not Movement.objects.filter(action__use_case="post count").exists()


def test_pieces_that_move_while_stores_count_make_no_false_difference(stores: Counters) -> None:
    """Row K6: two are issued during the count, so the books of that moment have two fewer."""
    stores.receive(12)
    stores.list("bin")
    stores.move(2, stores.lot("L-1"), "N/bin", "N/truck 14")
    assert stores.count(10).word == NEXT
    stores.move(3, stores.lot("L-1"), "N/bin", "N/truck 14")
    stores.post()
    assert stores.holds("N/bin", stores.lot("L-1")) == pieces(7)
    assert (stores.line().book, stores.line().difference) == (pieces(10), 0)


def test_the_device_says_when_it_was_counted_and_a_scan_that_comes_late_counts_from_when_it_was_made(
    stores: Counters,
) -> None:
    stores.receive(12)
    stores.list("bin")
    taken = stores.now()
    looked = stores.now()
    stores.move(2, stores.lot("L-1"), "N/bin", "N/truck 14")  # after the counter has looked
    assert stores.count(10, device_at=looked).word == AGAIN
    stores.move(2, stores.lot("L-1"), "N/bin", "N/truck 14", device_at=taken)  # taken before, told after
    assert "agrees with the books" in refusal("no-difference", stores.again, 8)
    stores.post()
    assert stores.holds("N/bin", stores.lot("L-1")) == pieces(8)


def test_a_count_off_by_exactly_a_pack_asks_each_or_kit_without_the_books(stores: Counters) -> None:
    """Trap T06: 4 kits of 3 were booked as 4 each; the receipt is put right, not the count."""
    received = stores.receive(4, item=stores.splice, paper="R-0212")
    stores.list("bin")
    with pytest.raises(
        Doubt, match=r"is that 12 ea, each piece counted, or did you count by the kit of 3 ea\?"
    ) as asked:
        stores.count(12)
    assert "4" not in str(asked.value)
    assert stores.count(12, confirmed=["each-or-kit/1"]).word == AGAIN
    stores.again(12, confirmed=["each-or-kit/1"])
    words = r"12 ea counted, 4 ea on the books, exactly one kit of 3 ea: each/kit error on receipt R-0212\?"
    with pytest.raises(Doubt, match=words):
        stores.explain("each or kit", "read as each")
    reverse(reversed_action=received.number, why="kits, not each", **stores.stamp())
    stores.receive(4, item=stores.splice, unit="kit", paper="R-0212")
    assert "waits for its explanation" in refusal("not-settled", stores.post)
    assert stores.again(12).word == NEXT
    stores.post()
    assert stores.holds("N/bin", stores.lot("L-1", stores.splice)) == pieces(12)
    assert stores.line().difference == 0
    assert_books_are_whole()


def test_what_lies_there_and_is_not_on_the_list_is_added_and_counted_as_the_rest(stores: Counters) -> None:
    stores.receive(2)
    stores.list("bin")
    with pytest.raises(Doubt, match="has no lot L-9 on the books"):
        add_to_count(count_list=1, beside=1, stock_code="BI15", lot="L-9", **stores.scan())
    scan = stores.scan()
    added = add_to_count(count_list=1, beside=1, stock_code="BI15", lot="L-9", confirmed=["new-lot/1"], **scan)
    again = add_to_count(count_list=1, beside=1, stock_code="BI15", lot="L-9", confirmed=["new-lot/1"], **scan)
    assert (added.position, again.pk) == (2, added.pk)
    assert "on a list already" in refusal(
        "on-a-list", add_to_count, count_list=1, beside=1, stock_code="BI15", lot="L-1", **stores.scan()
    )
    stores.count(2)
    assert stores.count(1, line=2).word == AGAIN
    stores.again(1, line=2)
    stores.explain("other lot", "behind the others", line=2)
    stores.post()
    assert stores.holds("N/bin", stores.lot("L-9")) == pieces(1)
    assert "is closed" in refusal(
        "posted-already", add_to_count, count_list=1, beside=1, stock_code="BI15", lot="L-8", **stores.scan()
    )


def test_only_storekeepers_of_the_depot_count_and_a_figure_sent_twice_is_one(stores: Counters) -> None:
    stores.receive(6)
    stores.list("bin")
    for nobody in (BUYER, AUDITOR):
        assert "storekeeper may" in refusal("not-allowed", stores.count, 6, actor=nobody)
    scan = stores.scan()
    one = stores.count(5, **scan)
    two = stores.count(5, **scan)
    assert (one.repeated, two.repeated, two.word) == (False, True, AGAIN)
    assert Action.objects.filter(use_case="enter count").count() == 1
    assert Event.objects.filter(name="counted").count() == 1
    assert "no line 7 of a count 1" in refusal("unknown-count-line", stores.count, 1, 7)


def test_a_device_whose_clock_is_off_counts_at_the_moment_that_its_clock_is_set_right_to(stores: Counters) -> None:
    """Forty minutes slow: by its clock the count was before the pieces left, which it was not."""
    stores.receive(6)
    stores.list("bin")
    stores.move(2, stores.lot("L-1"), "N/bin", "N/truck 14")
    at = stores.now()
    slow = at - timedelta(minutes=40)
    queue = [Recorded("count", {"count_list": 1, "line": 1, "counted": 4000}, "p-1", slow, STORES)]
    replay(device="phone 1", scans=queue, device_now=slow, at=at)
    assert (stores.line().counted_at, stores.line().difference) == (at, 0)


def test_counts_of_a_device_without_signal_are_taken_when_it_sends_them(stores: Counters) -> None:
    stores.receive(6)
    stores.list("bin")
    at = stores.now()
    queue = [
        Recorded("count", {"count_list": 1, "line": 1, "counted": 5000}, "p-1", at, STORES),
        Recorded("recount", {"count_list": 1, "line": 1, "counted": 5000}, "p-2", at, STORES),
        Recorded("recount", {"count_list": 1, "line": 1, "counted": 6000}, "p-3", at, OTHER),
    ]
    done = replay(device="phone 1", scans=queue, device_now=at, at=at)
    assert (done.applied, done.kept) == (("p-1", "p-3"), ("p-2",))
    assert replay(device="phone 1", scans=queue, device_now=at, at=at).known == ("p-1", "p-3")
