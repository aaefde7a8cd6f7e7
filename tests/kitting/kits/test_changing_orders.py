"""A supplier promises a line in parts; what is not needed any more is cut, kept or sent back."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from bag_stores import Stores, demo_sheets, planned
from module_books import books_of_module
from people import BUYER, PLANNER, STORES, person
from refusals import refusal

from inventory.errors import Doubt
from inventory.models import Balance, Depot, Item, Movement, OrderLine
from inventory.services.receiving import Arrival, receive
from kitting.errors import Refusal
from kitting.models import Event, Promise
from kitting.selectors.orders import came_for_nothing, lying_free, on_order, redated
from kitting.selectors.sheets import sheets_from_records
from kitting.services.change_orders import redate_order, split_order
from kitting.services.cut_orders import cut_order, decide_surplus, send_back
from kitting.services.end_jobs import cancel_job
from kitting.services.load_sheets import load_sheets
from kitting.services.move_pieces import undo_receipt
from kitting.services.settle_deliveries import settle_deliveries

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)
LINE = {"order": "PO-1", "line": "1"}
PART = {"order": "PO-1", "line": "1.2"}
LATER = date(2026, 4, 10)


def waiting(order: str = "PO-1") -> dict[str, list[tuple[str, int, str]]]:
    """Who waits for each line of an order: job, pieces and the day they are there."""
    return {
        str(one.line): [(who.job, who.quantity // 1000, who.ready_on.isoformat()) for who in one.waiting]
        for one in on_order()
        if one.line.order.number == order
    }


def to_come(line: str) -> int:
    found = OrderLine.objects.get(order__number="PO-1", line=line)
    return (found.quantity - found.received) // 1000


def came(pieces: int, stores: Stores, action: str, line: str = "1") -> None:
    arrival = Arrival(
        stock_code="EL25-2", place=stores.place("N", "arrived"), count=pieces * 1000, lot="L-9", order="PO-1", line=line
    )
    stamp = {"by": STORES.name, "at": stores.at + timedelta(hours=1), "action": action}
    receive(depot=Depot.objects.get(depot="N"), arrivals=[arrival], **stamp)
    settle_deliveries(by=STORES.name, at=stores.at + timedelta(hours=1))


def split(stores: Stores, pieces: int = 9) -> dict[str, object]:
    scan = {**LINE, "units": pieces * 1000, "promised": LATER, "why": "15 now, 9 later", **stores.scan(BUYER)}
    split_order(**scan)
    return scan


def test_a_part_of_a_line_has_a_day_of_its_own_before_anything_has_come_and_who_waits_first_comes_first() -> None:
    """Trap T19, told by the supplier beforehand: 15 now, 9 on 2026-04-10; J09 needs 12, J12 needs 6."""
    stores = Stores()
    assert waiting() == {"PO-1/1": [("J09", 12, "2026-03-18"), ("J12", 6, "2026-03-19")]}

    scan = split(stores)
    split_order(**scan)

    assert (to_come("1"), to_come("1.2"), OrderLine.objects.filter(order__number="PO-1").count()) == (15, 9, 2)
    assert waiting() == {
        "PO-1/1": [("J09", 12, "2026-03-18"), ("J12", 3, "2026-03-19")],
        "PO-1/1.2": [("J12", 3, "2026-04-13")],  # a Friday, and a day by van
    }
    told = Event.objects.get(name="order split")
    assert (told.addressed_to, told.data["who waits"]) == ("planner", {"J12": "there on 2026-04-13"})
    part = OrderLine.objects.get(part_of__line="1")
    assert [(one.before, one.after, one.why) for one in redated(part)] == [
        ("2026-03-18", "2026-04-10", "15 now, 9 later")
    ]
    stores.plan()
    assert waiting()["PO-1/1.2"] == [("J12", 3, "2026-04-13")]
    with pytest.raises(Doubt) as doubt:
        came(16, stores, "in-0")
    assert "Or are they of PO-1/1.2 (9 ea), earlier than promised?" in str(doubt.value.data["questions"])
    came(15, stores, "in-1")
    shelf = Promise.objects.filter(released_at=None, item__stock_code="EL25-2", order_line=None)
    got: dict[str, int] = {}
    for one in shelf:
        got[one.job.job] = got.get(one.job.job, 0) + one.quantity // 1000
    assert got == {"J09": 12, "J12": 3}
    assert waiting() == {"PO-1/1.2": [("J12", 3, "2026-04-13")]}


def test_a_part_is_re_dated_alone_and_a_part_that_comes_first_goes_to_who_waits_first() -> None:
    stores = Stores()
    split(stores, 20)

    redate_order(**PART, promised=date(2026, 3, 10), why="sooner", **stores.scan(BUYER))

    assert waiting() == {"PO-1/1.2": [("J09", 12, "2026-03-10"), ("J12", 6, "2026-03-11")], "PO-1/1": []}
    told = Event.objects.get(name="order re-dated").data["who waits"]
    assert told == {"J09": "there on 2026-03-10", "J12": "there on 2026-03-11"}
    assert OrderLine.objects.get(order__number="PO-1", line="1").promised == date(2026, 3, 18)


def test_a_part_that_is_none_is_refused_in_words() -> None:
    stores = Stores()
    asked = {**LINE, "promised": LATER, "why": "in parts"}

    def told(code: str, **given: object) -> str:
        return refusal(code, split_order, **{**asked, "units": 9000, **stores.scan(BUYER), **given})

    assert "25 ea are more than is to come of PO-1/1: 24 ea" in told("more-than-open", units=25_000)
    assert "another day for the line instead" in told("all-of-it", units=24_000)
    assert "a number above nothing" in told("no-quantity", units=0)
    assert "is past; today is 2026-03-02" in told("past-date", promised=date(2026, 3, 1))
    assert "for 2026-03-18 already" in told("same-day", promised=date(2026, 3, 18))
    assert "needs a reason" in told("no-reason", why=" ")
    assert "may not do" in told("not-allowed", actor=STORES)
    Item.objects.filter(stock_code="EL25-2").update(purchase_unit="kit", per_purchase_unit=3000)
    assert "sold by the kit of 3 ea: 2.5 kit" in told("not-whole-units", units=2500)
    assert not OrderLine.objects.filter(part_of__isnull=False).exists()
    split_order(**{**asked, "units": 3000}, **stores.scan(BUYER))
    assert (to_come("1"), to_come("1.2")) == (15, 9)
    cut_order(**PART, why="gone", **stores.scan(BUYER))
    assert "PO-1/1.2 is cancelled" in refusal("cut-already", redate_order, **PART, promised=LATER, why="x",
                                              **stores.scan(BUYER))  # fmt: skip
    assert "is past" in refusal("past-date", redate_order, **LINE, promised=date(2026, 2, 1), why="x",
                                **stores.scan(BUYER))  # fmt: skip


def test_a_line_is_reduced_closed_short_or_cancelled_and_nets_no_need_any_more() -> None:
    stores = Stores()

    cut_order(**LINE, units=4000, why="fewer ends", **stores.scan(BUYER))
    assert (to_come("1"), waiting()["PO-1/1"][-1]) == (20, ("J12", 6, "2026-03-19"))
    came(14, stores, "in-1")
    scan = {**LINE, "why": "the maker stopped it", **stores.scan(BUYER)}
    cut_order(**scan)
    cut_order(**scan)

    line = OrderLine.objects.get(order__number="PO-1", line="1")
    assert (line.quantity, line.received, line.cut) == (14_000, 14_000, 10_000)
    names = ("order reduced", "order closed short")
    found = [Event.objects.get(name=name) for name in names]
    assert [(one.addressed_to, one.data["pieces"], one.data["who waits"]) for one in found] == [
        ("planner", "4 ea", {}), ("planner", "6 ea", {"J12": "4 ea lacking"}),
    ]  # fmt: skip
    assert waiting() == {}
    stores.plan()
    assert Promise.objects.filter(released_at=None, item__stock_code="EL25-2", job__job="J12").count() == 1
    cells = sheets_from_records().sheets["orders"].cells
    assert "PO-1" not in set(cells[0])
    assert "has come already" in refusal("received-already", cut_order, **LINE, why="x", **stores.scan(BUYER))
    assert "needs a reason" in refusal("no-reason", cut_order, **LINE, why="", **stores.scan(BUYER))
    assert "may not do" in refusal("not-allowed", cut_order, **LINE, why="x", **stores.scan(PLANNER))


def test_an_old_sheet_doesnt_bring_a_cancelled_order_back() -> None:
    stores = Stores()
    old = sheets_from_records()
    cut_order(**LINE, why="not needed", **stores.scan(BUYER))

    with pytest.raises(Refusal) as refused:
        load_sheets(raw=old, by=PLANNER.name, at=stores.at)

    (question,) = refused.value.data["questions"]
    assert "it was split, reduced or cancelled, so 0 are still to come" in question.problem
    assert to_come("1") == 0


def test_what_came_for_a_cancelled_job_is_kept_or_goes_back_through_the_suppliers_door() -> None:
    stores = Stores()
    came(24, stores, "in-1")
    assert came_for_nothing() == []
    OrderLine.objects.update(surplus="send back")  # 18 of 24 are promised
    ordered = OrderLine.objects.get(order__number="PO-1")
    (free,) = lying_free([ordered])[ordered.pk]
    too_many = {**LINE, "place": free.balance.place, "lot": free.balance.lot, "quantity": 7000}
    assert "6 ea of PO-1/1 lie free" in refusal("more-than-free", send_back, **too_many, **stores.scan(STORES))
    OrderLine.objects.update(surplus="")
    cancel_job(job="J12", why="the loop is not built", by=PLANNER.name, at=stores.at + timedelta(hours=2))

    (line,) = came_for_nothing()
    (free,) = lying_free([line])[line.pk]
    assert (str(line), free.quantity) == ("PO-1/1", 12_000)
    decision = {**LINE, "why": "nobody needs 12"}
    assert "kept or sent back" in refusal(
        "unknown-decision", decide_surplus, **decision, decision="burn", **stores.scan(BUYER)
    )
    where = {**LINE, "place": free.balance.place, "lot": free.balance.lot, "quantity": 12_000}
    assert "has not said" in refusal("not-decided", send_back, **where, **stores.scan(STORES))
    decide_surplus(**decision, decision="send back", **stores.scan(BUYER))
    assert came_for_nothing() == []
    assert "may not do" in refusal("not-allowed", send_back, **where, **stores.scan(BUYER))
    at_harbor = replace(person("H. Arbor", "storekeeper"), depots=frozenset({"H"}))
    assert "acts for H only" in refusal("other-depot", send_back, **where, **stores.scan(at_harbor))
    scan = stores.scan(STORES)
    send_back(**where, **scan)
    send_back(**where, **scan)
    assert Movement.objects.get(ending="returned to supplier").quantity == 12_000
    assert Balance.objects.get(place=free.balance.place, lot=free.balance.lot).quantity == 12_000
    assert Event.objects.get(name="sent back to supplier").addressed_to == "buyer"
    assert "Nothing that came" in refusal(
        "nothing-here", decide_surplus, **decision, decision="send back", **stores.scan(BUYER)
    )


def test_a_receipt_that_was_taken_back_lies_free_of_no_order() -> None:
    """Fifteen came of line 1, but were received as of its second part first."""
    stores = Stores()
    split(stores)
    Promise.objects.filter(order_line__order__number="PO-1").update(released_at=stores.at)
    came(9, stores, "in-1", "1.2")
    undo_receipt(receipt="in-1", why="it was line 1", **stores.scan(STORES))
    came(15, stores, "in-2")

    line, part = OrderLine.objects.filter(order__number="PO-1").order_by("pk")
    assert [free.quantity for free in lying_free([line, part])[line.pk]] == [15_000]
    assert lying_free([line, part])[part.pk] == []


def test_an_order_that_is_kept_though_no_job_waits_says_so() -> None:
    stores = Stores()
    Promise.objects.filter(order_line__order__number="PO-1").update(released_at=stores.at)
    assert "keep, return or cancel?" in next(one.standing for one in on_order() if str(one.line) == "PO-1/1")

    decide_surplus(**LINE, decision="keep", why="next year's ring", **stores.scan(BUYER))

    assert next(one.standing for one in on_order() if str(one.line) == "PO-1/1") == "kept as stock: next year's ring"
