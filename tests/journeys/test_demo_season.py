"""The demo from its first plan to the end of March, as its people live it, on one set of books."""

import io
import re
from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db.models import Sum
from pytest_django.plugin import DjangoDbBlocker

from inventory.models import Balance, LotHold, Movement
from inventory.selectors.rebuilding import unequal_balances, unequal_order_lines
from jobs.models import Job
from kitting.models import Bag, BagEntry, Event
from kitting.selectors.bag_contents import accounts, contents_of
from kitting.selectors.buying import consumed
from kitting.selectors.event_chain import check_chain
from kitting.selectors.recheck_installed import recheck_installed
from kitting.selectors.rework import rework

pytestmark = pytest.mark.django_db
STORY_ENDS = date(2026, 3, 24)


@pytest.fixture(scope="module")
def said(
    django_db_setup: None,  # noqa: ARG001
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[str]:
    """What the command prints; the books stay for all tests of this module."""
    with django_db_blocker.unblock():
        printed = io.StringIO()
        try:
            call_command("demo", "--no-serve", "--out", str(tmp_path_factory.mktemp("demo")), stdout=printed)
            yield printed.getvalue()
        finally:
            call_command("flush", verbosity=0, interactive=False)


def told(said: str, title: str) -> list[str]:
    """The sentences of an event."""
    _, _, rest = said.partition(f" {title}\n")
    return [line.strip() for line in re.split(r"\n2026-", rest)[0].splitlines()]


def test_books_balance_and_the_chain_of_events_is_unbroken_at_the_end(said: str) -> None:
    assert said
    assert (unequal_balances(), unequal_order_lines()) == ([], [])
    assert (check_chain().fault, check_chain().unbroken_to) == ("", Event.objects.count())
    moved = Movement.objects.values_list("lot").annotate(Sum("quantity"))
    for lot, _ in moved:
        into = Movement.objects.filter(lot=lot).exclude(origin="").aggregate(Sum("quantity"))["quantity__sum"] or 0
        out = Movement.objects.filter(lot=lot).exclude(ending="").aggregate(Sum("quantity"))["quantity__sum"] or 0
        here = Balance.objects.filter(lot=lot).aggregate(Sum("quantity"))["quantity__sum"]
        assert into == out + here


def test_twelve_counted_where_four_are_booked_is_a_kit_taken_for_one(said: str) -> None:
    """Trap T06."""
    assert told(said, "count at North Yard")[0].startswith(
        "CS15-6 lot L-2506-296 at N/N-04-3: 12 ea counted, 4 ea on the books, exactly one kit of 3 ea"
    )


def test_the_reorder_sheet_holds_what_is_short_and_a_second_one_nothing(said: str) -> None:
    """Traps T43 and T47: six arresters, three kits of splices."""
    sheet, second = told(said, "reorder sheet sent")
    for line in ("6 ea EA15-15.3 to M", "2 kit CS25-2 to H", "1 kit CS25-2 to N"):
        assert line in sheet
    assert second.startswith("Nothing of plan")


def test_three_elbows_of_the_end_that_was_made_up_stay_open_in_the_truck(said: str) -> None:
    """Trap T14: issued 6 = installed 3 + 3 open."""
    lines = told(said, "J01 comes back")
    assert "STILL OPEN: 3 EL15-2" in lines[0]
    assert lines[-1] == "J01 was back in service on 2026-03-05; it stands at returns open."
    found = Counter[str]()
    for contents in contents_of(Bag.objects.filter(job__job="J01").select_related("job", "depot")).values():
        for (code, _), account in accounts(contents).items():
            found.update(account if code == "EL15-2" else {})
    assert found == Counter(issued=6000, installed=3000, open=3000)
    assert Job.objects.get(job="J01").ended == "under way"


def test_a_lug_in_the_sump_and_the_suppliers_lugs_are_accounted_for(said: str) -> None:
    """Traps T20 and T33: lost 1; 7 issued, 1 turned in, 6 consumed, 14 left."""
    assert "J03 is closed; of the supplier's pieces it used 6 LUG-750A." in told(said, "J03 Birch Street Feeder")
    assert [(job, code, pieces) for job, code, _, pieces in consumed()] == [("J03", "LUG-750A", 6000)]
    left = Balance.objects.filter(lot__item__stock_code="LUG-750A", place__kind="supplier-owned")
    assert left.aggregate(Sum("quantity"))["quantity__sum"] == 14_000
    lost = BagEntry.objects.filter(deed="lost", lot__item__stock_code="LUG-750C")
    assert lost.aggregate(Sum("quantity"))["quantity__sum"] == 1_000


def test_the_dig_in_takes_what_is_near_its_date_and_leaves_the_staged_bag_alone(said: str) -> None:
    """Trap T15, free stock first: 3 of L-2303B, J10 untouched."""
    offered, _, taken = told(said, "E01 dig-in at Saltmarsh")
    assert offered.startswith(
        "Sources in order: 3 of CS15-2 lot L-2303B at H/H-04-2 (near its date, use by 2026-03-31); "
    )
    assert taken == "Taken: 3 of lot L-2303B; borrowed from staged bags: nothing."
    assert Bag.objects.get(job__job="J10", structure="V9").state == "staged"


def test_the_outage_that_moves_up_is_short_of_what_comes_later(said: str) -> None:
    """Trap T18."""
    lines = told(said, "J08 moved up")
    assert len([line for line in lines if "CA-6 short 0 -> 3" in line]) == 2
    assert lines[-1] == "Moved. J08 is short, staged by 2026-03-27: 6 CA-6; 1 BI35L pieces short."


def test_a_part_delivery_goes_to_the_job_staged_first_and_the_slip_makes_the_other_short(said: str) -> None:
    """Trap T19."""
    assert told(said, "part delivery")[1:] == [
        "J09 has 12 EL25-2 now and 0 with the rest, promised 2026-04-10.",
        "J12 has 3 EL25-2 now and 3 with the rest, promised 2026-04-10.",
    ]
    assert told(said, "the rest of an order slips (what if)") == ["J12/K2-a/r2-to/ABC/elbow: EL25-2 short 0 -> 3."]


def test_the_wrong_reel_does_not_take_the_elbow_of_the_bag(said: str) -> None:
    """Trap T21."""
    assert told(said, "wrong reel at J06") == [
        "EL15-1 on reel R-1201, gauge 0.845 in: DOES NOT FIT, too small by 1.14 mm (0.045 in).",
        "EL15-2 would take it: 4 at H/H-01-2, 3 at truck 14 (bag J01 A1).",
    ]


def test_a_recall_stops_every_bag_with_a_piece_of_the_lot(said: str) -> None:
    """Trap T31: 17 installed, 9 in bags, 5 on the shelf, 3 in reserve, 3 on trucks, 2 set aside, 1 scrapped = 40."""
    where, jobs, bags = told(said, "recall")
    assert where == (
        "BI25 lot L-2409-17 is on hold: 3 H bag, 3 H reserve, 1 H truck, 6 N bag, 5 N bin, 2 N hold, 2 N truck, "
        "17 installed, 1 scrapped; in all 40 received."
    )
    assert jobs == "Jobs hit: J09 on 2026-04-04 05:00, J12 on 2026-04-25 06:00."
    assert bags == "Bags on hold: J09 HL1, J09 HL3, J09 HL5, J09 HL7, J12 K1."
    hold = LotHold.objects.get(lot_number="L-2409-17")
    at = Counter[str]()
    for balance in Balance.objects.filter(lot__number=hold.lot_number, quantity__gt=0).select_related("place__depot"):
        at[f"{balance.place.depot} {balance.place.kind}"] += balance.quantity // 1000
    assert at == {"N bin": 5, "H reserve": 3, "N truck": 2, "H truck": 1, "N hold": 2, "N bag": 6, "H bag": 3}
    fitted = BagEntry.objects.filter(deed="installed", lot__number=hold.lot_number).values_list("line__bag__job__job")
    assert dict(fitted.annotate(Sum("quantity"))) == {"H01": 6_000, "H02": 8_000, "J04": 3_000}


def test_after_the_recall_its_bags_stand_on_the_rework_list_before_later_short_ones(said: str) -> None:
    assert said
    listed = rework(on=STORY_ENDS)
    rows = [(str(row.bag), row.next, [(one.stock_code, one.quantity) for one in row.add]) for row in listed]
    held = [("J09 HL1", 3_000), ("J09 HL3", 1_000), ("J09 HL5", 1_000), ("J09 HL7", 1_000)]
    assert rows == [
        *((bag, ("put back",), [("BI25", pieces)]) for bag, pieces in held),
        ("J10 V9", ("plan, apply and list again",), []),  # a paper cable that no rule speaks of
        ("J12 K1", ("put back",), [("BI25", 3_000)]),
        ("J12 K2", ("reopen",), [("EL25-2", 3_000)]),
    ]


def test_todays_rules_refuse_nothing_that_was_installed_and_cant_check_what_has_no_schedule(said: str) -> None:
    assert said
    found = recheck_installed()
    assert {(row.job, row.state, row.check) for row in found.rows} == {
        (job, "can't check", "schedule") for job in ("E01", "H01", "H02")
    }
    assert sum(row.quantity for row in found.rows) == 17_000  # 14 inserts from papers and 3 splices of the dig-in
    fitted = BagEntry.objects.filter(deed="installed").aggregate(Sum("quantity"))["quantity__sum"]
    assert found.checked == fitted > 17_000


def test_no_held_or_expired_lot_ever_went_out(said: str) -> None:
    assert said
    for entry in BagEntry.objects.filter(deed="issued").select_related("lot", "line__bag__job"):
        if entry.line.bag.job.job.startswith("H"):
            continue  # before the books
        cutover = entry.line.bag.job.cutover[:10]
        assert entry.lot.use_by is None or entry.lot.use_by.isoformat() >= cutover
        assert entry.lot.number != "L-2409-17" or entry.line.bag.job.job == "J04"


def test_the_demo_is_not_loaded_again_into_books_that_have_lived_on(said: str, tmp_path: Path) -> None:
    assert said
    printed = io.StringIO()
    before = Event.objects.count()
    call_command("demo", "--no-serve", "--out", str(tmp_path), stdout=printed)
    assert "These books have lived on" in printed.getvalue()
    assert Event.objects.count() == before
