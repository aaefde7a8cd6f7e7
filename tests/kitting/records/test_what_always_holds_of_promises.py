"""Whatever comes, moves, is counted, stopped or planned in whatever order: lots add up and promises can be kept."""

from datetime import date
from typing import Any

import pytest
from bag_stores import Stores, promised_in_vain
from django.db import transaction
from django.db.models import Sum
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from module_books import books_of_module
from people import PLANNER
from record_books import everything

import inventory.errors
from inventory.models import Action, Balance, Depot, Difference, Item, Lot, LotHold, Movement, OrderLine, Transfer
from inventory.selectors.rebuilding import unequal_balances, unequal_order_lines
from inventory.selectors.trace import trace
from inventory.services.holding import place_hold, release_hold
from inventory.services.receiving import Arrival, receive
from inventory.services.transferring import (
    ARRIVED,
    FOUND_THERE,
    LOST_ON_THE_ROAD,
    Load,
    Unload,
    receive_transfer,
    send_transfer,
    settle_difference,
)
from jobs.models import Job
from kitting.errors import Refusal
from kitting.models import Event, Promise
from kitting.services.change_facts import change_facts
from kitting.services.found_short import found_short
from kitting.services.move_pieces import TAKEN_BACK_HERE, move_pieces, undo_move, undo_receipt
from kitting.services.settle_deliveries import settle_deliveries
from kitting.services.settle_transfers import settle_transfers

pytestmark = pytest.mark.django_db
AS_OF = date(2026, 3, 2)
SHELVES = {"N": ("A-1", "A-2", "A-3"), "H": ("B-1", "B-2")}
few, chance = st.integers(1, 4), st.randoms(use_true_random=False)

books = books_of_module(everything)


class AnyWeek(RuleBasedStateMachine):
    """People do anything; what is refused changes nothing."""

    def __init__(self) -> None:
        super().__init__()
        self.books = transaction.atomic()
        self.books._from_testcase = True  # what a use case may stand in, as in Django's own tests
        self.books.__enter__()
        self.stores = Stores()
        self.stores.plan(AS_OF)

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.books.__exit__(None, None, None)

    def stamp(self) -> dict[str, Any]:
        scan = self.stores.scan()
        return {"by": scan["actor"].name, "at": scan["at"], "action": scan["action"]}

    def do(self, act: Any, **given: Any) -> bool:
        """Do something; True where it was allowed."""
        before = self.looks()
        try:
            act(**given)
        except (Refusal, inventory.errors.Refusal):
            assert self.looks() == before
            return False
        return True

    def looks(self) -> list[object]:
        return [
            [*Balance.objects.order_by("pk").values_list("pk", "quantity")],
            [*Promise.objects.filter(released_at=None).order_by("pk").values_list("pk", "quantity")],
            Movement.objects.count(),
            Event.objects.count(),
        ]

    def settle(self) -> None:
        """What the pages do after each deed of the warehouse."""
        stamp = self.stamp()
        settle_deliveries(by=stamp["by"], at=stamp["at"])
        settle_transfers(by=stamp["by"], at=stamp["at"])

    def shelf(self, random: Any, depot: str) -> Any:
        return self.stores.place(depot, random.choice(SHELVES[depot]))

    def lying(self, random: Any) -> Balance | None:
        found = Balance.objects.filter(quantity__gt=0, place__kind__in=("bin", "hold")).order_by("pk")
        return random.choice([*found.select_related("place__depot", "lot__item")] or [None])

    @rule(random=chance, count=few)
    def a_delivery_comes(self, random: Any, count: int) -> None:
        where, code, lot = self.shelf(random, "N"), *random.choice((("EL-2", ""), ("EL-1", "L-1"), ("EL-1", "L-2")))
        ordered = {"order": "PO-1", "line": "1"} if code == "EL-2" else {}
        day = {"L-1": date(2027, 1, 31), "L-2": date(2027, 6, 30)}.get(lot)
        one = Arrival(stock_code=code, place=where, count=count * 1000, lot=lot, use_by=day, **ordered)
        confirmed = ("more-than-ordered/1", "each-or-kit/1")
        self.do(receive, depot=Depot.objects.get(depot="N"), arrivals=[one], confirmed=confirmed, **self.stamp())
        self.settle()

    @rule(random=chance)
    def a_receipt_is_undone(self, random: Any) -> None:
        receipts = [*Action.objects.filter(use_case="receive").order_by("pk").values_list("number", flat=True)]
        if receipts:
            self.do(undo_receipt, receipt=random.choice(receipts), why="another carton", **self.stores.scan())

    @rule(random=chance)
    def a_move_or_a_van_is_undone(self, random: Any) -> None:
        moves = [*Action.objects.filter(use_case__in=TAKEN_BACK_HERE).order_by("pk").values_list("number", flat=True)]
        if moves:
            self.do(undo_move, moved=random.choice(moves), why="pressed by mistake", **self.stores.scan())

    @rule(random=chance, count=few, away=st.booleans())
    def pieces_are_moved_or_scrapped(self, random: Any, count: int, away: bool) -> None:
        found = self.lying(random)
        if found is not None:
            to = self.stores.place("N", "Q-1", "hold") if random.random() < 0.3 else self.shelf(random, "N")
            way: dict[str, Any] = {"ending": "scrapped"} if away else {"to": to}
            pieces = {"balance": found.pk, "quantity": count * 1000}
            self.do(move_pieces, **pieces, **way, why="dry place", **self.stores.scan())

    @rule(random=chance, count=st.integers(0, 3))
    def a_bin_holds_less(self, random: Any, count: int) -> None:
        found = self.lying(random)
        if found is not None:
            lot = {"stock_code": found.lot.item.stock_code, "lot": found.lot.number, "use_by": found.lot.use_by}
            given = {"place": found.place, "counted": count * 1000, "confirmed": ("each-or-kit/1",)}
            self.do(found_short, **lot, **given, **self.stores.scan())

    @rule(random=chance, count=few)
    def a_van_leaves(self, random: Any, count: int) -> None:
        found = self.lying(random)
        if found is not None:
            to = Depot.objects.exclude(pk=found.place.depot_id).order_by("pk").first()
            load = Load(lot=found.lot, quantity=count * 1000, source=found.place)
            stamp = self.stamp()
            self.do(send_transfer, transfer=f"V-{stamp['action']}", to_depot=to, loads=[load], **stamp)
            self.settle()

    @rule(random=chance, over=st.integers(-2, 1))
    def a_van_comes(self, random: Any, over: int) -> None:
        waiting = [*Transfer.objects.filter(received=None).select_related("place", "to_depot").order_by("pk")]
        if waiting:
            van = random.choice(waiting)
            one = van.place.balances.select_related("lot__item").get()
            counted = max(one.quantity + over * 1000, 0)
            unload = Unload(lot=one.lot, counted=counted, target=self.shelf(random, van.to_depot.depot))
            self.do(receive_transfer, transfer=van.number, unloads=[unload], **self.stamp())
            self.settle()

    @rule(random=chance)
    def a_difference_is_explained(self, random: Any) -> None:
        found = Difference.objects.filter(settled=None).select_related("transfer__to_depot").order_by("pk").first()
        if found is not None:
            how = random.choice((ARRIVED, LOST_ON_THE_ROAD)) if found.sent > found.counted else FOUND_THERE
            target = None if how == LOST_ON_THE_ROAD else self.shelf(random, found.transfer.to_depot.depot)
            given = {"difference": found.pk, "how": how, "why": "phoned", "target": target}
            self.do(settle_difference, **given, **self.stamp())
            self.settle()

    @rule(lot=st.sampled_from(("L-1", "L-2")))
    def a_lot_is_stopped_or_let_go(self, lot: str) -> None:
        hold = LotHold.objects.filter(lot_number=lot, released_at=None).first()
        if hold is None:
            self.do(place_hold, stock_code="EL-1", lot=lot, reason="recall", **self.stamp())
        else:
            self.do(release_hold, hold=hold.pk, reason="cleared", **self.stamp())

    @rule(day=st.sampled_from(("2026-03-20", "2026-04-10", "")))
    def the_outage_moves(self, day: str) -> None:
        job = Job.objects.get(job="J1")
        changes = {"cutover": f"{day} 08:00" if day else "", "cutover end": ""}
        edit = {"sheet": "jobs", "key": ["J1"], "version": job.version, "changes": changes}
        self.do(change_facts, **edit, by=PLANNER.name, at=self.stores.scan()["at"])

    @rule()
    def a_plan_is_applied(self) -> None:
        self.stores.plan(AS_OF)

    @invariant()
    def every_lot_adds_up(self) -> None:
        assert unequal_balances() == []
        assert unequal_order_lines() == []
        for item in Item.objects.filter(stock_code__in=("EL-1", "EL-2")):
            for number in {*Lot.objects.filter(item=item).values_list("number", flat=True)}:
                assert trace(item=item, number=number).gap == 0

    @invariant()
    def what_is_promised_is_there_or_to_come_and_nobody_is_promised_more_than_needed(self) -> None:
        assert promised_in_vain() == {}
        still = Promise.objects.filter(released_at=None).order_by()
        for line, pieces in still.exclude(order_line=None).values_list("order_line").annotate(Sum("quantity")):
            one = OrderLine.objects.get(pk=line)
            assert pieces <= one.quantity - one.received
        for _, pieces in still.filter(line__endswith="/elbow").values_list("line").annotate(Sum("quantity")):
            assert pieces <= 3000


def test_any_week_leaves_every_lot_whole_and_every_promise_with_its_pieces() -> None:
    # Making a found week shorter takes minutes, because people plan in it: so it is shown as it was found.
    found = settings(max_examples=6, stateful_step_count=25, deadline=None, phases=[Phase.generate])
    run_state_machine_as_test(AnyWeek, settings=found)
