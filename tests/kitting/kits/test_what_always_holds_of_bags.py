"""Whatever people scan in whatever order: no piece is in two bags, closed bags balance, nothing bad goes out."""

from collections import Counter, defaultdict
from datetime import date
from itertools import count
from typing import Any

import pytest
from bag_stores import CREW, MORNING, OTHER_STORES, Stores, promised_in_vain
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from module_books import books_of_module
from people import DUTY, STORES
from record_books import STOCK, everything

import inventory.errors
from inventory.models import Balance, LotHold, Movement
from inventory.selectors.rebuilding import unequal_balances
from kitting.calculation.bag_states import CLOSED, ISSUED, OUT
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry, Event
from kitting.selectors.bag_contents import accounts, contents_of, good_until, is_good
from kitting.services.fill_bags import check, finish_short, pick, put_back
from kitting.services.issue_bags import begin_work, hand_back, issue, stage
from kitting.services.list_bags import review
from kitting.services.return_bags import Installed, cancel_bag, close, install, turn_in, write_off
from kitting.services.send_bags import send_bag, take_in_bag
from kitting.services.undo_scans import undo

pytestmark = pytest.mark.django_db
LOTS = ("L-1", "L-2", "L-OLD")
BAGS = ("P1", "P2")
bags, lots, few = st.sampled_from(BAGS), st.sampled_from(LOTS), st.integers(1, 4)
doors = st.sampled_from(("stock", "inspect", "scrap", "supplier"))
people = st.sampled_from((STORES, OTHER_STORES))


def prepare() -> None:
    """Books with one job, planned, applied and listed."""
    made = Stores(prefix="before")
    made.plan(date(2026, 3, 2))
    made.bags("J1")


books = books_of_module(
    lambda: everything(
        stock=f"{STOCK}\nEL-1,N,A-1,bin,L-1,2027-01-31,6\nEL-1,N,A-1,bin,L-2,2027-06-30,6\n"
        "EL-1,N,A-1,bin,L-OLD,2026-03-10,6",
        schedule="J1,1,S12,ABC,CT-A,P1,a,P3,a\nJ1,2,S12,ABC,CT-A,P2,a,P4,a",
        orders="order,line,stock code,quantity,depot,promised,supplier",
        pins="job,line,stock code,lot,depot,quantity,reason,by",
    ),
    prepare,
)


class AnyNight(RuleBasedStateMachine):
    """People scan anything; what is refused changes nothing."""

    def __init__(self) -> None:
        super().__init__()
        self.books = transaction.atomic()
        self.books._from_testcase = True  # what a use case may stand in, as in Django's own tests
        self.books.__enter__()
        self.stores = Stores()
        self.numbers = count(1)
        self.pieces = self.all_pieces()
        self.filled: dict[str, set[str]] = defaultdict(set)

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.books.__exit__(None, None, None)

    def all_pieces(self) -> int:
        """Pieces at places, and those that ended, less those whose end was taken back."""
        here = sum(Balance.objects.values_list("quantity", flat=True))
        back = Movement.objects.filter(reverses__isnull=False).exclude(origin="")
        ended = sum(Movement.objects.exclude(ending="").values_list("quantity", flat=True))
        return here + ended - sum(back.values_list("quantity", flat=True))

    def looks(self) -> list[object]:
        """All that a scan may change."""
        return [
            [*Balance.objects.order_by("pk").values_list("pk", "quantity")],
            [*Bag.objects.order_by("pk").values_list("pk", "state", "checked_by", "version")],
            BagEntry.objects.count(),
            Event.objects.exclude(name__endswith="refused").count(),  # an attempt alone is noted, and nothing else
        ]

    def do(self, act: Any, actor: Any = STORES, **given: Any) -> bool:
        """Try a scan; True where it was allowed."""
        before = self.looks()
        try:
            act(**given, **self.stores.scan(actor))
        except (Refusal, inventory.errors.Refusal):
            assert self.looks() == before
            return False
        return True

    def code(self, bag: str) -> str:
        return self.stores.code("J1", bag)

    @rule(bag=bags, lot=lots, number=few, who=people, spare=st.booleans())
    def picks(self, bag: str, lot: str, number: int, who: Any, spare: bool) -> None:
        place, confirmed = self.stores.place("N", "A-1"), ("other-lot/1", "promised-to-others/1")
        done = self.do(
            pick, who, bag=self.code(bag), stock_code="EL-1", lot=lot, place=place, quantity=number * 1000,
            as_spare=spare, confirmed=confirmed,
        )  # fmt: skip
        assert not (done and lot == "L-OLD"), "it expires before the cutover"
        if done:
            self.filled[bag].add(who.name)

    @rule(bag=bags, lot=lots, number=few, held=st.booleans())
    def puts_back(self, bag: str, lot: str, number: int, held: bool) -> None:
        place = self.stores.place("N", "Q-1", "hold") if held else self.stores.place("N", "A-1")
        self.do(put_back, bag=self.code(bag), stock_code="EL-1", lot=lot, place=place, quantity=number * 1000)

    @rule(bag=bags, lot=st.sampled_from(LOTS[:2]))
    def builds_as_it_should_be(self, bag: str, lot: str) -> None:
        self.picks(bag, lot, 3, STORES, spare=False)
        self.finishes_and_checks(bag)
        self.stages(bag)
        self.issues(bag, leave=True, signed=True)

    @rule(bag=bags)
    def finishes_and_checks(self, bag: str) -> None:
        self.do(finish_short, bag=self.code(bag), cause="damaged")
        if self.do(check, OTHER_STORES, bag=self.code(bag), counted=self.stores.counted("J1", bag)):
            self.filled[bag].clear()

    @rule(bag=bags, who=people, wrong=st.integers(-1, 1))
    def checks(self, bag: str, who: Any, wrong: int) -> None:
        counted = self.stores.counted("J1", bag)
        counted["EL-1"] = max(counted.get("EL-1", 0) + wrong * 1000, 0)
        done = self.do(check, who, bag=self.code(bag), counted=counted)
        if done:
            assert counted["EL-1"] == self.stores.counted("J1", bag).get("EL-1", 0)
            assert who.name not in self.filled[bag], "since it was checked last"
            self.filled[bag].clear()

    @rule(bag=bags)
    def stages(self, bag: str) -> None:
        self.do(stage, bag=self.code(bag), rack="R-1", confirmed=("place-taken/1",))

    @rule(bag=bags, depot=st.sampled_from(("N", "H")))
    def sends_whole(self, bag: str, depot: str) -> None:
        before = self.stores.counted("J1", bag)
        if self.do(send_bag, bag=self.code(bag), to_depot=depot):
            assert before
            assert self.stores.counted("J1", bag) == before
            assert not self.do(issue, bag=self.code(bag), crew="Crew 14", truck="14", signature="T. Ahola")

    @rule(bag=bags, lot=st.sampled_from(LOTS[:2]))
    def builds_and_sends_on(self, bag: str, lot: str) -> None:
        self.picks(bag, lot, 3, STORES, spare=False)
        self.finishes_and_checks(bag)
        self.stages(bag)
        self.sends_whole(bag, "H")

    @rule(bag=bags)
    def takes_in(self, bag: str) -> None:
        before = self.stores.counted("J1", bag)
        if self.do(take_in_bag, bag=self.code(bag), rack="R-2", confirmed=("place-taken/1",)):
            there = self.stores.bag("J1", bag)
            assert (there.place.depot_id, there.transfer) == (there.depot_id, None)
            assert self.stores.counted("J1", bag) == before

    @rule(bag=bags, leave=st.booleans(), signed=st.booleans())
    def issues(self, bag: str, leave: bool, signed: bool) -> None:
        given: dict[str, Any] = {"approver": DUTY, "reason": "the rest follows"} if leave else {}
        done = self.do(
            issue, bag=self.code(bag), crew="Crew 14", truck="14", signature="T. Ahola" if signed else "", **given
        )
        if done:
            contents = self.stores.contents("J1", bag)
            held = set(LotHold.objects.filter(released_at=None).values_list("lot_number", flat=True))
            assert signed
            assert leave or not contents.missing()
            for lot in contents.lots.values():
                assert lot.number not in held
                assert is_good(lot, good_until(contents.bag.job))

    @rule(bag=bags)
    def begins_or_hands_back(self, bag: str) -> None:
        if not self.do(begin_work, CREW, bag=self.code(bag)):
            self.do(hand_back, bag=self.code(bag), why="called off")

    @rule(bag=bags, lot=lots, number=few)
    def fits(self, bag: str, lot: str, number: int) -> None:
        lines = [
            stand.line.line
            for stand in self.stores.contents("J1", bag).lines
            if stand.line.item and stand.line.item.stock_code == "EL-1"
        ]
        piece = Installed(line=lines[0], stock_code="EL-1", lot=lot, quantity=number * 1000)
        self.do(install, CREW, bag=self.code(bag), pieces=[piece])

    @rule(bag=bags, lot=lots, number=few, door=doors, opened=st.booleans())
    def turns_in(self, bag: str, lot: str, number: int, door: str, opened: bool) -> None:
        shelf = {"stock": self.stores.place("N", "A-1"), "inspect": self.stores.place("N", "Q-1", "hold")}.get(door)
        condition = "opened" if opened else "sealed"
        done = self.do(
            turn_in, CREW, bag=self.code(bag), stock_code="EL-1", lot=lot, quantity=number * 1000, condition=condition,
            door=door, place=shelf, why="bent",
        )  # fmt: skip
        assert not (done and opened and door == "stock"), "opened rubber goods are inspected"

    @rule(bag=bags, lot=lots, deed=st.sampled_from(("scrapped", "lost")))
    def writes_off(self, bag: str, lot: str, deed: str) -> None:
        self.do(write_off, CREW, bag=self.code(bag), stock_code="EL-1", lot=lot, quantity=1000, deed=deed, why="fell")

    @rule(bag=bags, last=st.integers(1, 4))
    def takes_back(self, bag: str, last: int) -> None:
        done = Event.objects.filter(subject=f"J1 {bag}", data__has_key="action").order_by("-number")
        numbers = [*done.values_list("data__action", flat=True)[:last]]
        before = self.stores.bag("J1", bag).state
        if numbers and self.do(undo, DUTY, bag=self.code(bag), undone_action=numbers[-1]):
            assert before != CLOSED
            assert not self.do(undo, DUTY, bag=self.code(bag), undone_action=f"U-{numbers[-1]}") or before not in OUT

    @rule(bag=bags)
    def closes(self, bag: str) -> None:
        self.do(close, bag=self.code(bag))

    @rule(bag=bags, sure=st.integers(0, 9))
    def cancels(self, bag: str, sure: int) -> None:
        if sure == 0:
            self.do(cancel_bag, bag=self.code(bag), why="not this week")

    @rule(lot=lots)
    def a_lot_is_stopped_or_let_go(self, lot: str) -> None:
        found = self.stores.lot("EL-1", lot)
        if not LotHold.objects.filter(item=found.item, lot_number=lot).delete()[0]:
            LotHold.objects.create(item=found.item, lot_number=lot, reason="recall", placed_by="Ana", placed_at=MORNING)
        review(Bag.objects.all(), by="Ana", at=MORNING)

    @invariant()
    def every_piece_is_in_one_place(self) -> None:
        assert self.all_pieces() == self.pieces
        assert unequal_balances() == []
        found = Bag.objects.select_related("job", "depot")
        for contents in contents_of(found).values():
            inside = Counter[int]()
            for stand in contents.lines:
                assert min([*stand.inside.values(), 0]) == 0
                inside.update({lot: left for lot, left in stand.inside.items() if left})
            there = Balance.objects.filter(place=contents.bag.place_id, quantity__gt=0)
            assert inside == Counter(dict(there.values_list("lot", "quantity")))

    @invariant()
    def nobody_is_promised_what_is_not_there(self) -> None:
        assert promised_in_vain() == {}

    @invariant()
    def closed_bags_balance_and_what_is_out_was_issued(self) -> None:
        for contents in contents_of(Bag.objects.select_related("job", "depot")).values():
            if contents.bag.state == CLOSED:
                assert contents.open() == ()
            if contents.bag.state in OUT or contents.bag.state == ISSUED:
                for account in accounts(contents).values():
                    assert account["open"] >= 0
                    assert account["issued"] == sum(account.values()) - account["issued"]


def test_random_nights_leave_every_piece_in_one_place_and_nothing_bad_outside() -> None:
    run_state_machine_as_test(AnyNight, settings=settings(max_examples=12, stateful_step_count=35, deadline=None))
