"""Pins with reasons, the list of everything overridden, and the two traps of approvals on the demo."""

import io
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import IntegrityError, transaction
from people import CREW, DUTY, PLANNER, STANDARDS, STORES
from record_books import AT, EVERYTHING, POSITIONS, everything, load, rows_in_every_table

from inventory.errors import Doubt
from inventory.models import Balance, Depot, Item, Place
from inventory.services.moving import Carry, move
from jobs.models import Job
from kitting.calculation.plan_result import Plan
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.errors import Refusal
from kitting.models import (
    EXTEND_DATE,
    Asked,
    Event,
    LotRequest,
    Pin,
    ReserveRelease,
    RuleDraft,
    StandIn,
    StandInRequest,
)
from kitting.roles import Actor
from kitting.selectors.overrides import Override, overrides
from kitting.selectors.sheets import sheets_from_records
from kitting.services import pin_pieces as pin_service
from kitting.services.pin_pieces import MAKES_SHORT, pin_pieces, unpin
from kitting.services.record_events import Happening, record_events
from kitting.services.release_reserve import ask_reserve, release_reserve
from kitting.services.stand_in_requests import Limits, approve_stand_in, ask_stand_in, compare_request

pytestmark = pytest.mark.django_db

CLEAN = Path(__file__).resolve().parents[3] / "fixtures_demo" / "clean"
NO_STAND_INS = "wanted,allowed,approved by"
MONDAY = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)


@pytest.fixture
def demo() -> None:
    call_command("load", str(CLEAN), "--by", "R. Tolley", stdout=io.StringIO())


def planned(day: date = date(2026, 3, 2)) -> Plan:
    return plan(read_book(sheets_from_records(day)), as_of=day)


def answer(made: Plan, job: str) -> str:
    return next(one.answer for one in made.jobs if one.job == job)


def short(made: Plan, job: str, code: str) -> int:
    frame = made.shortages
    return int(sum(frame[(frame["job"] == job).to_numpy() & (frame["stock_code"] == code).to_numpy()]["short"]))


@pytest.mark.usefixtures("demo")
def test_a_35_kv_elbow_is_never_approved_for_a_25_kv_bushing_however_well_it_fits_the_cable() -> None:
    """Trap T17: on 03-19 EL25-2 is not here yet; EL35S-1 holds the cable, and does not mate."""
    at = datetime(2026, 3, 19, 15, 0, tzinfo=UTC)
    line = "J09/HL1-a/r1-from/ABC/elbow"
    request = ask_stand_in(
        wanted="EL25-2", stand_in="EL35S-1", line=line, why="higher class is fine", actor=CREW, at=at
    )
    found = {fact.check: fact for fact in compare_request(number=request.pk, actor=STANDARDS, at=at).facts}
    assert (found["interface"].wanted, found["interface"].stand_in) == ("200 A 25 kV", "200 A 35 kV small")
    assert found["insulation diameter"].verdict == "worse"  # a narrower range that holds this cable
    limits = Limits(valid_to=date(2026, 4, 30))
    with pytest.raises(Refusal, match="does not mate with 200 A 25 kV") as refused:
        approve_stand_in(number=request.pk, limits=limits, reason="urgent", actor=STANDARDS, at=at)
    assert refused.value.code == "hard-check-fails"
    assert not StandIn.objects.exists()
    made = planned(at.date())
    told = made.requirements.set_index("line").loc[line]
    assert (told["stock_code"], told["answer"]) == ("EL25-2", "short")  # PO-1 was promised for the day before


@pytest.mark.usefixtures("demo")
def test_the_one_insert_in_reserve_completes_the_job_and_is_refilled() -> None:
    """Trap T42: J08 lacks one BI35L, 98 days to buy; N's reserve holds one, and no floor is set."""
    before = planned()
    assert short(before, "J08", "BI35L") == 1
    row = before.shortages[(before.shortages["stock_code"] == "BI35L").to_numpy()].iloc[0]
    assert (row["too_late"], "from reserve at N" in row["cure"]) == ("yes", True), row["cure"]
    request = ask_reserve(
        stock_code="BI35L",
        depot="N",
        quantity=1000,
        job="J08",
        line=str(row["line"]),
        why="98 days to buy",
        actor=STORES,
        at=MONDAY,
    )
    Place.objects.create(depot=Depot.objects.get(depot="N"), code="N-02-9")
    release_reserve(
        number=request.pk, place="N-02-9", reason="J08 can't be moved", actor=DUTY, at=MONDAY, action="release 1"
    )
    after = planned()
    assert short(after, "J08", "BI35L") == 0
    assert (answer(before, "J08"), answer(after, "J08")) == ("short", "ready if")
    lines = after.promises[(after.promises["stock_code"] == "BI35L").to_numpy()]
    assert set(zip(lines["job"], lines["depot"], lines["place"], strict=True)) == {
        ("J08", "M", "M-02-4"),
        ("J08", "N", "N-02-9"),
    }
    refill = after.reorder[(after.reorder["stock_code"] == "BI35L").to_numpy()]
    assert [(one.depot, int(one.need), int(one.net)) for one in refill.itertuples()] == [("N", 0, 1)]


def pinned(line: str, code: str, *, actor: Actor = PLANNER, reason: str = "promised by phone", **given: Any) -> Pin:
    return pin_pieces(
        job=line.partition("/")[0],
        line=line,
        stock_code=code,
        quantity=3000,
        reason=reason,
        actor=actor,
        at=MONDAY,
        **given,
    )


def refused(act: object, *args: object, **kwargs: object) -> str:
    before = rows_in_every_table()
    with pytest.raises(Refusal) as found:
        act(*args, **kwargs)  # type: ignore[operator]
    assert rows_in_every_table() == before
    return found.value.code


def test_a_pin_that_makes_an_earlier_job_short_says_which_and_asks() -> None:
    """Row E6: six EL-1 are there, J1 is staged first and needs six; three for J2 leave J1 three short."""
    more = "P6,a,integral 200 A,200 A 15 kV,ABC,,in use\nP7,a,integral 200 A,200 A 15 kV,ABC,,in use"
    stock = "stock code,depot,place,place kind,lot,use by,quantity\nEL-1,N,A-1,bin,L-1,,6"
    schedule = f"{EVERYTHING['schedule']}\nJ2,1,S12,ABC,CT-A,P6,a,P7,a"
    load(everything(positions=f"{POSITIONS}\n{more}", schedule=schedule, stock=stock, stand_ins=NO_STAND_INS))
    line = "J2/P6-a/r1-from/ABC/elbow"
    with pytest.raises(Doubt, match=r"That takes pieces from J1/P5-a/r4-to/ABC/elbow \(3 short\)"):
        pinned(line, "EL-1")
    assert Pin.objects.count() == 1
    made = pinned(line, "EL-1", confirmed=(f"{MAKES_SHORT}/1",))
    after = planned()
    assert (short(after, "J1", "EL-1"), short(after, "J2", "EL-1")) == (3, 3)
    (told,) = Event.objects.filter(name="pinned")
    assert (told.by, told.subject, told.data["reason"]) == ("R. Tolley", line, "promised by phone")
    assert told.data["makes_short"] == ["J1/P5-a/r4-to/ABC/elbow"]
    assert refused(unpin, number=made.pk, reason=" ", actor=PLANNER, at=MONDAY) == "no-reason"
    unpin(number=made.pk, reason="the phone was wrong", actor=PLANNER, at=MONDAY)
    assert short(planned(), "J1", "EL-1") == 0


def test_a_pin_without_a_reason_a_right_or_pieces_that_serve_is_refused() -> None:
    """Row E10: a near miss is not picked by a pin."""
    load(everything())
    line = "J1/P5-a/r4-to/ABC/elbow"
    assert refused(pinned, line, "EL-1", reason="") == "no-reason"
    assert refused(pinned, line, "EL-1", actor=STORES) == "not-allowed"
    assert refused(pinned, "J9/nowhere", "EL-1") == "unknown-job"
    assert refused(pinned, "J1/nowhere", "EL-1") == "pin-holds-nothing"
    assert refused(pinned, line, "EL-2") == "pin-holds-nothing"
    assert refused(pinned, line, "EL-1", lot="L-none") == "pin-holds-nothing"
    assert pinned(line, "EL-1", lot="L-1", depot="N").quantity == 3000


def test_of_two_who_pin_the_last_pieces_one_has_them_and_the_other_is_told_who(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second one looks while the first one pins, and so looks again."""
    more = "P6,a,integral 200 A,200 A 15 kV,ABC,,in use\nP7,a,integral 200 A,200 A 15 kV,ABC,,in use"
    stock = "stock code,depot,place,place kind,lot,use by,quantity\nEL-1,N,A-1,bin,L-1,,3"
    schedule = f"{EVERYTHING['schedule']}\nJ2,1,S12,ABC,CT-A,P6,a,P7,a"
    pins = "job,line,stock code,lot,depot,quantity,reason,by"
    places = f"{POSITIONS}\n{more}"
    load(everything(positions=places, schedule=schedule, stock=stock, stand_ins=NO_STAND_INS, pins=pins))
    asks = {"confirmed": (f"{MAKES_SHORT}/1",)}
    store, first = pin_service._stored, list[Pin]()

    def meanwhile(*given: Any) -> Pin:
        if not first:
            monkeypatch.setattr(pin_service, "_stored", store)
            first.append(pinned("J1/P5-a/r4-to/ABC/elbow", "EL-1", **asks))
        return store(*given)

    monkeypatch.setattr(pin_service, "_stored", meanwhile)
    told = "can't be held: no more of it is free; 3 pinned to J1/P5-a/r4-to/ABC/elbow by R. Tolley"
    with pytest.raises(Refusal, match=told):
        pinned("J2/P6-a/r1-from/ABC/elbow", "EL-1", **asks)
    assert [*Pin.objects.all()] == first


def listed() -> list[tuple[str, str, str, str]]:
    return [(one.what, one.by, one.asked_by, one.reason) for one in overrides()]


def test_everything_overridden_is_listed_with_names_reason_and_moment(django_assert_num_queries: object) -> None:
    """Row R4: what a sheet brought, what was approved, and what was carried out of the reserve by hand."""
    load(everything())
    assert listed() == [
        ("pin", "R. Tolley", "R. Tolley", "ok"),
        ("stand-in", "R. Tolley", "M. Osei", "none given on the sheet"),
    ]
    reserve = Balance.objects.select_related("lot__item", "place__depot").get(place__kind="reserve")
    shelf = Place.objects.create(depot=reserve.place.depot, code="B-9")
    carry = Carry(lot=reserve.lot, quantity=1000, source=reserve.place, target=shelf)
    move(carries=[carry], why="vault 3 flooded", by="J. Brandt", at=AT + timedelta(hours=1), action="move 1")
    with django_assert_num_queries(6):  # type: ignore[operator]
        found = overrides(since=AT + timedelta(minutes=1))
    assert found == [
        Override(AT + timedelta(hours=1), "reserve opened", "W of H/B-1", "J. Brandt", "", "vault 3 flooded", "H")
    ]
    assert len(overrides(until=AT)) == 2
    out = io.StringIO()
    call_command("overrides", stdout=out)
    assert out.getvalue().splitlines()[-1].split()[-3:] == ["vault", "3", "flooded"]


def test_nothing_is_overridden_without_a_reason() -> None:
    with pytest.raises(Refusal, match=r"pin J1/line\): say why"):
        record_events([Happening("pinned", "J1/line", {"reason": " "})], by="R. Tolley", at=AT)
    assert not Event.objects.exists()
    out = io.StringIO()
    call_command("overrides", stdout=out)
    assert out.getvalue() == "Nothing was overridden.\n"


@pytest.mark.parametrize("model", [StandInRequest, ReserveRelease, LotRequest, RuleDraft])
def test_the_database_itself_lets_nobody_decide_what_they_asked(model: type[Asked]) -> None:
    """Row R2: whatever a program forgets; a request without a reason or a decision without one is refused too."""
    load(everything())
    item, other = Item.objects.filter(stock_code__in=("EL-1", "EL-2")).order_by("stock_code")
    rest = {
        StandInRequest: {"wanted": item, "stand_in": other},
        ReserveRelease: {
            "item": item,
            "depot": Depot.objects.get(depot="N"),
            "job": Job.objects.get(job="J1"),
            "line": "J1/x",
            "quantity": 1000,
        },
        LotRequest: {"what": EXTEND_DATE, "item": item, "lot_number": "L-1", "use_by": MONDAY, "certificate": "QC-1"},
        RuleDraft: {"tables": {}, "based_on": {}},
    }[model]
    sound = {"asked_by": "I. Varga", "asked_at": AT, "why": "out", "decided_at": AT, "decision": "seen", **rest}
    for wrong in ({"decided_by": "I. Varga"}, {"decided_by": ""}, {"why": ""}, {"decision": ""}):
        with pytest.raises(IntegrityError), transaction.atomic():
            model._default_manager.create(**{**sound, "decided_by": "D. Moreau", **wrong})
    model._default_manager.create(**{**sound, "decided_by": "D. Moreau"})
