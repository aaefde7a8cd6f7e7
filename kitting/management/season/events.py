"""What happens in the demo between 2026-03-02 and 2026-03-26, each event through the use cases, and what it changed."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import inventory.errors
from inventory.models import BIN, SCRAPPED, Balance, Depot, Item, OrderLine
from inventory.services.adjusting import Count, adjust
from inventory.services.ending import Ended, end
from inventory.services.receiving import Arrival, receive
from jobs.models import Job
from kitting.calculation.cable_geometry import GAUGE, Band
from kitting.calculation.fit_matching.fits import fit
from kitting.calculation.lengths import both, parse_length
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.calculation.what_if import delay_order, differences, move_cutover
from kitting.errors import Refusal
from kitting.management.season.people import AUDITS, BUYS, CREW, NIGHT, PLANS, SECOND, STANDARDS, STORES
from kitting.management.season.stores import Stores
from kitting.models import Bag, Promise
from kitting.selectors.bag_contents import accounts, label_code, label_state
from kitting.selectors.buying import consumed
from kitting.selectors.count_lists import at_places
from kitting.selectors.sheets import sheets_from_records
from kitting.services.borrow_pieces import ledger
from kitting.services.change_facts import change_facts
from kitting.services.change_orders import redate_order
from kitting.services.count_places import enter_count, list_count, recount
from kitting.services.earlier_jobs import Earlier, record_earlier_job
from kitting.services.emergency import open_emergency
from kitting.services.fill_bags import check, pick
from kitting.services.issue_bags import begin_work, issue, stage
from kitting.services.job_steps import energise_job
from kitting.services.recall_lots import recall_lot
from kitting.services.return_bags import close, write_off
from kitting.services.send_orders import send_reorder_sheet
from kitting.services.settle_counts import approve_count, explain, post_count
from kitting.services.settle_deliveries import settle_deliveries
from kitting.services.stand_in_requests import ask_stand_in, compare_request, refuse_stand_in

LOCAL_SEVEN = 13  # 07:00 at the depots, in UTC, before the clocks go forward
J01_ENERGISED = datetime(2026, 3, 5, 22, tzinfo=UTC)  # 16:00 at the depots


@dataclass(frozen=True, slots=True)
class Happened:
    """A day of the story: what it is called, and what it changed, a sentence each."""

    at: datetime
    title: str
    told: tuple[str, ...]


def _refused(act: Callable[[], object]) -> str:
    """The sentence with which something was refused.

    Raises:
        AssertionError: it was not refused, so the story does not hold.
    """
    try:
        act()
    except (Refusal, inventory.errors.Refusal) as refusal:
        return refusal.message
    raise AssertionError("this was to be refused")


def count_at_north(stores: Stores) -> None:
    """Twelve splices lie where the books have four: a kit taken for one, counted by two and approved by a third."""
    place = Balance.objects.select_related("place__depot").get(lot__item__stock_code="CS15-6").place
    there = at_places(depot=place.depot, codes=[place.code])
    splices = [one for one in there if one.lot and one.lot.item.stock_code == "CS15-6"]
    made = list_count(depot=place.depot, to_count=splices, **stores.scan())
    line: dict[str, Any] = {"count_list": made.number, "line": 1}
    units = ["each-or-kit/1"]
    enter_count(**line, counted=12_000, confirmed=units, **stores.scan())
    recount(**line, counted=12_000, confirmed=units, **stores.scan(SECOND))
    why = {**line, "cause": "each or kit", "words": "4 kits of 3 were booked as 4 each"}
    stores.say(_refused(lambda: explain(**why, **stores.scan(SECOND))))
    explain(**why, confirmed=units, **stores.scan(SECOND))
    approve_count(**line, reason="the cartons hold three each", **stores.scan(AUDITS))
    post_count(count_list=made.number, **stores.scan())
    stores.say("Counted by two, approved as a mistake of units by the auditor, and posted: 12 on the books.")


def papers_of_last_year(stores: Stores) -> None:
    """Two jobs of 2025 are put on the books from their papers, and a cracked insert is found and scrapped."""
    for job, title, day, structures in (
        ("H01", "Pump House", date(2025, 9, 13), ("PH1", "PH2")),
        ("H02", "Ferry Approach", date(2025, 11, 8), ("FA1", "FA2")),
    ):
        each = 3_000 if job == "H01" else 4_000
        fitted = [
            Earlier(structure=name, position="a", stock_code="BI25", lot="L-2409-17", quantity=each)
            for name in structures
        ]
        record_earlier_job(
            job=job, title=title, depot="N", done_on=day, fitted=fitted, paper=f"binder of {job}", **stores.scan(CREW)
        )
    stores.say("H01 has 6 and H02 has 8 BI25 of lot L-2409-17 on the line.")
    shelf = Balance.objects.select_related("place__depot", "lot__item").get(
        lot__number="L-2409-17", place__depot__depot="N", place__kind=BIN
    )
    more = Count(stock_code="BI25", place=shelf.place, counted=shelf.quantity + 1_000, lot="L-2409-17")
    adjust(counts=[more], why="one more behind the others", **stores.stamp())
    cracked = Ended(lot=shelf.lot, quantity=1_000, source=shelf.place, ending=SCRAPPED)
    end(pieces=[cracked], why="cracked in its carton", **stores.stamp())
    stores.say("One more BI25 of the lot was found at N, cracked, and scrapped.")


def reorder_sheet(stores: Stores) -> None:
    """Purchasing sends what the plan asks for; a second sheet has nothing to hold."""
    sheet = send_reorder_sheet(**stores.scan(BUYS))
    lines = [line.cells for line in sheet.lines.order_by("pk")]
    named = ", ".join(
        f"{row['order_quantity']} {row['purchase_unit'] or 'ea'} {row['stock_code']} to {row['depot']}" for row in lines
    )
    stores.say(f"Sent as {sheet}: {named}.")
    stores.say(_refused(lambda: send_reorder_sheet(**stores.scan(BUYS))))


def alder_loop(stores: Stores) -> None:
    """J01 goes out; one end is found made up, so three elbows are not used and stay in the truck."""
    stores.bring("J01")
    stores.build("J01")
    stores.issue("J01", "14")
    made_up = {("A1", kind) for kind in ("elbow", "elbow connector", "probe", "jacket seal")}
    stores.fit("J01", but=made_up)


def alder_returns(stores: Stores) -> None:
    """The connectors, probes and seals come back; three elbows are still open, so the bag stays open."""
    stores.settle("J01", leave=("EL15-2",))
    bag = Bag.objects.select_related("job", "depot").get(job__job="J01", structure="A1")
    stores.say(_refused(lambda: close(bag=label_code(bag), **stores.scan())))
    for (code, _), account in accounts(stores.contents(bag)).items():
        if code == "EL15-2":
            numbers = ", ".join(f"{name} {pieces // 1000}" for name, pieces in account.items())
            stores.say(f"EL15-2 in the bag of A1: {numbers}.")
    scan = stores.scan(CREW)
    state = energise_job(job="J01", actor=CREW, at=scan["at"], happened_at=J01_ENERGISED)
    stores.say(f"J01 was back in service on {J01_ENERGISED:%Y-%m-%d}; it stands at {state}.")


def courthouse(stores: Stores) -> None:
    """J02 is worked through the night in which the clocks go forward."""
    stores.whole("J02", "22")


def birch_street(stores: Stores) -> None:
    """J03: a copper lug falls in the sump, and the spare takes its place."""
    stores.bring("J03")
    stores.build("J03")
    stores.issue("J03", "14")
    stores.fit("J03")
    bag = Bag.objects.select_related("job", "depot").get(job__job="J03", structure="V1")
    contents = stores.contents(bag)
    lug = next(lot for lot in contents.lots.values() if lot.item.stock_code == "LUG-750C")
    answer = write_off(
        bag=label_code(bag), stock_code="LUG-750C", lot=lug.number, quantity=1_000, deed="lost",
        why="fell in the sump; the spare was fitted", **stores.scan(CREW),
    )  # fmt: skip
    stores.say(f"One LUG-750C is lost in the sump of V1. {answer.sentence}")
    stores.settle("J03")
    used = ", ".join(f"{pieces // 1000} {code}" for job, code, _, pieces in consumed() if job == "J03")
    stores.say(f"J03 is closed; of the supplier's pieces it used {used}.")


def vault_nine_early(stores: Stores) -> None:
    """J10's bag for V9 is staged weeks ahead, with what is decided in it."""
    stores.bring("J10")
    stores.build("J10", ("V9",))
    bag = Bag.objects.select_related("job", "depot").get(job__job="J10", structure="V9")
    stores.say(f"The label says {label_state(stores.contents(bag))}.")


def dig_in(stores: Stores) -> None:
    """E01, at ten past two in the night: three splices are needed, and J10's bag is the nearest."""
    opened = open_emergency(
        job="E01", structure="Saltmarsh", depot="H", wanted={"CS15-2": 3_000}, why="dig-in at Saltmarsh",
        **stores.scan(NIGHT),
    )  # fmt: skip
    found = opened.sources["CS15-2"]
    stores.say(f"Sources in order: {'; '.join(one.sentence for one in found)}.")
    first = found[0].balance
    code = label_code(opened.bag)
    pick(bag=code, stock_code="CS15-2", lot=first.lot.number, place=first.place, quantity=3_000, **stores.scan(NIGHT))
    check(bag=code, counted={"CS15-2": 3_000}, **stores.scan())
    stage(bag=code, rack="H counter", **stores.scan())
    issue(bag=code, crew="Crew 22", truck="22", signature=CREW.name, **stores.scan())
    begin_work(bag=code, **stores.scan(CREW))
    stores.fit("E01")
    close(bag=code, **stores.scan())
    lent = ledger(stores.at.date())
    stores.say(f"Taken: 3 of lot {first.lot.number}; borrowed from staged bags: {len(lent) or 'nothing'}.")


def canning_row(stores: Stores) -> None:
    """J04 and J05 are done."""
    stores.whole("J04", "22")
    stores.whole("J05", "22")


def granary_moves_up(stores: Stores) -> None:
    """J08 moves from 04-18 to 03-31: first what it would do, then for good."""
    raw = sheets_from_records(stores.at.date())
    moved = move_cutover(raw, job="J08", cutover="2026-03-31 22:00")
    before, after = (plan(read_book(book), as_of=stores.at.date()) for book in (raw, moved))
    for one in differences(before, after):
        if one.short_before != one.short_after:
            stores.say(f"{one.line}: {one.stock_code_after} short {one.short_before or 0} -> {one.short_after or 0}.")
    job = Job.objects.get(job="J08")
    changes = {"cutover": "2026-03-31 22:00"}
    change_facts(sheet="jobs", key=["J08"], version=job.version, changes=changes, by=PLANS.name, at=stores.at)
    stores.plan()
    answer = next(one for one in after.jobs if one.job == "J08")
    stores.say(f"Moved. J08 is {answer.answer}, staged by {answer.staged_by}: {answer.short_pieces} pieces short.")


def stand_in_refused(stores: Stores) -> None:
    """Somebody asks for the 35 kV elbow because it fits the cable; it does not mate."""
    asked = ask_stand_in(
        wanted="EL25-2", stand_in="EL35S-1", why="fits the cable, and EL25-2 is not here", actor=STORES, at=stores.at
    )
    compare_request(number=asked.pk, actor=STANDARDS, at=stores.at)
    reason = "it does not mate with a 25 kV insert"
    refuse_stand_in(number=asked.pk, reason=reason, actor=STANDARDS, at=stores.at)
    stores.say(f"{asked}: refused by {STANDARDS.name}: {reason}.")


def part_delivery(stores: Stores) -> None:
    """15 of 24 elbows and the splices arrive; they go to the jobs staged first."""
    north, hill = (Depot.objects.get(depot=depot) for depot in ("N", "H"))
    receive(
        depot=north,
        arrivals=[
            Arrival(
                stock_code="EL25-2", place=stores.place(north, "arrived"), count=15_000, lot="L-2602-E", order="PO-1",
                line="1",
            )
        ],
        **stores.stamp(),
    )  # fmt: skip
    for depot in (north, hill):
        lines = OrderLine.objects.filter(item__stock_code="CS25-2", depot=depot, received=0).select_related("order")
        for line in lines:
            arrival = Arrival(
                stock_code="CS25-2", place=stores.place(depot, "arrived"), count=line.quantity // 3, unit="kit",
                lot="L-2602-S", use_by=date(2029, 2, 28), order=line.order.number, line=line.line,
            )  # fmt: skip
            receive(depot=depot, arrivals=[arrival], **stores.stamp())
    settled = settle_deliveries(by=STORES.name, at=stores.at)
    stores.say(f"15 of 24 EL25-2 and the CS25-2 are in; {settled} promises got their pieces.")
    rest = date(2026, 4, 10)
    redate_order(order="PO-1", line="1", promised=rest, why="15 of 24 came", **stores.scan(BUYS))
    stores.plan()
    for job in ("J09", "J12"):
        mine = Promise.objects.filter(job__job=job, item__stock_code="EL25-2", released_at=None)
        here = sum(one.quantity for one in mine if one.place_id) // 1000
        due = sum(one.quantity for one in mine if not one.place_id) // 1000
        stores.say(f"{job} has {here} EL25-2 now and {due} with the rest, promised {rest}.")


def wrong_reel(stores: Stores) -> None:
    """J06: the reel that was pulled is not the one on the schedule; the elbow in the bag does not go on."""
    elbow = Item.objects.get(stock_code="EL15-1")
    gauge = parse_length("0.845", "in")
    found = fit(Band(gauge, gauge, GAUGE), elbow.doi_low_nm, elbow.doi_high_nm, estimates="accept")
    stores.say(
        f"EL15-1 on reel R-1201, gauge 0.845 in: {found.state.upper()}, too small by {both(found.too_small_nm)}."
    )
    other = Balance.objects.filter(lot__item__stock_code="EL15-2", quantity__gt=0).select_related("place__depot")
    named = ", ".join(f"{one.quantity // 1000} at {_where(one)}" for one in other.order_by("place"))
    stores.say(f"EL15-2 would take it: {named}.")


def _where(balance: Balance) -> str:
    """A place in words; a bag that is out lies where the crew has it."""
    bag = Bag.objects.filter(place=balance.place).select_related("job").first()
    return f"{bag.whereabouts} (bag {bag})" if bag else str(balance.place)


def hillcrest_and_kiln_lane(stores: Stores) -> None:
    """The bags of J09 and J12 are staged early, as far as the pieces are here."""
    for job in ("J09", "J12"):
        stores.bring(job)
        stores.build(job)


def recall(stores: Stores) -> None:
    """The maker recalls a lot of inserts: every piece is stopped, and the bags that hold one."""
    found = recall_lot(stock_code="BI25", lot="L-2409-17", reason="maker's recall", **stores.scan(NIGHT))
    where = ", ".join(f"{pieces // 1000} {place}" for place, pieces in sorted(found.pieces.items()))
    stores.say(f"BI25 lot L-2409-17 is on hold: {where}; in all {found.received // 1000} received.")
    stores.say(f"Jobs hit: {', '.join(f'{job} on {day}' for job, day in found.jobs.items())}.")
    stores.say(f"Bags on hold: {', '.join(found.bags) or 'none'}.")


def slipping_order(stores: Stores) -> None:
    """What if the rest of the elbows slips by 17 days? Nothing is stored."""
    raw = sheets_from_records(stores.at.date())
    before, after = (
        plan(read_book(book), as_of=stores.at.date()) for book in (raw, delay_order(raw, order="PO-1", days=17))
    )
    changed = [one for one in differences(before, after) if one.short_before != one.short_after]
    for one in changed:
        stores.say(f"{one.line}: {one.stock_code_after} short {one.short_before or 0} -> {one.short_after or 0}.")
    if not changed:
        stores.say("No line would change.")


EVENTS: tuple[tuple[datetime, str, Callable[[Stores], None]], ...] = tuple(
    (datetime(2026, 3, day, hour, tzinfo=UTC), title, act)
    for day, hour, title, act in (
        (2, 15, "count at North Yard", count_at_north),
        (2, 16, "papers of last year", papers_of_last_year),
        (3, LOCAL_SEVEN, "reorder sheet sent", reorder_sheet),
        (3, 15, "J01 Alder Loop built, issued and worked", alder_loop),
        (5, LOCAL_SEVEN, "J02 Courthouse Block", courthouse),
        (6, LOCAL_SEVEN, "J01 comes back", alder_returns),
        (10, LOCAL_SEVEN, "J03 Birch Street Feeder", birch_street),
        (12, LOCAL_SEVEN, "J10's bag for vault 9 staged early", vault_nine_early),
        (12, 18, "J04 Canning Row and J05 Dock 4", canning_row),
        (14, 7, "E01 dig-in at Saltmarsh", dig_in),
        (16, LOCAL_SEVEN, "J08 moved up", granary_moves_up),
        (19, LOCAL_SEVEN, "stand-in asked for J09", stand_in_refused),
        (20, LOCAL_SEVEN, "part delivery", part_delivery),
        (21, LOCAL_SEVEN, "wrong reel at J06", wrong_reel),
        (23, LOCAL_SEVEN, "J09 and J12 staged early", hillcrest_and_kiln_lane),
        (24, LOCAL_SEVEN, "recall", recall),
        (26, LOCAL_SEVEN, "the rest of an order slips (what if)", slipping_order),
    )
)


def play() -> list[Happened]:
    """All events, in order, on books that hold the demo's applied plan."""
    happened = []
    stores = Stores(EVENTS[0][0])
    for at, title, act in EVENTS:
        stores.at = max(at, stores.at)
        stores.told = []
        act(stores)
        happened.append(Happened(at, title, tuple(stores.told)))
    return happened
