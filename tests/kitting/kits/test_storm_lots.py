"""Lots that nobody read while a storm was on: named later, whatever has become of them, and admitted until then."""

from datetime import datetime

import pytest
from bag_stores import NIGHT, Stores, demo_sheets, promised_in_vain, staged_early
from module_books import books_of_module
from people import DUTY
from refusals import refusal
from storm_hands import give, inserts, new_lot, stock

from inventory.models import Balance, Item, Movement
from kitting.documents.from_records import lot_trace_of
from kitting.documents.lot_trace import COULD_BE, TraceLine
from kitting.models import LotToFinish, Promise, Storm
from kitting.selectors.bag_contents import label_code
from kitting.selectors.storms import to_finish
from kitting.services.recall_lots import recall_lot
from kitting.services.return_bags import turn_in
from kitting.services.storm_issues import Handful, finish_lot
from kitting.services.storms import open_storm

pytestmark = pytest.mark.django_db


books = books_of_module(demo_sheets, staged_early)


@pytest.fixture
def stores() -> Stores:
    """The night of the storm."""
    return Stores(NIGHT)


@pytest.fixture
def storm(stores: Stores) -> Storm:
    """An open one."""
    return open_storm(storm="EV1", depot="N", title="ice on the feeders", **stores.scan(DUTY))


@pytest.mark.usefixtures("storm")
def test_a_lot_that_nobody_read_is_named_before_anything_is_accounted_for(stores: Stores) -> None:
    done = give(stores, inserts(lot=""))
    (open_lot,) = done.to_finish
    code = label_code(done.bag)
    taken = open_lot.lot
    turned = {"stock_code": "BI15", "lot": taken.number, "quantity": 1000, "condition": "sealed", "door": "stock"}
    said = refusal("bag-not-ready", turn_in, bag=code, **turned, place=open_lot.place, **stores.scan())
    assert "LOTS TO NAME FIRST: 3 BI15" in said
    other = Balance.objects.create(place=open_lot.place, lot=new_lot("BI15", "L-ICE"), quantity=2000)
    assert "2 ea there" in refusal("not-enough", finish_lot, number=open_lot.pk, lot="L-ICE", **stores.scan())
    Balance.objects.filter(pk=other.pk).update(quantity=5000)
    assert "Read the lot" in refusal("no-lot", finish_lot, number=open_lot.pk, lot="?", **stores.scan())
    named = finish_lot(number=open_lot.pk, lot="L-ICE", **stores.scan())
    assert (named.named.number if named.named else "", named.named_by) == ("L-ICE", "M. Osei")
    assert Balance.objects.get(pk=other.pk).quantity == 2000
    assert Balance.objects.get(place=done.bag.place, lot__number="L-ICE").quantity == 3000
    assert "is done: M. Osei" in refusal("named-already", finish_lot, number=open_lot.pk, lot="L-1", **stores.scan())
    assert to_finish(Storm.objects.get()) == []
    turn_in(bag=code, **{**turned, "lot": "L-ICE"}, place=open_lot.place, **stores.scan())


@pytest.mark.usefixtures("storm")
def test_a_lot_that_is_what_the_books_took_moves_nothing_and_parts_without_lots_are_never_asked_for(
    stores: Stores,
) -> None:
    probes = stock("PB15")
    assert give(stores, Handful(place=probes.place, quantity=1000, stock_code="PB15")).to_finish == []
    (open_lot,) = give(stores, inserts(lot="")).to_finish
    before = Movement.objects.count()
    finish_lot(number=open_lot.pk, lot=open_lot.lot.number, **stores.scan())
    assert Movement.objects.count() == before
    assert LotToFinish.objects.filter(named=None).count() == 0


def could_be_of(lot: str, as_of: datetime | None = None) -> list[TraceLine]:
    """What a trace of a lot of inserts admits of pieces that went out in the storm."""
    traced = lot_trace_of(item=Item.objects.get(stock_code="BI15"), lot=lot, as_of=as_of)
    return [line for line in traced.lines if line.part == COULD_BE and line.job == "EV1"]


@pytest.mark.usefixtures("storm")
def test_a_lot_that_is_on_hold_by_the_time_it_is_named_is_named_all_the_same_and_stops_its_bag(stores: Stores) -> None:
    done = give(stores, inserts(lot=""))
    (open_lot,) = done.to_finish
    Balance.objects.create(place=open_lot.place, lot=new_lot("BI15", "L-ICE"), quantity=5000)
    scan = stores.scan(DUTY)
    recall_lot(stock_code="BI15", lot="L-ICE", reason="cracks", **scan)
    (could_be,) = could_be_of("L-ICE")
    assert (could_be.quantity, could_be.job) == (3, "EV1")
    assert could_be.who.startswith(f"lot not read yet; the books took lot {open_lot.lot.number or 'unknown'} from N/")
    assert could_be_of(open_lot.lot.number) == []
    finish_lot(number=open_lot.pk, lot="L-ICE", **stores.scan())
    assert could_be_of("L-ICE") == []
    assert could_be_of("L-ICE", as_of=scan["at"]) == [could_be]
    assert Balance.objects.get(place=done.bag.place, lot__number="L-ICE").quantity == 3000
    bag = stores.bag("EV1", "Alder 12")
    assert (bag.state, bag.state_before_hold, bag.why) == ("on hold", "issued", "on hold: BI15 lot L-ICE")
    assert to_finish(Storm.objects.get()) == []


@pytest.mark.usefixtures("storm")
def test_a_lot_that_is_named_later_is_promised_to_nobody_any_more(stores: Stores) -> None:
    there = stock("BI15")
    (open_lot,) = give(stores, inserts(lot="")).to_finish
    other = Balance.objects.create(place=there.place, lot=new_lot("BI15", "L-ICE"), quantity=4000)
    theirs = Promise.objects.filter(released_at=None, place=there.place, lot=there.lot)[0]
    Promise.objects.filter(pk=theirs.pk).update(lot=other.lot, quantity=4000)
    finish_lot(number=open_lot.pk, lot="L-ICE", **stores.scan())
    assert promised_in_vain() == {}
    assert Promise.objects.get(lot=other.lot, released_at=None).quantity == 1000
