"""A bag from the bin to the crew, on the pages that a storekeeper holds in gloves."""

from datetime import date
from typing import Any

import pytest
from bag_stores import Stores, demo_sheets
from browsing import OTHER_STORES, PIN, bags_listed, browser_of, send, sign_in_name, words
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from module_books import books_of_module
from people import CREW, DUTY, PLANNER, STORES

from inventory.models import Balance, Lot, LotHold
from jobs.models import ScheduleRevision
from kitting.errands.planning import PLAN
from kitting.models import Bag, BagEntry, Errand, Event, Person, Printing, Promise
from kitting.models.errands import DONE
from kitting.pages.pick_pages import key_of
from kitting.selectors.bag_contents import bare, label_state
from kitting.selectors.pick_walk import Step, pick_walk

pytestmark = pytest.mark.django_db


books = books_of_module(demo_sheets, bags_listed)


@pytest.fixture
def stores() -> Stores:
    return Stores()


def walk_of(code: str) -> str:
    return f"/pick/N?bag={code}"


def steps_of(code: str) -> tuple[Step, ...]:
    return pick_walk(depot="N", bags=[code])


def scan(client: Client, step: Step, **scanned: Any) -> Any:
    """Scan all that a step asks for, in one form; what is given differs."""
    right = {
        "step": key_of(step), "place": step.place.code, "read": step.lot.item.stock_code, "lot": step.lot.number,
        "quantity": bare(step.quantity),
    }  # fmt: skip
    return send(client, walk_of(step.code), **{**right, **scanned})


def test_a_bag_goes_from_the_bins_to_the_crew_with_a_wrong_scan_a_held_lot_and_a_short_bin(
    stores: Stores, window: Client
) -> None:
    code = stores.code("J03", "V2")
    short = pick_all_but_a_held_lot_and_a_piece(stores, window, code)
    finish_and_check(stores, window, code, short)
    assert_staged_and_issued_by_leave_only(stores, window, code)


def pick_all_but_a_held_lot_and_a_piece(stores: Stores, window: Client, code: str) -> list[str]:
    """Pick with faults; returns what is missing then."""
    first, second, third, *rest = steps_of(code)
    other = next(one for one in rest if one.lot.item_id != first.lot.item_id)

    wrong_bin = send(window, walk_of(code), step=key_of(first), place=other.place.code)
    wrong_item = scan(window, first, read=other.lot.item.stock_code)
    right = scan(window, first)
    held = hold_of(stores, second)
    stopped = scan(window, second)
    fewer = scan(window, third, quantity=bare(third.quantity - 1_000))

    assert f"WRONG BIN this is {other.place.code}; go to {first.place.code}." in words(wrong_bin)
    assert f"WRONG ITEM this is {other.lot.item.stock_code}" in words(wrong_item)
    assert f"RIGHT {bare(first.quantity)} {first.lot.item.stock_code} in J03 V2" in words(right)
    assert "HELD" in words(stopped)
    assert held.reason in words(stopped)
    assert "1 more to come" in words(fewer)
    assert not BagEntry.objects.filter(lot=second.lot).exists()
    for step in rest:
        assert "RIGHT" in words(scan(window, step))
    return [f"1 {third.lot.item.stock_code}", f"{bare(second.quantity)} {second.lot.item.stock_code}"]


def hold_of(stores: Stores, step: Step) -> LotHold:
    """A hold that stops the lot of a step."""
    return LotHold.objects.create(
        item=step.lot.item, lot_number=step.lot.number, reason="cracked boots", placed_by="I. Varga",
        placed_at=stores.at,
    )  # fmt: skip


def finish_and_check(stores: Stores, window: Client, code: str, missing: list[str]) -> None:
    bag = f"/bags/{code}"
    early = send(window, f"{bag}/check", do="all")
    assert "Say why it is short" in words(send(window, f"{bag}/finish", why="the bin is empty"))
    short = send(window, f"{bag}/finish", cause="not in the bin", why="swept yesterday")
    assert "NOT DONE" in words(early)
    assert "not in the bin; swept yesterday" in words(short)
    assert "not in the bin swept yesterday" in words(window.get("/exceptions"))
    assert "SHORT" in words(short)
    assert [one for one in missing if one not in label_state(stores.contents("J03", "V2"))] == []

    checker = browser_of(OTHER_STORES)
    assert "another person checks" in words(window.get(f"{bag}/check"))
    counted = stores.counted("J03", "V2")
    assert_blind(checker, bag, counted)
    one, *others = counted
    for item in others:
        send(checker, f"{bag}/check", read=item, quantity=bare(counted[item]), action=f"count-{item}")
    differs = send(checker, f"{bag}/check", do="all")
    for _ in range(2):  # sent twice, it counts once
        send(checker, f"{bag}/check", read=one, quantity=bare(counted[one]), action="count-the-last")
    checked = send(checker, f"{bag}/check", do="all")
    assert f"MISSING {bare(counted[one])}" in words(differs)
    assert stores.bag("J03", "V2").state == "checked", words(checked)
    assert stores.bag("J03", "V2").checked_by == OTHER_STORES.name


def assert_staged_and_issued_by_leave_only(stores: Stores, window: Client, code: str) -> None:
    staged = send(window, f"/bags/{code}/stage", rack="R-7")
    assert "PLACED J03 V2 at R-7: SHORT" in words(staged)

    out = {"bags": code, "crew": "Crew 14", "truck": "14", "signature": "T. Ahola", "crew_pin": PIN}
    leave = {"reason": "the rest by van", "approver": sign_in_name(DUTY)}
    refused = send(window, "/issue/N", **out)
    bad_pin = send(window, "/issue/N", **out, **leave, pin="0000")
    itself = send(window, "/issue/N", **out, **{**leave, "approver": sign_in_name(STORES)}, pin=PIN)
    assert "it goes out only by planner or duty supervisor with a reason" in words(refused)
    assert "WRONG PIN" in words(bad_pin)
    assert "may not approve this" in words(itself)
    assert stores.bag("J03", "V2").state == "staged"

    gone = send(window, "/issue/N", **out, **leave, pin=PIN)
    assert "OUT J03 V2: SHORT" in words(gone)
    assert stores.bag("J03", "V2").crew == "Crew 14"
    assert "ALREADY OUT" in words(send(window, "/issue/N", **out))
    stopped = Event.objects.filter(name="scan stopped", subject="J03 V2", by=STORES.name).order_by("number")
    said = [one.data["said"] for one in stopped]
    assert any("HELD" in one for one in said)
    assert "NEEDS SUPERVISOR" in said[-2]
    assert "went with Crew 14" in said[-1]


def assert_blind(checker: Client, bag: str, counted: dict[str, int]) -> None:
    """The page of the check names nothing that is inside."""
    page = checker.get(f"{bag}/check")
    assert f"left {bare(sum(counted.values()))}" in words(page)
    assert not [item for item in counted if item in words(page)]


def test_the_walk_asks_for_one_thing_at_a_time_and_goes_on_where_it_was(stores: Stores, window: Client) -> None:
    code = stores.code("J03", "V1")
    step = next(one for one in steps_of(code) if one.lot.number)
    skipped = [("skip", key_of(one)) for one in steps_of(code)[: steps_of(code).index(step)]]
    address = walk_of(code) + "".join(f"&{name}={value}" for name, value in skipped)

    seen = [words(window.get(address))]
    for name, text in (("place", step.place.code), ("read", step.lot.item.stock_code), ("lot", step.lot.number)):
        fields = {"place": step.place.code, "read": step.lot.item.stock_code, "lot": step.lot.number}
        given = {one: fields[one] for one in ("place", "read", "lot")[: ("place", "read", "lot").index(name) + 1]}
        assert given[name] == text
        page = send(window, address, step=key_of(step), **given)
        seen.append(words(page))

    assert "Scan the bin" in seen[0]
    assert "Scan the carton, or type the stock code" in seen[1]
    assert "Scan or type the lot on the piece" in seen[2]
    assert "How many go in" in seen[3]
    assert f"take {bare(step.quantity)}" in seen[3]


def test_a_carton_tells_item_and_lot_at_once(stores: Stores, window: Client) -> None:
    code = stores.code("J03", "V1")
    step = next(one for one in steps_of(code) if one.lot.number)
    carton = f"(241){step.lot.item.stock_code}(10){step.lot.number}"

    page = send(window, walk_of(code), step=key_of(step), place=step.place.code, read=carton)
    other = send(window, walk_of(code), step=key_of(step), place=step.place.code, read="(241)NO-SUCH(10)L-1")

    assert "How many go in" in words(page)
    assert "No item is known under NO-SUCH" in words(other)


def another_lot(step: Step, number: str, use_by: str) -> Lot:
    """Pieces of another lot in the bin of a step."""
    lot = Lot.objects.create(item=step.lot.item, number=number, use_by=date.fromisoformat(use_by))
    Balance.objects.create(place=step.place, lot=lot, quantity=step.quantity)
    return lot


def test_another_lot_that_is_still_good_is_asked_about_and_one_past_its_date_is_refused(
    stores: Stores, window: Client
) -> None:
    code = stores.code("J03", "V1")
    step = next(one for one in steps_of(code) if one.lot.number)
    good = another_lot(step, "L-GOOD", "2030-01-31")
    old = another_lot(step, "L-OLD", "2026-03-05")

    expired = scan(window, step, lot=old.number)
    asked = scan(window, step, lot=good.number)
    assert "EXPIRES BEFORE CUTOVER" in words(expired)
    assert "WRONG LOT – STILL GOOD" in words(asked)
    assert not BagEntry.objects.filter(lot=good).exists()
    taken = scan(window, step, lot=good.number, confirmed="other-lot/1", action=action_of(asked))
    assert "RIGHT" in words(taken)
    assert sum(BagEntry.objects.filter(lot=good).values_list("quantity", flat=True)) == step.quantity


def action_of(page: Any) -> str:
    """The number of the action in the form of a page."""
    text = page.content.decode()
    return text.partition('name="action" value="')[2].partition('"')[0]


def test_the_bag_is_scanned_where_the_walk_fills_several(stores: Stores, window: Client) -> None:
    codes = [stores.code("J03", one) for one in ("V1", "V2")]
    walk = f"/pick/N?bag={codes[0]}&bag={codes[1]}"
    step = pick_walk(depot="N", bags=codes)[0]
    other = next(one for one in codes if one != step.code)
    right = {"step": key_of(step), "place": step.place.code, "read": step.lot.item.stock_code, "lot": step.lot.number,
             "quantity": bare(step.quantity)}  # fmt: skip

    wrong = send(window, walk, **right, bag=other)
    none = send(window, walk, **right)
    done = send(window, walk, **right, bag=f"BAG {step.code} REV A | {step.bag.structure} | J03 | all its ends")

    assert "WRONG BAG" in words(wrong)
    assert "WRONG BAG" in words(none)
    assert "RIGHT" in words(done)


def test_a_pick_that_is_sent_twice_acts_once(stores: Stores, window: Client) -> None:
    code = stores.code("J03", "V1")
    step = steps_of(code)[0]

    scan(window, step, action="P-twice")
    again = scan(window, step, action="P-twice")

    assert "RIGHT It is in the bag already." in words(again)
    assert sum(BagEntry.objects.filter(lot=step.lot).values_list("quantity", flat=True)) == step.quantity


def test_skipped_steps_wait_at_the_end_and_the_last_five_scans_stay_in_sight(stores: Stores, window: Client) -> None:
    code = stores.code("J03", "V1")
    first, second = steps_of(code)[:2]

    skipped = send(window, walk_of(code), step=key_of(first), do="skip")
    for number in range(6):
        send(window, walk_of(code), step=key_of(second), place=f"X-{number}")
    seen = words(window.get(walk_of(code)))

    assert "SKIPPED" in words(skipped)
    assert f"skip={key_of(first)}" in skipped.request["QUERY_STRING"]
    assert "Walk past the skipped ones again" in words(skipped)
    assert [f"X-{number}" in seen for number in range(6)] == [False, True, True, True, True, True]


def test_a_bin_says_who_else_wants_what_lies_there(stores: Stores, window: Client) -> None:
    code = stores.code("J03", "V1")
    step = next(
        one
        for one in steps_of(code)
        if Promise.objects.filter(item=one.lot.item, released_at=None, place=one.place).exclude(job=one.bag.job)
    )
    other = Promise.objects.filter(item=step.lot.item, place=step.place, released_at=None).exclude(job=step.bag.job)
    before = [("skip", key_of(one)) for one in steps_of(code)[: steps_of(code).index(step)]]
    address = walk_of(code) + "".join(f"&{name}={value}" for name, value in before)

    seen = words(window.get(address))

    assert f"{other[0].job.job}" in seen.partition("Who else wants this one?")[2]
    other.update(released_at=stores.at)
    assert "at this bin" not in words(window.get(address))


def test_what_was_picked_is_undone_by_a_reversing_record_and_what_was_issued_is_not(
    stores: Stores, window: Client
) -> None:
    code = stores.code("J03", "V1")
    step = steps_of(code)[0]
    scan(window, step, action="P-undo")
    there = Balance.objects.get(place=step.place, lot=step.lot).quantity

    undone = send(window, f"/bags/{code}/undo", undone="P-undo")
    again = send(window, f"/bags/{code}/undo", undone="P-undo")
    picked_again = send(window, f"/bags/{code}/undo", undone="U-P-undo")
    nothing = send(window, f"/bags/{code}/undo", undone="no-such")

    assert "UNDONE" in words(undone)
    assert "already" in words(again)
    assert "UNDONE" in words(picked_again)
    assert "it moved no piece" in words(nothing)
    assert Balance.objects.get(place=step.place, lot=step.lot).quantity == there
    offered = f'action="/bags/{code}/undo"'
    for state, is_offered in (("picking", True), ("staged", False), ("issued", False), ("closed", False)):
        Bag.objects.filter(job__job="J03", structure="V1").update(state=state)
        assert (offered in window.get(f"/bags/{code}").content.decode()) is is_offered
    deeds = [entry.deed for entry in BagEntry.objects.order_by("pk")]
    assert [one for at, one in enumerate(deeds) if not at or one != deeds[at - 1]] == ["picked", "put back", "picked"]


def test_a_page_asks_as_often_for_a_long_list_as_for_a_short_one(stores: Stores, window: Client) -> None:
    def queries(address: str) -> int:
        with CaptureQueriesContext(connection) as seen:
            assert window.get(address).status_code == 200
        return len(seen)

    stores.bags("J01")  # nothing of the next ten days waits to be listed
    queries("/bags?depot=N")
    lists = ("/bags?depot=N", "/bags?depot=N&do=rework", "/jobs/J03/bags", "/pick/N", "/issue/N", "/")
    before = [queries(one) for one in lists]
    for job in ("J04", "J06"):
        stores.bags(job)
    assert [queries(one) for one in lists] == before


def test_storekeeper_and_crew_lead_see_their_tasks_and_may_do_what_the_table_says(
    stores: Stores, window: Client
) -> None:
    code = stores.code("J03", "V1")

    seen = words(window.get("/"))
    crew, planner = browser_of(CREW), browser_of(PLANNER)

    assert "bags to pick" in seen
    assert "bags to pick" not in words(crew.get("/"))
    assert crew.get(f"/bags/{code}").status_code == 200
    for address in (walk_of(code), f"/bags/{code}/stage", "/issue/N", "/jobs/J03/bags"):
        assert crew.post(address).status_code == 403
        assert planner.post(address).status_code == 403
    assert "List the bags" not in words(planner.get("/jobs/J03/bags"))
    for client, may_pick in ((window, True), (planner, False)):
        assert (f'href="{walk_of(code)}"' in client.get(f"/bags/{code}").content.decode()) is may_pick


def test_a_storekeeper_of_another_depot_sees_a_bag_and_can_not_fill_it(stores: Stores) -> None:
    Person.objects.filter(name=STORES.name).update(depots=["H"])
    client = browser_of(STORES)
    code = stores.code("J03", "V1")

    assert "Bags of depot H" in words(client.get("/bags"))
    assert "J03 V1" in words(client.get("/bags?depot=N"))
    assert client.post(walk_of(code)).status_code == 403
    assert client.post(f"/bags/{code}/finish").status_code == 403


def test_a_bags_code_leads_to_its_page_and_a_mistyped_one_is_not_in_these_books(stores: Stores, window: Client) -> None:
    code = stores.code("J03", "V1")

    found = window.get("/what", {"code": code.lower()}, follow=True)
    by_label = window.get("/what", {"code": f"BAG {code} REV A | V1 | J03 | V1-a ABC"}, follow=True)
    wrong = window.get(f"/bags/{code[:-1]}{'0' if code[-1] != '0' else '1'}")

    assert found.request["PATH_INFO"] == by_label.request["PATH_INFO"] == reverse("bag", args=[code])
    assert "What is missing" in words(found)
    assert wrong.status_code == 404


def test_bags_are_listed_from_the_page_of_the_job_and_their_slips_are_printed_there(window: Client) -> None:
    assert "Nobody has listed its bags yet" in words(window.get("/jobs/J01/bags"))

    listed = send(window, "/jobs/J01/bags")
    slips = [window.post(f"/jobs/J01/{name}.pdf") for name in ("issue-slip", "issue-slip-roll", "return-slip-roll")]
    files = [window.get(f"/jobs/J01/{name}.csv") for name in ("return-slip", "as-installed")]
    unknown = send(window, "/jobs/J99/bags")

    assert "LISTED" in words(listed)
    assert Bag.objects.filter(job__job="J01").exists()
    assert [slip.headers["Content-Type"] for slip in slips] == ["application/pdf"] * 3
    prints = Printing.objects.order_by("pk").values_list("document", "number")
    papers = [("issue-slip", 0), ("issue-slip", 1), ("return-slip", 0)]  # one paper, on a sheet or a roll
    assert [*prints] == [*papers, ("return-slip as csv", 0), ("as-installed as csv", 0)]
    assert all(file.content.decode("utf-8-sig").startswith("job,") for file in files)
    assert window.get("/jobs/J01/issue-slip-roll.csv").status_code == 404
    assert window.post("/jobs/J01/borrow-note-1.pdf").status_code == 404
    assert unknown.status_code == 404


def test_a_bin_with_fewer_is_counted_on_the_spot_and_the_walk_goes_on_with_what_is_there(
    stores: Stores, window: Client
) -> None:
    code = stores.code("J03", "V1")
    step = steps_of(code)[0]
    there = Balance.objects.get(place=step.place, lot=step.lot)
    lay = bare(there.quantity)

    asked = send(window, walk_of(code), step=key_of(step), do="fewer")
    more = send(window, walk_of(code), step=key_of(step), do="fewer", counted=lay)
    fewer = send(window, walk_of(code), step=key_of(step), do="fewer", counted="0")

    assert "How many are there, 0 for none" in words(asked)
    assert "no more than you found" in words(more)
    assert f"FEWER THERE 0 {step.lot.item} at {step.place.code}" in words(fewer).partition("Last scans")[2]
    there.refresh_from_db()
    assert there.quantity == 0
    assert key_of(step) not in {key_of(one) for one in steps_of(code)}
    (plan,) = Errand.objects.filter(kind=PLAN)
    assert "A plan without them is made for the planner" in words(fewer)
    assert f"M. Osei done {there}: {lay} found short" in words(browser_of(PLANNER).get("/plans"))
    assert plan.state == DONE


def test_a_superseded_bag_says_so_on_its_page_and_is_not_picked(stores: Stores, window: Client) -> None:
    code = stores.code("J03", "V1")
    before = words(window.get(f"/bags/{code}"))
    ScheduleRevision.objects.filter(job__job="J03", live=True).update(letter="B")

    after = words(window.get(f"/bags/{code}"))

    assert "SUPERSEDED" not in before
    assert "SUPERSEDED BY REV B" in after
    assert "Pick: not now." in after
    assert "J03 V1" in words(window.get("/bags?depot=N&do=rework"))
    assert steps_of(code) == ()


def test_a_checked_bag_is_opened_again_with_a_reason(stores: Stores, window: Client) -> None:
    stores.ready("J03", "B2")
    bag = f"/bags/{stores.code('J03', 'B2')}"

    silent = send(window, f"{bag}/reopen", why="")
    opened = send(window, f"{bag}/reopen", why="a cap looks wrong")

    assert "say why" in words(silent)
    assert "Why a cap looks wrong" in words(opened)
    assert stores.bag("J03", "B2").state == "reopened"


def test_a_pick_is_undone_from_the_walk_and_the_walk_goes_on(stores: Stores, window: Client) -> None:
    code = stores.code("J03", "V1")
    step = steps_of(code)[0]

    right = scan(window, step, action="P-slip")
    bag = Bag.objects.filter(job__job="J03", structure="V1")
    bag.update(state="issued")
    gone = window.get(walk_of(code))
    bag.update(state="picking")
    undone = send(window, f"/bags/{code}/undo", undone="P-slip", back=walk_of(code))
    elsewhere = send(window, f"/bags/{code}/undo", undone="U-P-slip", back="https://example.org/pick/N")

    assert f'action="/bags/{code}/undo"' in right.content.decode()
    assert f'action="/bags/{code}/undo"' not in gone.content.decode()
    assert "Last scans" in words(gone)
    assert undone.request["PATH_INFO"] == "/pick/N"
    assert "UNDONE" in words(undone)
    assert "undone" in words(undone).partition("Last scans")[2]
    assert f'action="/bags/{code}/undo"' not in undone.content.decode()
    assert elsewhere.request["PATH_INFO"] == f"/bags/{code}"
