"""What people have to hear reaches them by role and depot, leads to where something is done, and is seen once."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import ADMINISTRATOR, OTHER_STORES, browser_of, people, send, words
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import AUDITOR, BUYER, CREW, DUTY, PLANNER, STANDARDS, STORES, person

from inventory.models import Balance
from jobs.models import Job
from kitting import roles
from kitting.models import Event
from kitting.roles import DUTY_SUPERVISOR, Actor
from kitting.selectors.notice_kinds import kind_of
from kitting.selectors.notices import notices, told_since
from kitting.services.end_jobs import cancel_job
from kitting.services.recall_lots import recall_lot
from kitting.services.record_events import Happening, record_events
from kitting.services.release_promises import release_moved
from kitting.services.see_notices import see_notices

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)


def recalled() -> Stores:
    """A lot is recalled at the counter."""
    stores = Stores()
    recall_lot(stock_code="BI25", lot="L-2409-17", reason="maker's recall", **stores.scan(DUTY))
    return stores


def test_a_recall_is_told_to_every_role_that_acts_on_it_leads_to_the_lot_and_says_who_has_seen_it() -> None:
    people()
    recalled()
    for actor in (PLANNER, STORES, BUYER, STANDARDS, AUDITOR):
        assert "1 notice that changes today's work" in words(browser_of(actor).get("/"))
    planner = browser_of(PLANNER)
    page = planner.get("/notices")
    assert 'href="/lots/BI25/L-2409-17"' in page.content.decode()
    assert "NEW, NOW" in words(page)
    assert "BI25 lot L-2409-17" in words(browser_of(BUYER).get("/notices"))
    assert 'href="/lots/' not in browser_of(BUYER).get("/notices").content.decode()  # who may not see traces
    latest = page.content.decode().split('name="up_to" value="')[1].split('"')[0]

    send(planner, "/notices", up_to=latest)
    send(planner, "/notices", up_to=latest)

    assert "NEW" not in words(planner.get("/notices"))
    assert "today's work" not in words(planner.get("/"))
    assert Event.objects.filter(name="notices seen").count() == 1
    trace = words(browser_of(AUDITOR).get("/lots/BI25/L-2409-17"))
    assert f"seen – 2026-03-02 {Event.objects.get(name='notices seen').at:%H}"[:16] in trace
    assert PLANNER.name in trace


def test_stores_hear_of_their_depots_and_nobody_of_what_they_did_themselves() -> None:
    people(STORES, PLANNER, depots={STORES.name: ["M"]})
    stores = Stores()
    job = cancel_job(job="J11", why="feeder sold", by=PLANNER.name, at=stores.at)
    assert job > 0
    told = [one.event.depot for one in notices(STORES, stores.at)]
    own = [one.event.depot for one in notices(replace(STORES, depots=frozenset({"M"})), stores.at)]
    assert told
    assert not {"N", "H"} & set(own)
    assert not [one for one in notices(PLANNER, stores.at) if one.event.name == "job cancelled"]


def test_a_notice_of_a_bag_leads_to_its_page() -> None:
    people(STORES)
    stores = Stores()
    stores.bags("J03")
    cancel_job(job="J03", why="feeder sold", by=PLANNER.name, at=stores.at)
    client = browser_of(STORES)

    address = client.get("/notices").content.decode().split('href="/bags/')[1].split('"')[0]

    assert "J03" in words(client.get(f"/bags/{address}"))


def test_notices_take_three_queries_however_many_there_are() -> None:
    stores = Stores()
    counts = []
    for number in (1, 40):
        happenings = [Happening("job moved", f"J{one}", {}, addressed_to="planner") for one in range(number)]
        record_events(happenings, by="somebody", at=stores.at)
        with CaptureQueriesContext(connection) as queries:
            assert len(notices(PLANNER, stores.at)) >= number
        counts.append(len(queries))
    assert counts == [3, 3]


def test_an_urgent_notice_that_stores_do_not_see_in_ten_minutes_climbs_to_duty_of_the_depot_and_then_to_all() -> None:
    near, away = person("J. Near", roles.DUTY_SUPERVISOR), person("J. Away", roles.DUTY_SUPERVISOR)
    near, away = replace(near, depots=frozenset({"N"})), replace(away, depots=frozenset({"M"}))
    people(STORES, OTHER_STORES, near, away, depots={near.name: ["N"], away.name: ["M"], OTHER_STORES.name: ["M"]})
    stores = Stores()
    told = [Happening(name, "E1", {}, "storekeeper", "N") for name in ("emergency opened", "order re-dated")]
    record_events(told, by=CREW.name, at=stores.at)

    def climbed(actor: Actor, minutes: int) -> list[tuple[str, str, bool]]:
        found = notices(actor, stores.at + timedelta(minutes=minutes))
        return [(one.event.name, one.not_seen, one.is_new) for one in found if one.not_seen]

    missed = "NOT SEEN by storekeeper of N for"
    assert climbed(near, 9) == climbed(away, 19) == climbed(STORES, 40) == []
    assert climbed(near, 12) == [("emergency opened", f"{missed} 12 min", True)]
    assert climbed(away, 125) == [("emergency opened", "NOT SEEN by storekeeper or duty supervisor of N for 2 h", True)]
    latest = Event.objects.latest("number").number
    see_notices(up_to=latest, scan={"actor": OTHER_STORES, "at": stores.at, "action": "s-1"})  # of another depot
    assert climbed(near, 12)
    see_notices(up_to=latest, scan={"actor": near, "at": stores.at, "action": "s-2"})  # before it climbed
    assert climbed(near, 12)[0][2]
    for moment in (15, 16):
        see_notices(up_to=latest, scan={"actor": near, "at": minute(stores, moment), "action": f"s-{moment}"})
    assert Event.objects.filter(name="notices seen", by=near.name).count() == 2
    late = "not seen by storekeeper of N in time; seen after 15 min"
    assert climbed(near, 30) == [("emergency opened", late, False)]
    assert climbed(away, 30) == []


def test_nothing_climbs_that_somebody_saw_or_acted_on_or_that_no_running_outage_waits_for() -> None:
    people(STORES, DUTY, PLANNER)
    stores = Stores()
    asks = (("stand-in asked", "request 1", {"outage_running": False}), ("reserve asked", "request 2", {}))
    asked = [Happening(name, of, data, "storekeeper", "N") for name, of, data in asks]
    seen = [Happening("borrow asked", "request 3", {}, "planner"), *asked]
    record_events(seen, by=CREW.name, at=stores.at)
    record_events([Happening("reserve refused", "request 2", {})], by=STORES.name, at=minute(stores, 9))
    see_notices(up_to=10_000, scan={"actor": PLANNER, "at": minute(stores, 9), "action": "p-1"})

    assert [one for one in notices(DUTY, minute(stores, 60)) if one.not_seen] == []
    assert [one.kind.is_urgent for one in notices(STORES, stores.at)[:2]] == [True, False]


def test_what_is_told_to_a_role_that_nobody_has_comes_to_duty_or_an_administrator_at_once() -> None:
    people(ADMINISTRATOR)
    stores = Stores()
    record_events([Happening("reserve asked", "request 1", {}, DUTY_SUPERVISOR)], by=STORES.name, at=stores.at)

    (alone,) = notices(ADMINISTRATOR, stores.at)
    people(DUTY)

    assert (alone.not_seen, alone.is_new) == ("nobody is duty supervisor", True)
    assert notices(ADMINISTRATOR, stores.at) == []
    page = words(browser_of(DUTY).get("/notices"))
    assert "NEW, NOW" in page
    assert "NOT SEEN" not in page


def test_what_climbed_is_said_on_the_first_page_and_takes_as_many_queries_however_much_it_is() -> None:
    people(STORES, DUTY)
    stores, counts = Stores(), []
    for number in (1, 20):
        told = [Happening("reserve asked", f"request {one}", {}, "storekeeper") for one in range(number)]
        record_events(told, by=CREW.name, at=stores.at)
        with CaptureQueriesContext(connection) as queries:
            assert len([one for one in notices(DUTY, minute(stores, 11)) if one.not_seen]) >= number
        counts.append(len(queries))
    assert counts == [7, 7]
    record_events([Happening("looked at", "the books")], by=CREW.name, at=minute(stores, 11))
    browser = browser_of(DUTY)
    assert "reserve asked NOT SEEN by storekeeper for" in words(browser.get("/"))
    assert "NEW, NOW; NOT SEEN by storekeeper for" in words(browser.get("/notices"))


def test_the_digest_says_by_role_and_depot_what_was_told_and_is_not_written_where_nothing_was(tmp_path: Path) -> None:
    def said(*asked: str) -> str:
        out = StringIO()
        call_command("notices", *asked, stdout=out)
        return out.getvalue()

    stores = Stores()
    record_events([Happening("looked at", "the books")], by=PLANNER.name, at=minute(stores, 2 * 24 * 60))
    assert "Nothing was told" in said("--out", str(tmp_path / "empty.csv"))
    assert not (tmp_path / "empty.csv").exists()
    names = (("bag listed", "N"), ("bag short", "N"), ("job moved", "M"), ("rules published", ""))
    told = [Happening(name, f"of {name}", {"why": "a reason"}, "storekeeper", depot) for name, depot in names]
    record_events(told, by=PLANNER.name, at=minute(stores, 3 * 24 * 60))
    table = tmp_path / "day.csv"

    text = said("--depot", "N")
    said("--out", str(table))

    assert text.index("STOREKEEPER, all depots: 1") < text.index("STOREKEEPER, N: 2")
    assert text.index("bag short: of bag short") < text.index("bag listed: of bag listed")
    assert "see what is missing and why" in text
    assert "job moved" not in text
    assert PLANNER.name not in text
    rows = [row.split(",")[:3] for row in table.read_text(encoding="utf-8-sig").splitlines()]
    assert rows[1:6] == [
        ["buyer", "M", "digest"], ["planner", "M", "now"], ["storekeeper", "all depots", "digest"],
        ["storekeeper", "M", "now"], ["storekeeper", "N", "now"],
    ]  # fmt: skip
    with pytest.raises(SystemExit):
        said("--out", str(table))


def minute(stores: Stores, minutes: int) -> datetime:
    """So many minutes after the morning of these stores."""
    return stores.at + timedelta(minutes=minutes)


def test_the_record_is_searched_and_shows_names_only_to_who_may_see_them() -> None:
    people(PLANNER, AUDITOR, BUYER)
    recalled()

    found, other = (words(browser_of(AUDITOR).get("/record", {"what": text})) for text in ("recalled", "job moved"))
    hidden = words(browser_of(PLANNER).get("/record", {"what": "recalled", "who": DUTY.name}))

    assert DUTY.name in found
    assert "Nothing of this kind is on the record" in other
    assert "lot recalled" in hidden
    assert DUTY.name not in hidden
    assert "device without a name" in found
    file = (
        browser_of(PLANNER)
        .post("/record/file.csv", {"what": "recalled", "action": "file-1"})
        .content.decode("utf-8-sig")
    )
    assert "digest before" in file
    assert DUTY.name not in file
    assert Event.objects.filter(name="printed", subject="record as csv what: recalled").count() == 1
    assert browser_of(BUYER).get("/record").status_code == 403


def test_a_job_that_an_applied_plan_finds_less_ready_is_told_to_who_acts_on_it() -> None:
    stores = Stores()
    stores.plan()
    assert not Event.objects.filter(name="job less ready").exists()
    Balance.objects.filter(lot__item__stock_code="EL15-3", place__kind="bin").update(quantity=0)

    stores.plan()

    told = Event.objects.filter(name="job less ready", subject="J03")
    assert {one.addressed_to for one in told} == {"planner", "buyer"}
    assert ("J03", "ready", "short") in {(one.subject, one.data["before"], one.data["after"]) for one in told}
    assert {one.kind.is_urgent for one in notices(BUYER, stores.at) if one.event.subject == "J03"} == {False}


def test_a_job_that_turns_short_three_working_days_before_its_outage_is_told_at_once_and_to_stores_too() -> None:
    stores = Stores()
    job = Job.objects.get(job="J03")
    for cutover, roles_told, is_urgent in (
        ("2026-03-06", {"planner", "buyer"}, False),  # Monday the 2nd: the fourth working day
        ("2026-03-05", {"planner", "buyer", "storekeeper"}, True),
    ):
        Job.objects.filter(pk=job.pk).update(cutover=f"{cutover} 06:00", cutover_end=f"{cutover} 14:00")
        shelf = Balance.objects.filter(lot__item__stock_code="EL15-3", place__kind="bin")
        kept = {one.pk: one.quantity for one in shelf}
        stores.plan()
        before = Event.objects.latest("number").number
        shelf.update(quantity=0)

        stores.plan()

        told = Event.objects.filter(name="job less ready", subject="J03", number__gt=before)
        assert {one.addressed_to for one in told} == roles_told
        assert {kind_of(one).is_urgent for one in told} == {is_urgent}
        for number, quantity in kept.items():
            Balance.objects.filter(pk=number).update(quantity=quantity)


def test_an_outage_that_moves_is_told_to_the_crew_only_where_it_has_a_bag_of_it() -> None:
    stores = Stores()
    stores.bags("J03")
    moved = {"J03": {"cutover": ("2026-03-12 06:00", "2026-03-13 06:00")}}
    assert [one.addressed_to for one in release_moved(moved, at=stores.at)] == ["storekeeper"]
    stores.ready("J03", "B1")
    stores.issue("J03", "B1")
    assert [one.addressed_to for one in release_moved(moved, at=stores.at)] == ["storekeeper", "crew lead"]


HEARD = (  # what, addressed to, who hears at once, who with the rest of the day
    ("job moved", "storekeeper", (STORES, PLANNER), (BUYER,)),
    ("bag broken", "planner", (PLANNER, DUTY), (BUYER, AUDITOR, STANDARDS)),
    ("order re-dated", "planner", (PLANNER, BUYER), ()),
    ("delivery promised", "storekeeper", (STORES, PLANNER, BUYER), ()),
    ("bag issued short", "", (), (PLANNER, STANDARDS, AUDITOR)),
    ("pinned", "", (), (PLANNER, STANDARDS, AUDITOR)),
    ("short issue approved", "storekeeper", (STORES,), (PLANNER, STANDARDS, AUDITOR)),
    ("bag closed with exception", "auditor", (), (PLANNER, STANDARDS, AUDITOR)),
    ("bag checked", "", (), ()),
)


@pytest.mark.parametrize(("what", "role", "now", "later"), HEARD, ids=[one[0] for one in HEARD])
def test_who_hears_of_an_event_at_once_or_with_the_day_whomever_it_is_addressed_to(
    what: str, role: str, now: tuple[Actor, ...], later: tuple[Actor, ...]
) -> None:
    at = minute(Stores(), 7 * 24 * 60)
    record_events([Happening(what, "J03 V1", {"reason": "a reason"}, role, "N")], by=CREW.name, at=at)

    heard = {
        one.name: [found.kind.is_urgent for found in notices(one, at) if found.event.name == what]
        for one in (STORES, PLANNER, BUYER, STANDARDS, AUDITOR, DUTY)
    }
    told = {one.role: one.kind.is_urgent for one in told_since(at - timedelta(minutes=1), at)}

    expected = {**{one.name: [True] for one in now}, **{one.name: [False] for one in later}}
    assert {name: found for name, found in heard.items() if found} == expected
    for one in now + later:
        (found,) = (found for found in notices(one, at) if found.event.name == what)
        others = role and role not in one.roles and found.kind.page != "exceptions"
        assert found.kind.do.startswith(f"{role} was told to act: ") == bool(others)
    by_role = {name: is_urgent for one in (*now, *later) for name in one.roles for is_urgent in expected[one.name]}
    assert told == by_role


def test_standards_hear_of_jobs_nobody_can_decide_ten_days_before_their_outage() -> None:
    people(STANDARDS)
    stores = Stores()
    stores.plan()
    assert "nobody can decide" not in words(browser_of(STANDARDS).get("/"))
    Job.objects.filter(job="J10").update(cutover="2026-03-11 06:00", cutover_end="2026-03-11 14:00")

    assert "1 job nobody can decide, cut over within 10 days J10" in words(browser_of(STANDARDS).get("/"))


def test_a_device_that_an_administrator_has_named_stands_on_the_record_with_how_wrong_its_clock_is() -> None:
    """Trap T55: a clock that is 40 minutes slow is flagged on what is done with that device."""
    people(ADMINISTRATOR, AUDITOR)
    shared = browser_of(ADMINISTRATOR)
    assert "no name" in words(shared.get("/device"))
    assert "a name of its own" in words(send(shared, "/device", name="Command Line"))
    assert "NAMED" in words(send(shared, "/device", name="counter 1"))
    slow = datetime.now(UTC) - timedelta(minutes=40, seconds=5)

    send(shared, "/device", name="counter 2", device_at=slow.isoformat())

    event = Event.objects.order_by("-number")[0]
    assert (event.subject, event.device, event.clock_behind_s // 60) == ("counter 2", "counter 1", 40)
    auditor = browser_of(AUDITOR)
    seen = words(auditor.get("/record", {"what": "device named"}))
    assert "CLOCK 40 MIN SLOW" in seen
    one = words(auditor.get(f"/record/{event.number}"))
    assert "Device counter 1" in one
    assert "Zone of the day America/Chicago" in one
    assert auditor.get("/record/999999").status_code == 404
    assert send(browser_of(AUDITOR), "/device", name="mine").status_code == 403


def test_a_notice_that_is_settled_says_by_whom_and_when_and_one_of_another_thing_or_line_does_not() -> None:
    people(PLANNER, STANDARDS, STORES, AUDITOR)
    at = Stores().at
    later = at + timedelta(minutes=9)

    def told(name: str, subject: str, when: datetime, to: str = "", **data: object) -> None:
        record_events([Happening(name, subject, data, addressed_to=to)], by=DUTY.name, at=when)

    told("stand-in refused", "request 8: a for b", at)  # before it was asked
    for number in (7, 8):
        told("stand-in asked", f"request {number}: a for b", at, roles.STANDARDS_ENGINEER)
    told("stand-in refused", "request 7: a for b", later)
    told("found short", "N/N-01-1 X", at, roles.PLANNER)
    for line in (1, 2):
        told("count difference above limit", f"count 1 line {line}: N/bin", at, roles.AUDITOR, line=line)
    told("count explained", "count 1 line 2: N/bin", later, line=2)

    asked = {one.event.subject: one.settled for one in notices(STANDARDS, later) if one.event.name == "stand-in asked"}
    assert asked["request 8: a for b"] is None
    assert asked["request 7: a for b"].name == "stand-in refused"
    differ = {one.event.data["line"]: one.settled for one in notices(AUDITOR, later) if "line" in one.event.data}
    assert (differ[1], differ[2].name) == (None, "count explained")
    page = words(browser_of(STANDARDS).get("/notices"))
    assert page.count("solved by") == 1
    assert f"solved by {DUTY.name} at 2026-03-02 07:09 CST: stand-in refused" in page
    assert "1 notice that changes today's work" in words(browser_of(STANDARDS).get("/"))
    assert "plan again" in words(browser_of(PLANNER).get("/notices"))
    told("plan applied", "plan 9 as of 2026-03-02", later)
    assert f"solved by {DUTY.name} at 2026-03-02 07:09 CST: plan applied" in words(browser_of(PLANNER).get("/notices"))
    out = StringIO()
    call_command("notices", role=roles.STANDARDS_ENGINEER, hours=10_000_000, stdout=out)
    assert f"solved by {DUTY.name} at 2026-03-02 07:09 CST: stand-in refused" in out.getvalue()


def test_a_recall_is_settled_once_its_hold_is_released_and_a_transfer_that_was_asked_once_it_is_answered() -> None:
    people(PLANNER, STORES)
    stores = recalled()
    assert [one.settled for one in notices(PLANNER, stores.at) if one.event.name == "lot recalled"] == [None]
    hold = int(Event.objects.filter(name="lot recalled")[0].subject.split()[1])
    told = Happening("hold released", "lot request 1: release hold BI25 lot L-2409-17", {"hold": hold})
    (released,) = record_events([told], by=DUTY.name, at=stores.at)
    asked = Happening("transfer asked", "EL15-1", {}, addressed_to=roles.STOREKEEPER)
    (event,) = record_events([asked], by=PLANNER.name, at=stores.at)
    answered = Happening("transfer ask answered", f"transfer ask {event.number}", {})
    (answer,) = record_events([answered], by=DUTY.name, at=stores.at)

    assert [one.settled for one in notices(PLANNER, stores.at) if one.event.name == "lot recalled"] == [released]
    assert [one.settled for one in notices(STORES, stores.at) if one.event.name == "transfer asked"] == [answer]
