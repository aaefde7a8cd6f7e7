"""A stand-in is asked for, compared, approved within limits or refused, always by two persons; it ends at its date."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import BUYER, CREW, DUTY, OTHER_STANDARDS, PLANNER, STANDARDS, STORES
from record_books import AT, everything, load, rows_in_every_table

from inventory.models import Item, OldCode
from kitting.calculation.plan_result import Plan
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.errors import Refusal
from kitting.models import APPROVED, ENDED, REFUSED, DutyLimit, Event, StandIn, StandInRequest
from kitting.roles import Actor
from kitting.selectors.promises import open_promises
from kitting.selectors.sheets import sheets_from_records
from kitting.selectors.stand_ins import lines_on_ended
from kitting.services.apply_plan import ReviewedPlan, apply_plan
from kitting.services.change_facts import change_facts
from kitting.services.stand_in_requests import (
    Limits,
    approve_stand_in,
    ask_stand_in,
    compare_request,
    refuse_stand_in,
)
from kitting.services.stand_in_terms import end_stand_in, extend_stand_in, list_for_duty, unlist_for_duty

pytestmark = pytest.mark.django_db

LINE = "J1/P3-j/joint/ABC/splice"
ELBOW = "J1/P1-a/r1-from/ABC/elbow"
UNTIL = date(2026, 4, 30)
POSITIONS = (
    "P1,a,integral 200 A,200 A 15 kV,ABC,,in use\nP2,a,integral 200 A,200 A 15 kV,ABC,,in use\nP3,j,joint,,ABC,,in use"
)
RUNS = "J1,1,S12,ABC,CT-A,P1,a,P3,j\nJ1,2,S12,ABC,CT-A,P3,j,P2,a"
# CS is a splice of class 15, 0.700 to 1.100 in; CT-A is 0.730 to 0.790 in. None of it is on the shelf.
ITEMS = (
    "CS-W,Splice wide,splice,25,,,0.650,1.150,,,,,,,,,,10\n"
    "CS-B,Splice big,splice,25,,,0.900,1.300,,,,,,,,,,10\n"
    "EL-35,Elbow small,elbow,35,200 A 35 kV small,,0.600,0.900,,,,,,,no,,,10"
)
STOCK = "stock code,depot,place,place kind,lot,use by,quantity\nCS-W,N,A-3,bin,L-3,,9"
NO_ROWS = {
    "bag_depots": "job,structure,depot",
    "stand_ins": "wanted,allowed,approved by,reason",
    "pins": "job,line,stock code,lot,depot,quantity,reason,by",
    "added_lines": "job,structure,position,kind,stock code,quantity,reason,by",
}


books = books_of_module(lambda: everything(items=ITEMS, positions=POSITIONS, schedule=RUNS, stock=STOCK, **NO_ROWS))


def asked(actor: Actor = STORES, *, wanted: str = "CS", stand_in: str = "CS-W", line: str = "") -> StandInRequest:
    return ask_stand_in(wanted=wanted, stand_in=stand_in, line=line, why="CS is out for 14 weeks", actor=actor, at=AT)


def compared(actor: Actor = STORES, **given: str) -> StandInRequest:
    request = asked(actor, **given)
    compare_request(number=request.pk, actor=STANDARDS, at=AT)
    return request


def approve(
    request: StandInRequest,
    actor: Actor = STANDARDS,
    *,
    to: date = UNTIL,
    most: int | None = None,
    system: str = "",
    reason: str = "same maker, same cutback",
) -> StandIn:
    limits = Limits(valid_to=to, most=most, system=system)
    return approve_stand_in(number=request.pk, limits=limits, reason=reason, actor=actor, at=AT)


def planned() -> Plan:
    return plan(read_book(sheets_from_records(AT.date())), as_of=AT.date())


def promised(code: str = "CS-W") -> int:
    frame = planned().promises
    return int(sum(frame[(frame["stock_code"] == code).to_numpy()]["quantity"]))


def refused(act: object, *args: object, **kwargs: object) -> Refusal:
    before = rows_in_every_table()
    with pytest.raises(Refusal) as found:
        act(*args, **kwargs)  # type: ignore[operator]
    assert {**rows_in_every_table(), "Event": 0} == {**before, "Event": 0}
    return found.value


def test_an_approved_stand_in_is_taken_by_the_next_plan_and_says_who_asked_and_who_approved() -> None:
    assert promised() == 0
    request = compared(line=LINE)
    approval = approve(request)
    assert promised() == 3
    request.refresh_from_db()
    assert (request.state, request.approval, request.decided_by) == (APPROVED, approval, "I. Varga")
    (told,) = Event.objects.filter(name="stand-in approved")
    assert (told.by, told.data["asked_by"], told.data["reason"]) == ("I. Varga", "M. Osei", "same maker, same cutback")
    assert told.data["limits"]["valid_to"] == "2026-04-30"


def test_a_part_does_not_stand_in_for_itself_under_whichever_code() -> None:
    OldCode.objects.create(code="77-CS", item=Item.objects.get(stock_code="CS"))
    for code in ("CS", "cs", "77-CS"):
        with pytest.raises(Refusal, match="CS can't stand in for itself"):
            asked(stand_in=code)
    assert not StandInRequest.objects.exists()


def test_it_is_approved_one_way_only() -> None:
    """Row M1: CS never stands in for CS-W, because its class is below."""
    approve(compared())
    (way,) = StandIn.objects.values_list("wanted__stock_code", "allowed__stock_code")
    assert way == ("CS", "CS-W")
    back = asked(wanted="CS-W", stand_in="CS")
    found = compare_request(number=back.pk, actor=STANDARDS, at=AT)
    assert [fact.check for fact in found.forbidden_by] == ["voltage class"]


def test_who_asked_cannot_decide_and_the_attempt_is_kept() -> None:
    """Row M2: two names."""
    request = compared(STANDARDS)
    assert refused(approve, request, STANDARDS).code == "own-request"
    own = refused(refuse_stand_in, number=request.pk, reason="no", actor=STANDARDS, at=AT)
    assert own.message == f"I. Varga asked for request {request.pk}: CS-W for CS: another person decides."
    assert Event.objects.filter(name="own request not decided", by="I. Varga").count() == 2
    approve(request, OTHER_STANDARDS)


def test_a_failing_hard_check_cannot_be_approved_by_anybody() -> None:
    """Row M3, the pattern of trap T17: the interface does not mate, whatever the cable says."""
    request = compared(stand_in="EL-35", wanted="EL-1", line=ELBOW)
    told = refused(approve, request)
    assert told.code == "hard-check-fails"
    assert told.data["checks"] == ["interface", "voltage class", "phase-to-phase duty"]
    assert "interface 200 A 35 kV small does not mate with 200 A 15 kV" in told.message
    too_big = compared(stand_in="CS-B", line=LINE)
    assert refused(approve, too_big).data["checks"] == ["insulation diameter"]
    refuse_stand_in(number=request.pk, reason="does not mate", actor=STANDARDS, at=AT)
    request.refresh_from_db()
    assert (request.state, request.decision) == (REFUSED, "does not mate")
    assert refused(approve, request).code == "decided-already"


def test_the_facts_are_looked_at_before_and_again_where_they_have_changed() -> None:
    request = asked()
    assert refused(approve, request).code == "compare-first"
    compare_request(number=request.pk, actor=STANDARDS, at=AT)
    items = ITEMS.replace("0.650,1.150", "0.650,1.140")
    load(everything(items=items, positions=POSITIONS, schedule=RUNS, stock=STOCK, **NO_ROWS))
    assert refused(approve, request).code == "compare-first"
    compare_request(number=request.pk, actor=STANDARDS, at=AT)
    approve(request)


def test_without_a_reason_a_future_end_or_pieces_nothing_is_approved() -> None:
    request = compared()
    assert refused(approve, request, reason=" ").code == "no-reason"
    assert refused(approve, request, to=AT.date() - timedelta(days=1)).code == "no-limit"
    assert refused(approve, request, most=0).code == "no-limit"
    later = Limits(valid_from=AT.date() + timedelta(days=9), valid_to=AT.date() + timedelta(days=2))
    backwards = refused(approve_stand_in, number=request.pk, limits=later, reason="x", actor=STANDARDS, at=AT)
    assert "before it begins on" in backwards.message
    assert refused(approve, request, system="S99").code == "unknown-system"
    assert refused(asked, BUYER).code == "not-allowed"
    assert refused(asked, CREW, line="J1/nowhere").code == "no-such-line"
    approve(request, most=2000, system="S12")
    assert promised() == 2


def test_what_was_compared_for_one_system_is_approved_for_that_one_only() -> None:
    request = ask_stand_in(wanted="CS", stand_in="CS-W", system="S12", why="out", actor=CREW, at=AT)
    compare_request(number=request.pk, actor=STANDARDS, at=AT)
    assert refused(approve, request).code == "no-limit"
    assert approve(request, system="S12").system.system == "S12"


def test_a_duty_supervisor_approves_only_what_is_listed_and_only_within_its_limits() -> None:
    request = compared(CREW)
    assert refused(approve, request, DUTY, most=3000).code == "beyond-limits"
    assert refused(listed, DUTY).code == "not-allowed"
    listed(STANDARDS)
    for beyond in ({"most": 4000}, {"most": None}, {"most": 3000, "to": AT.date() + timedelta(days=4)}):
        short = {"to": AT.date() + timedelta(days=3), **beyond}
        assert refused(approve, request, DUTY, **short).code == "beyond-limits"
    approve(request, DUTY, to=AT.date() + timedelta(days=3), most=3000)
    again = {"number": DutyLimit.objects.get().pk, "actor": STANDARDS, "at": AT}
    assert refused(unlist_for_duty, **again, reason=" ").code == "no-reason"
    unlist_for_duty(**again, reason="one cracked")
    assert refused(unlist_for_duty, **again, reason="one cracked").code == "not-listed"
    assert refused(approve, compared(CREW), DUTY, most=1000, to=AT.date()).code == "beyond-limits"
    assert refused(approve, compared(CREW), PLANNER).code == "not-allowed"


def listed(actor: Actor) -> None:
    list_for_duty(
        wanted="CS", stand_in="CS-W", most_pieces=3000, most_days=3, reason="tried in the yard", actor=actor, at=AT
    )


def test_what_nobody_may_approve_is_not_listed_for_the_night() -> None:
    told = refused(
        list_for_duty,
        wanted="EL-1",
        stand_in="EL-35",
        most_pieces=1000,
        most_days=1,
        reason="it fits the cable",
        actor=STANDARDS,
        at=AT,
    )
    assert told.code == "hard-check-fails"


def test_a_request_with_the_outage_running_goes_to_the_duty_supervisor_too() -> None:
    asked()
    assert [one.addressed_to for one in Event.objects.filter(name="stand-in asked")] == ["standards engineer"]
    ask_stand_in(wanted="CS", stand_in="CS-W", why="no CS in the bag", outage_running=True, actor=CREW, at=AT)
    told = Event.objects.filter(name="stand-in asked", by=CREW.name)
    assert {one.addressed_to for one in told} == {"standards engineer", "duty supervisor"}


def applied() -> None:
    sheets = sheets_from_records(AT.date())
    made = plan(read_book(sheets), as_of=AT.date(), earlier=open_promises())
    apply_plan(reviewed=ReviewedPlan(sheets, made), by="R. Tolley", at=AT)


def test_a_stand_in_that_has_ended_stops_and_the_lines_that_hold_it_are_listed() -> None:
    """Row M5: J1's cutover is 03-20; an approval that ends the day before does not reach it."""
    request = compared()
    approval = approve(request)
    applied()
    assert lines_on_ended(today=AT.date()) == []
    told = refused(end_stand_in, number=approval.pk, valid_to=UNTIL, reason="late", actor=STANDARDS, at=AT)
    assert told.code == "not-earlier"
    end_stand_in(number=approval.pk, valid_to=date(2026, 3, 19), reason="cracks seen", actor=STANDARDS, at=AT)
    (one,) = lines_on_ended(today=AT.date())
    assert (one.line, one.stock_code, one.quantity, one.place) == (LINE, "CS-W", 3000, "N/A-3")
    assert one.ended == date(2026, 3, 19)
    assert promised() == 0
    request.refresh_from_db()
    assert request.state == ENDED
    extend_stand_in(number=approval.pk, valid_to=UNTIL, reason="cracks were dirt", actor=STANDARDS, at=AT)
    assert lines_on_ended(today=AT.date()) == []
    assert promised() == 3


def test_an_extension_needs_a_reason_a_later_day_and_another_person_than_who_asked() -> None:
    request = compared(STANDARDS)
    approval = approve(request, OTHER_STANDARDS)
    later = UNTIL + timedelta(days=30)

    def extend(valid_to: date = later, reason: str = "still out", actor: Actor = OTHER_STANDARDS) -> None:
        extend_stand_in(number=approval.pk, valid_to=valid_to, reason=reason, actor=actor, at=AT)

    assert refused(extend, reason="").code == "no-reason"
    assert refused(extend, UNTIL).code == "not-later"
    assert refused(extend, actor=STANDARDS).code == "own-request"
    assert refused(extend, actor=DUTY).code == "not-allowed"
    extend()
    (told,) = Event.objects.filter(name="stand-in extended")
    assert (told.data["before"], told.data["after"]) == ("2026-04-30", "2026-05-30")


def test_an_approval_ends_at_its_date_by_itself_and_where_a_loaded_list_has_it_no_more() -> None:
    request = compared()
    approve(request)
    request.refresh_from_db()
    assert request.state_on(UNTIL) == APPROVED
    assert request.state_on(UNTIL + timedelta(days=1)) == ENDED
    load(everything(items=ITEMS, positions=POSITIONS, schedule=RUNS, stock=STOCK, **NO_ROWS))
    request.refresh_from_db()
    assert request.state_on(AT.date()) == ENDED


def test_approvals_are_not_changed_cell_by_cell() -> None:
    approval = approve(compared())
    told = refused(
        change_facts,
        sheet="stand ins",
        key=[str(approval.pk)],
        version=1,
        changes={"to": "2027-12-31"},
        by="M. Osei",
        at=AT,
    )
    assert told.code == "not-by-hand"


def test_the_number_of_queries_does_not_grow_with_the_lines() -> None:
    def queries() -> list[int]:
        counts = []
        request = asked(line=LINE)
        acts = (lambda: compare_request(number=request.pk, actor=STANDARDS, at=AT), lambda: approve(request))
        for act in acts:
            with CaptureQueriesContext(connection) as seen:
                act()
            counts.append(len(seen))
        applied()
        with CaptureQueriesContext(connection) as seen:
            lines_on_ended(today=AT.date())
        return [*counts, len(seen)]

    few = queries()
    more = [f"J1,{number},S12,ABC,CT-A,P{number},a,P{number}0,j" for number in range(3, 9)]
    places = [f"P{n},a,integral 200 A,200 A 15 kV,ABC,,in use\nP{n}0,j,joint,,ABC,,in use" for n in range(3, 9)]
    schedule, positions = "\n".join([RUNS, *more]), "\n".join([POSITIONS, *places])
    load(everything(items=ITEMS, positions=positions, schedule=schedule, stock=STOCK, **NO_ROWS))
    assert queries() == few
