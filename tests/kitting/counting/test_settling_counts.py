"""A difference is explained, approved by another person above the limit, and posted the one way into the books."""

from datetime import timedelta

import pytest
from counters import OTHER, Counters, after
from django.db import IntegrityError, transaction
from people import AUDITOR, OTHER_AUDITOR, PLANNER, STORES, person
from refusals import refusal
from warehouse import MONDAY, assert_books_are_whole, pieces

from inventory.models import FOUND, LOST, Action, Balance, Lot, Movement
from inventory.services.holding import place_hold
from kitting.models import APPROVED, CAUSES, COUNTED, EXPLAINED, POSTED, CountLine, Event, KeptScan, Policy
from kitting.selectors.counting import before_adjusting
from kitting.selectors.notices import notices
from kitting.selectors.overrides import overrides
from kitting.services.settle_counts import send_back


def differing(stores: Counters, books: float = 12, found: float = 6) -> Lot:
    """One lot at N/bin, counted by one person and again by another, who agree that it differs."""
    stores.receive(books)
    stores.list("bin")
    stores.count(found)
    stores.again(found)
    return stores.lot("L-1")


def test_each_step_waits_for_the_one_before_it(stores: Counters) -> None:
    stores.receive(12)
    stores.list("bin")
    assert refusal("not-recounted", stores.explain).endswith("N/bin BI15 lot L-1 waits for its count.")
    stores.count(6)
    assert refusal("not-recounted", stores.explain).endswith("waits for another person's count.")
    assert refusal("not-settled", stores.post).endswith("waits for another person's count.")
    stores.again(6)
    assert refusal("not-explained", stores.approve).endswith("waits for its explanation.")
    assert refusal("not-settled", stores.post).endswith("waits for its explanation.")
    assert "differs by one of these: late paper, each or kit" in refusal("unknown-cause", stores.explain, "ghosts")
    assert "needs a reason" in refusal("no-reason", stores.explain, words=" ")
    stores.explain()
    assert refusal("not-settled", stores.post).endswith("waits for the approval of another person.")
    stores.approve()
    assert refusal("not-explained", stores.approve).endswith("is approved.")
    stores.post()
    assert stores.line().state == POSTED
    assert refusal("posted-already", stores.post) == "count 1 is posted already."
    assert refusal("posted-already", stores.again, 6).endswith("nothing to count again.")


def test_above_the_limit_an_auditor_agrees_who_neither_counted_nor_explained(stores: Counters) -> None:
    """Row K5: own approval is refused and kept; with another person both names are on the movement."""
    both = person("C. Silva", "storekeeper", "auditor")
    third = person("H. Lindqvist", "storekeeper", "auditor")
    stores.receive(12)
    stores.list("bin")
    stores.count(6, actor=both)
    stores.again(6)
    stores.explain(actor=third)
    assert "another person decides" in refusal("own-request", stores.approve, both)
    assert "another person decides" in refusal("own-request", stores.approve, third)
    assert Event.objects.filter(name="own request not decided").count() == 2
    assert "auditor may" in refusal("not-allowed", stores.approve, STORES)
    assert "auditor may" in refusal("not-allowed", stores.approve, PLANNER)
    assert "needs a reason" in refusal("no-reason", stores.approve, person("R. Pell", "auditor"), 1, "")
    stores.approve(person("R. Pell", "auditor"))
    with pytest.raises(IntegrityError), transaction.atomic():
        CountLine.objects.update(approved_by="L. Fenn")
    stores.post()
    (moved,) = Movement.objects.filter(action__use_case="post count")
    assert (moved.ending, moved.quantity) == (LOST, pieces(6))
    assert moved.action.why == (
        "count 1: BI15 lot L-1 at N/bin, 6 ea where the books had 12 ea, not booked: taken by night "
        "(counted by C. Silva, recounted by L. Fenn, approved by R. Pell)"
    )
    assert_books_are_whole()


def test_up_to_the_limit_nobody_needs_to_agree_and_the_owner_sets_the_limit(stores: Counters) -> None:
    lot = differing(stores, 12, 10)
    assert stores.explain().state == EXPLAINED
    Policy.objects.create(policy="count limit", value="1.5")
    assert "waits for the approval" in refusal("not-settled", stores.post)
    Policy.objects.update(value="2")
    stores.post()
    balance = Balance.objects.get(lot=lot, place=stores.place("N/bin"))
    assert (balance.quantity, balance.counted_on) == (pieces(10), MONDAY.date())


def test_a_difference_above_the_limit_is_told_to_stores_and_auditor(stores: Counters) -> None:
    differing(stores)
    told = Event.objects.filter(name="count difference above limit").order_by("number")
    assert [event.addressed_to for event in told] == ["storekeeper", "auditor"]
    stores.explain()
    assert Event.objects.get(name="count explained").addressed_to == "auditor"
    stores.again(11)
    stores.explain()
    assert told.count() == 2
    assert Event.objects.filter(name="count explained").latest("number").addressed_to == ""


def test_two_differences_of_one_moment_are_two_notices_and_what_explains_one_settles_it_alone(
    stores: Counters,
) -> None:
    stores.receive(12)
    stores.receive(12, "L-2")
    stores.list("bin")
    at = stores.now()
    for line in (1, 2):
        stores.count(6, line)
    for line in (1, 2):
        stores.again(6, line, at=at)
    told = [one for one in notices(AUDITOR, after(60)) if one.event.name == "count difference above limit"]
    assert [one.event.at for one in told] == [at, at]
    assert [one.event.subject.partition(":")[0] for one in told] == ["count 1 line 2", "count 1 line 1"]

    stores.explain(line=2)
    settled = [one.settled for one in notices(AUDITOR, after(60)) if one.event in [two.event for two in told]]
    assert [one and one.name for one in settled] == ["count explained", None]
    stores.explain(line=1)
    for line in (1, 2):
        stores.approve(line=line)
    stores.post()
    approved = [one for one in notices(STORES, after(60)) if one.event.name == "count approved"]
    assert [one.settled.name for one in approved if one.settled] == ["count posted", "count posted"]


def test_a_suppliers_piece_is_missed_only_with_another_persons_leave(stores: Counters) -> None:
    stores.receive(20, to="N/theirs")
    stores.list("theirs")
    stores.count(19)
    stores.again(19)
    stores.explain()
    assert "waits for the approval" in refusal("not-settled", stores.post)
    stores.approve()
    stores.post()
    assert stores.holds("N/theirs", stores.lot("L-1")) == pieces(19)


def test_an_approved_count_is_an_override_with_both_names(stores: Counters) -> None:
    differing(stores)
    stores.explain()
    stores.approve()
    (found,) = overrides()
    assert (found.what, found.by, found.asked_by, found.reason) == (
        "count approved", "C. Silva", "M. Osei", "seen the slips",
    )  # fmt: skip


def test_a_count_that_is_sent_back_is_counted_again_and_explained_anew(stores: Counters) -> None:
    differing(stores)
    stores.explain()
    assert "needs a reason" in refusal("no-reason", send_back, count_list=1, line=1, reason="", **stores.scan(AUDITOR))
    send_back(count_list=1, line=1, reason="look in the rack", **stores.scan(OTHER_AUDITOR))
    line = stores.line()
    assert (line.state, line.cause, line.explained_by) == (COUNTED, "", "")
    assert refusal("not-settled", stores.post).endswith("waits for another person's count.")
    stores.again(12)
    stores.post()
    assert not Movement.objects.filter(action__use_case="post count").exists()


def test_pieces_found_come_from_nowhere_and_pieces_moved_since_stay_moved(stores: Counters) -> None:
    lot = differing(stores, 12, 14)
    stores.explain("earlier count")
    stores.move(5, lot, "N/bin", "N/truck 14")
    stores.post()
    assert (stores.holds("N/bin", lot), stores.holds("N/truck 14", lot)) == (pieces(9), pieces(5))
    assert Movement.objects.get(origin=FOUND).quantity == pieces(2)
    assert_books_are_whole()


def test_a_late_paper_changes_the_difference_and_so_it_is_explained_again(stores: Counters) -> None:
    stores.receive(12)
    early = stores.now()
    stores.list("bin")
    stores.count(6)
    stores.again(6)
    stores.explain()
    stores.approve()
    lot = stores.lot("L-1")
    stores.move(4, lot, "N/bin", "N/truck 14", device_at=early)
    told = refusal("not-settled", stores.post)
    assert told.endswith("differs by -2 now, not -6: a late paper has come, explain it again.")
    assert (stores.explain().state, stores.line().approved_by) == (EXPLAINED, "")
    stores.move(2, lot, "N/bin", "N/truck 14", device_at=early)
    stores.post()
    assert (stores.holds("N/bin", lot), stores.line().difference) == (pieces(6), 0)


def test_a_wrong_recount_is_counted_again_even_where_the_first_count_was_right_after_all(stores: Counters) -> None:
    stores.receive(12)
    early = stores.now()
    stores.list("bin")
    stores.count(10)
    stores.again(9)
    stores.move(2, stores.lot("L-1"), "N/bin", "N/truck 14", device_at=early)
    assert "waits for its explanation" in refusal("not-settled", stores.post)
    stores.again(10)
    stores.post()
    assert stores.holds("N/bin", stores.lot("L-1")) == pieces(10)


def test_a_place_that_was_looked_at_again_keeps_the_later_day(stores: Counters) -> None:
    stores.receive(12)
    stores.list("bin")
    stores.count(12, device_at=MONDAY - timedelta(days=3))
    assert stores.line().book == 0  # the books did not have them yet
    stores.again(12)
    Balance.objects.update(counted_on=MONDAY.date() + timedelta(days=1))
    stores.post()
    assert Balance.objects.get().counted_on == MONDAY.date() + timedelta(days=1)


def test_more_gone_since_than_was_counted_asks_for_another_count(stores: Counters) -> None:
    lot = differing(stores, 12, 3)
    stores.explain()
    stores.approve()
    stores.move(5, lot, "N/bin", "N/truck 14")
    assert "fewer pieces than have left it since" in refusal("not-settled", stores.post)
    stores.again(7)
    stores.post()
    assert stores.holds("N/bin", lot) == pieces(7)


def test_a_list_posted_twice_under_one_number_is_posted_once(stores: Counters) -> None:
    lot = differing(stores, 12, 11)
    stores.explain()
    scan = stores.scan()
    first, second = stores.post(**scan), stores.post(**scan)
    assert first == second
    assert Action.objects.filter(use_case="post count").count() == 1
    assert stores.holds("N/bin", lot) == pieces(11)
    (told,) = Event.objects.filter(name="count posted")
    assert (told.addressed_to, told.data["differing"]) == ("planner", ["count 1 line 1: N/bin BI15 lot L-1"])


def test_a_held_lot_is_counted_like_any_other(stores: Counters) -> None:
    lot = differing(stores, 12, 11)
    place_hold(stock_code="BI15", lot="L-1", reason="recall", **stores.stamp())
    stores.explain()
    stores.post()
    assert stores.holds("N/bin", lot) == pieces(11)


def test_before_adjusting_recent_movements_unposted_scans_other_places_and_the_pack_are_shown(
    stores: Counters,
) -> None:
    """Row K4."""
    stores.receive(12, item=stores.splice)
    lot = stores.lot("L-1", stores.splice)
    stores.move(3, lot, "N/bin", "N/truck 14")
    stores.receive(2, item=stores.splice, to="H/bin")
    at = stores.now()
    for action, code in (("p-1", "CS15-6"), ("p-2", "BI15")):
        KeptScan.objects.create(
            action=action, device="phone 1", use_case="pick", content={"stock_code": code, "bag": "X"}, by="L. Fenn",
            device_at=at, reached_at=at, why="no bag X",
        )  # fmt: skip
    stores.list("bin")
    assert "has no figure" in refusal("nothing-counted", before_adjusting, stores.line(), at=stores.now())
    stores.count(3, confirmed=["each-or-kit/1"])
    seen = before_adjusting(stores.line(), at=stores.now())
    assert (seen.expected, seen.figure) == (pieces(9), pieces(3))
    assert [(move.action.use_case, move.quantity) for move in seen.recent] == [
        ("move", pieces(3)), ("receive", pieces(12)),
    ]  # fmt: skip
    assert [scan.action for scan in seen.kept] == ["p-1"]
    assert [(one.depot, one.place, one.quantity) for one in seen.elsewhere] == [
        ("H", "bin", pieces(2)), ("N", "truck 14", pieces(3)),
    ]  # fmt: skip
    assert seen.units.startswith("CS15-6 lot L-1 at N/bin: 3 ea counted, 9 ea on the books, exactly one kit of 3 ea")


@pytest.mark.parametrize("cause", CAUSES)
def test_every_cause_can_be_kept(stores: Counters, cause: str) -> None:
    differing(stores)
    assert stores.explain(cause).cause == cause
    stores.approve(AUDITOR)
    assert stores.line().state == APPROVED
    assert stores.line().recounted_by == OTHER.name
