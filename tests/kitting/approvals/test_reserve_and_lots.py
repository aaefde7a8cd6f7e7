"""The reserve, a lot on hold and a date on a lot give way only to two persons, each with a reason."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import AUDITOR, DUTY, OTHER_AUDITOR, OTHER_STANDARDS, PLANNER, STANDARDS, STORES, person
from record_books import AT, everything, rows_in_every_table

from inventory.errors import Doubt
from inventory.errors import Refusal as StockRefusal
from inventory.models import RESERVE, Action, Balance, Depot, Item, Level, Lot, LotHold
from inventory.services.holding import place_hold
from kitting.calculation.plan_result import Plan
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.errors import Refusal
from kitting.models import APPROVED, REFUSED, Event, LotRequest, Pin, ReserveRelease
from kitting.roles import Actor
from kitting.selectors.overrides import overrides
from kitting.selectors.sheets import sheets_from_records
from kitting.services.lot_requests import (
    ask_extension,
    ask_hold_release,
    refuse_lot_request,
    say_dated_kind,
    sign_lot_request,
)
from kitting.services.release_reserve import MORE_THAN_FLOOR, Released, ask_reserve, refuse_reserve, release_reserve

pytestmark = pytest.mark.django_db

LINE = "J1/P1-a/r1-from/ABC/elbow"
NEXT_LINE = "J1/P5-a/r4-to/ABC/elbow"
STOCK = (
    "stock code,depot,place,place kind,lot,use by,quantity\n"
    "EL-1,N,N-R-1,reserve,L-OLD,2026-03-10,2\n"  # not good for J1's cutover on 03-20
    "EL-1,N,N-R-1,reserve,L-1,2026-06-30,2\n"
    "EL-1,N,N-R-1,reserve,L-2,2027-06-30,2\n"
    "EL-1,N,A-1,bin,L-9,,0"
)


LEVELS = "stock code,depot,min,max,reserve floor\nEL-1,N,,,4"
NO_PINS = "job,line,stock code,lot,depot,quantity,reason,by"
ONE_DEPOT = "job,structure,depot"
# Six EL-1 in N's reserve, floor 4; nothing on the shelf, so that every elbow of J1 is short.
books = books_of_module(lambda: everything(stock=STOCK, levels=LEVELS, pins=NO_PINS, bag_depots=ONE_DEPOT))


def planned() -> Plan:
    return plan(read_book(sheets_from_records(AT.date())), as_of=AT.date())


def promised(line: str) -> dict[str, int]:
    frame = planned().promises
    frame = frame[(frame["line"] == line).to_numpy() & (frame["stock_code"] == "EL-1").to_numpy()]
    return {lot: int(pieces) for lot, pieces in zip(frame["lot"], frame["quantity"], strict=True)}


def asked(pieces: int = 3, actor: Actor = STORES, line: str = LINE, why: str = "bag is short") -> ReserveRelease:
    return ask_reserve(
        stock_code="EL-1", depot="N", quantity=pieces * 1000, job="J1", line=line, why=why, actor=actor, at=AT
    )


def release(request: ReserveRelease, actor: Actor = DUTY, **given: object) -> Released:
    words = {"place": "A-1", "reason": "no other source", "action": f"release {request.pk}", **given}
    return release_reserve(number=request.pk, actor=actor, at=AT, **words)  # type: ignore[arg-type]


def refused(act: object, *args: object, **kwargs: object) -> Refusal | StockRefusal:
    before = rows_in_every_table()
    with pytest.raises((Refusal, StockRefusal)) as found:
        act(*args, **kwargs)  # type: ignore[operator]
    assert {**rows_in_every_table(), "Event": 0} == {**before, "Event": 0}
    return found.value


def test_pieces_of_the_reserve_go_to_a_bin_and_the_plan_gives_them_to_the_line_they_are_for() -> None:
    """First to expire among those good for the job; the refill is on the next reorder sheet at once."""
    assert promised(LINE) == {}
    before = planned().reorder
    assert before[(before["stock_code"] == "EL-1").to_numpy()]["net"].tolist() == [6]
    done = release(asked())
    assert (done.left, done.floor) == (3000, 4000)
    assert promised(LINE) == {"L-1": 2, "L-2": 1}
    assert Balance.objects.get(place__kind=RESERVE, lot__number="L-OLD").quantity == 2000
    after = planned().reorder
    row = after[(after["stock_code"] == "EL-1").to_numpy()].iloc[0]
    assert (int(row["need"]), int(row["net"])) == (3, 4)
    (told,) = Event.objects.filter(name="reserve released")
    assert (told.by, told.data["asked_by"], told.addressed_to, told.depot) == ("J. Brandt", "M. Osei", "buyer", "N")
    assert (told.data["lots"], told.data["refill"]) == ({"L-1": "2", "L-2": "1"}, "1")


def test_the_reserve_is_asked_for_by_one_and_released_by_another_who_may() -> None:
    request = asked(actor=person("K. Ito", "storekeeper", "duty supervisor"))
    assert refused(release, request, person("K. Ito", "storekeeper", "duty supervisor")).code == "own-request"
    assert Event.objects.filter(name="own request not decided").count() == 1
    for nobody in (STORES, PLANNER, STANDARDS):
        assert refused(release, request, nobody).code == "not-allowed"
    assert refused(asked, actor=PLANNER).code == "not-allowed"
    assert refused(release, request, Actor("K. Ito", DUTY.roles, frozenset({"H"}))).code == "other-depot"
    assert refused(release, request, reason=" ").code in ("no-reason", "needs-reason")
    release(request)
    assert refused(release, request, action="again").code == "decided-already"


def test_the_same_action_sent_again_moves_nothing_twice() -> None:
    request = asked()
    release(request)
    assert release(request).left == 3000
    assert (Action.objects.filter(use_case="release reserve").count(), Pin.objects.count()) == (1, 2)


def test_more_than_lies_there_good_for_the_job_is_refused_and_says_what_does() -> None:
    told = refused(asked, 5)
    assert told.code == "not-in-reserve"
    assert told.message == "5 EL-1 asked of the reserve; 6 lie there, 4 of them good for J1."
    place_hold(stock_code="EL-1", lot="L-2", reason="recall", by="M. Osei", at=AT, action="hold 1")
    assert "2 of them good" in refused(asked, 3).message


def test_a_line_that_the_code_does_not_serve_gets_nothing_of_the_reserve() -> None:
    assert refused(asked, line="J1/P1-a/r1-from/ABC/probe").code == "not-its-code"
    assert refused(asked, line="J1/nowhere").code == "no-such-line"
    assert refused(asked, why="").code == "no-reason"


def test_more_than_the_floor_is_asked_about_with_what_is_left_and_for_how_many_nights() -> None:
    """Row N3: the floor is 1; in the last year 3 pieces left this reserve."""
    Level.objects.update(reserve_floor=1000)
    with pytest.raises(Doubt) as doubt:
        release(asked(2))
    assert "2 EL-1 are more than the floor of 1 at N: 4 are left, nothing left it within the last year" in str(
        doubt.value
    )
    first = ReserveRelease.objects.get()
    release(first, confirmed=(f"{MORE_THAN_FLOOR}/1",), action="release with yes")
    with pytest.raises(Doubt, match=r"2 are left, 365 nights of cover at the rate of the last year"):
        release(asked(2, line=NEXT_LINE))


def test_where_nobody_has_set_a_floor_it_becomes_what_lay_there() -> None:
    Level.objects.update(reserve_floor=None)
    done = release(asked())
    assert (done.floor, done.left) == (6000, 3000)
    assert Level.objects.get().reserve_floor == 6000
    assert Event.objects.get(name="reserve released").data["floor_set_now"] is True


def test_the_number_of_queries_of_a_release_does_not_grow_with_its_lots() -> None:
    counts = []
    for request in (asked(1), asked(3, line=NEXT_LINE)):
        with CaptureQueriesContext(connection) as seen:
            release(request)
        counts.append(len(seen))
    assert counts[0] == counts[1]


def test_a_request_for_the_reserve_is_refused_with_a_reason() -> None:
    request = asked()
    assert refused(refuse_reserve, number=request.pk, reason="", actor=DUTY, at=AT).code == "no-reason"
    refuse_reserve(number=request.pk, reason="tonight's crew needs them", actor=DUTY, at=AT)
    request.refresh_from_db()
    assert request.state == REFUSED
    assert refused(release, request).code == "decided-already"


@pytest.fixture
def hold() -> int:
    place_hold(stock_code="EL-1", lot="L-1", reason="cracks", by="M. Osei", at=AT, action="hold 1")
    return LotHold.objects.get().pk


def sign(request: LotRequest, actor: Actor, reason: str = "tested", action: str = "sign 1") -> LotRequest:
    return sign_lot_request(number=request.pk, reason=reason, actor=actor, at=AT, action=action)


def free(hold: int, actor: Actor, reason: str = "twelve pieces cut open, all good") -> LotRequest:
    return ask_hold_release(hold=hold, reason=reason, actor=actor, at=AT)


@pytest.mark.parametrize(
    ("first", "second"), [(STANDARDS, AUDITOR), (AUDITOR, STANDARDS), (STANDARDS, OTHER_STANDARDS)]
)
def test_a_hold_ends_by_two_signatures_of_which_one_is_of_standards(hold: int, first: Actor, second: Actor) -> None:
    request = free(hold, first)
    assert refused(sign, request, first).code == "own-request"
    assert LotHold.objects.get().released_at is None
    sign(request, second)
    assert sign(request, second).state == APPROVED
    found = LotHold.objects.get()
    assert (found.released_by, found.release_reason) == (second.name, "twelve pieces cut open, all good; tested")
    (one,) = [one for one in overrides() if one.what == "hold released"]
    assert (one.by, one.asked_by) == (second.name, first.name)


def test_two_auditors_or_a_storekeeper_let_nothing_go(hold: int) -> None:
    assert refused(free, hold, STORES).code == "not-allowed"
    request = free(hold, AUDITOR)
    assert refused(sign, request, OTHER_AUDITOR).code == "needs-standards"
    assert refused(sign, request, DUTY).code == "not-allowed"
    assert refused(free, hold, STANDARDS).code == "asked-already"
    assert refused(free, hold + 1, STANDARDS).code == "no-open-hold"
    refuse_lot_request(number=request.pk, reason="test the other half", actor=STANDARDS, at=AT)
    assert refused(sign, request, STANDARDS).code == "decided-already"
    assert LotHold.objects.get().released_at is None


def extend(
    actor: Actor = STANDARDS, *, lot: str = "L-OLD", use_by: date = date(2026, 9, 30), **given: str
) -> LotRequest:
    words = {"certificate": "QC-118", "reason": "inspected, soft and clean", **given}
    return ask_extension(stock_code="EL-1", lot=lot, use_by=use_by, actor=actor, at=AT, **words)


def say_kind(kind: str = "II", actor: Actor = STANDARDS, reason: str = "maker's letter") -> None:
    say_dated_kind(stock_code="EL-1", dated_kind=kind, reason=reason, actor=actor, at=AT)


def test_a_date_is_extended_by_certificate_and_two_persons_and_the_old_one_is_kept() -> None:
    """Row D8: the lot serves the job from then on, because it is good at the cutover."""
    say_kind()
    request = extend()
    assert Lot.objects.get(number="L-OLD").use_by == date(2026, 3, 10)
    assert refused(sign, request, STANDARDS).code == "own-request"
    sign(request, AUDITOR)
    assert Lot.objects.get(number="L-OLD").use_by == date(2026, 9, 30)
    (told,) = Event.objects.filter(name="date extended")
    assert (told.data["before"], told.data["after"]) == ("2026-03-10", "2026-09-30")
    assert (told.data["certificate"], told.data["asked_by"], told.by) == ("QC-118", "I. Varga", "C. Silva")
    release(asked())
    assert promised(LINE) == {"L-1": 2, "L-OLD": 1}


def test_only_stock_whose_date_may_move_is_extended_later_and_never_without_a_certificate() -> None:
    assert refused(extend).code == "date-is-final"
    assert refused(say_kind, "III").code == "no-such-kind"
    assert refused(say_kind, actor=STORES).code == "not-allowed"
    assert refused(say_kind, reason="").code == "no-reason"
    say_kind("I")
    assert refused(extend).code == "date-is-final"
    say_kind()
    assert refused(extend, certificate=" ").code == "no-certificate"
    assert refused(extend, reason=" ").code == "no-reason"
    assert refused(extend, use_by=date(2026, 3, 10)).code == "not-later"
    assert refused(extend, lot="L-9").code == "no-date"
    assert refused(extend, lot="").code == "unknown-lot"
    assert refused(extend, lot="L-77").code == "unknown-lot"
    assert refused(extend, STORES).code == "not-allowed"
    passed = extend(use_by=AT.date() + timedelta(days=9))
    late = {"number": passed.pk, "reason": "ok", "actor": AUDITOR, "at": AT + timedelta(days=9), "action": "sign 2"}
    assert refused(sign_lot_request, **late).code == "date-past"


def test_a_later_date_has_passed_when_its_day_has_at_the_depots_that_have_the_lot() -> None:
    """Chicago is five hours behind UTC in March."""
    Depot.objects.filter(depot="N").update(time_zone="America/Chicago")
    say_kind()
    request = extend(use_by=date(2026, 3, 20))
    late = {"number": request.pk, "reason": "ok", "actor": AUDITOR, "action": "sign 2"}
    assert refused(sign_lot_request, **late, at=datetime(2026, 3, 20, 5, 30, tzinfo=UTC)).code == "date-past"
    sign_lot_request(**late, at=datetime(2026, 3, 20, 4, 30, tzinfo=UTC))
    assert Lot.objects.get(number="L-OLD").use_by == date(2026, 3, 20)


def test_saying_the_kind_of_dated_stock_changes_no_sheet() -> None:
    before = sheets_from_records(AT.date()).digest
    say_kind()
    assert sheets_from_records(AT.date()).digest == before
    assert Item.objects.get(stock_code="EL-1").dated_kind == "II"
