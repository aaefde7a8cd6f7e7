"""A date is confirmed, the outage begins with the work, the line goes back in service, and what is out is due back."""

from datetime import date, timedelta

import pytest
from bag_stores import CREW, MORNING, Stores, demo_sheets, planned
from module_books import books_of_module
from people import DUTY, PLANNER, STORES
from refusals import refusal

from inventory.selectors.finding import items_by_code
from jobs.models import Job
from kitting.documents.from_records import lot_trace_of
from kitting.documents.lot_trace import INSTALLED
from kitting.models import Event, JobStep
from kitting.selectors.job_states import standing_of
from kitting.selectors.returns_due import returns_due
from kitting.services.change_facts import change_facts
from kitting.services.end_jobs import cancel_job
from kitting.services.freeze_outages import freeze_outages
from kitting.services.issue_bags import begin_work
from kitting.services.job_steps import confirm_job, energise_job, take_confirmation_back, take_energised_back
from kitting.services.return_bags import Installed, close, install, turn_in

pytestmark = pytest.mark.django_db


def out_with_the_crew() -> None:
    planned()
    Stores(prefix="before").out("J01", "A1")


books = books_of_module(demo_sheets, out_with_the_crew)


@pytest.fixture
def stores() -> Stores:
    return Stores(MORNING + timedelta(hours=2))


def state(job: str = "J01") -> str:
    return standing_of(Job.objects.get(job=job)).state


def moved(job: str, cutover: str) -> object:
    """Give a job another time."""
    return {
        "sheet": "jobs", "key": (job,), "version": Job.objects.get(job=job).version,
        "changes": {"cutover": cutover}, "by": PLANNER.name, "at": Stores().at, "reason": "traffic asked",
    }  # fmt: skip


def by(stores: Stores, actor: object = PLANNER) -> dict[str, object]:
    return {"actor": actor, "at": stores.scan()["at"]}


def fitted(stores: Stores) -> tuple[str, str]:
    """Three elbows on the pad; their stock code and lot."""
    contents = stores.contents("J01", "A1")
    stand, lot = next(
        (stand, contents.lots[lot])
        for stand in contents.lines
        for lot in stand.inside
        if stand.line.facts.get("position") and str(stand.line.item) == "EL15-2" and contents.lots[lot].number
    )
    piece = Installed(line=stand.line.line, stock_code="EL15-2", lot=lot.number, quantity=1000, phase="A")
    install(bag=stores.code("J01", "A1"), pieces=[piece], **stores.scan(CREW))
    return "EL15-2", lot.number


def test_the_planner_confirms_a_ready_date_and_any_other_only_with_a_reason(stores: Stores) -> None:
    assert "may not do this" in refusal("not-allowed", confirm_job, job="J05", **by(stores, STORES))
    short = refusal("job-not-ready", confirm_job, job="J08", **by(stores))
    assert "J08: it is short J08/G3-a" in short
    assert "say why its date holds all the same" in short

    assert confirm_job(job="J08", why="the insert is promised by phone", **by(stores)) == "confirmed"
    assert "that is done at planned" in refusal("not-in-this-state", confirm_job, job="J08", **by(stores))
    event = Event.objects.get(name="job confirmed")
    assert (event.subject, event.by, event.data["why"]) == ("J08", PLANNER.name, "the insert is promised by phone")
    assert event.data["answer"].startswith("it is short")

    refusal("job-not-ready", take_confirmation_back, job="J08", why=" ", **by(stores))
    assert take_confirmation_back(job="J08", why="the supplier rang", **by(stores)) == "planned"
    confirm_job(job="J08", why="the insert is here", **by(stores))
    assert [one.over for one in JobStep.objects.filter(job__job="J08").order_by("pk")] == [True, False]


def test_a_job_without_a_date_and_an_emergency_are_not_confirmed(stores: Stores) -> None:
    Job.objects.create(job="X1", depot="N")
    assert "give it one first" in refusal("job-not-ready", confirm_job, job="X1", why="soon", **by(stores))
    Job.objects.create(job="E09", depot="N", cutover="2026-03-14 02:10", ended="under way")
    told = refusal("job-not-ready", confirm_job, job="E09", why="now", **by(stores))
    assert "nobody plans it ahead" in told


def test_a_moved_job_is_confirmed_no_more_and_one_whose_outage_has_begun_is_neither_moved_nor_cancelled(
    stores: Stores,
) -> None:
    confirm_job(job="J05", why="all agreed", **by(stores))
    freeze_outages(day=date(2026, 3, 18), **by(stores))
    assert state("J05") == "frozen"
    frozen = refusal("not-in-this-state", take_confirmation_back, job="J05", why="x", **by(stores))
    assert "J05 stands at frozen; that is done at confirmed" in frozen
    change_facts(**moved("J05", "2026-03-20 07:00"))
    assert state("J05") == "planned"

    begin_work(bag=stores.code("J01", "A1"), **stores.scan(CREW))
    assert state() == "outage"
    told = refusal("not-in-this-state", change_facts, **moved("J01", "2026-03-25 09:00"))
    assert "Can't move: J01 stands at outage; that is done at planned, confirmed, frozen." in told
    told = refusal("not-in-this-state", cancel_job, job="J01", why="sold", by=PLANNER.name, at=stores.at)
    assert "Can't cancel" in told
    assert Job.objects.get(job="J01").cutover == "2026-03-05 09:00"


def test_the_outage_begins_with_the_first_work_and_the_job_runs_on_to_closed(stores: Stores) -> None:
    code = stores.code("J01", "A1")
    early = refusal("not-in-this-state", energise_job, job="J01", happened_at=stores.at, **by(stores, CREW))
    assert "J01 stands at planned; that is done at outage" in early
    item, lot = fitted(stores)
    assert (state(), JobStep.objects.get(kind="outage").said_by) == ("outage", CREW.name)
    assert Event.objects.get(name="outage begun").subject == "J01"

    now = stores.scan()["at"]
    energise = {"job": "J01", "happened_at": now, **by(stores, CREW)}
    refusal("not-allowed", energise_job, **{**energise, "actor": PLANNER})
    assert "still to come" in refusal(
        "wrong-moment", energise_job, **{**energise, "happened_at": now + timedelta(days=1)}
    )
    assert "first bag of J01 went out" in refusal(
        "wrong-moment", energise_job, **{**energise, "happened_at": now - timedelta(days=1)}
    )
    assert energise_job(**energise) == "energised"
    assert "J01 stands at energised" in refusal("not-in-this-state", energise_job, **energise)

    place = stores.place("N", "N-01-1")
    back = {"bag": code, "condition": "sealed", "door": "stock", "place": place}
    for number, left in stores.contents("J01", "A1").lots.items():
        pieces = sum(stand.inside.get(number, 0) for stand in stores.contents("J01", "A1").lines)
        if pieces:
            turn_in(**back, stock_code=left.item.stock_code, lot=left.number, quantity=pieces, **stores.scan())
            assert state() == "returns open"
    Job.objects.get(job="J01").bags.exclude(structure="A1").update(state="closed")
    close(bag=code, **stores.scan())
    assert state() == "closed"
    trace = lot_trace_of(item=items_by_code([item])[item], lot=lot)
    (line,) = [one for one in trace.lines if one.part == INSTALLED]
    assert line.when.startswith("energised 2026-03-02 ")


def test_energised_taken_back_with_a_reason_lets_the_outage_go_on(stores: Stores) -> None:
    fitted(stores)
    given = {"job": "J01", **by(stores, DUTY)}
    energise_job(**given, happened_at=given["at"])
    refusal("job-not-ready", take_energised_back, **given, why="")
    assert take_energised_back(**given, why="the relay tripped") == "outage"
    assert Event.objects.get(name="energised taken back").data["why"] == "the relay tripped"
    assert energise_job(**given, happened_at=given["at"]) == "energised"


def test_what_is_out_is_due_back_from_the_day_on_which_the_line_is_energised(stores: Stores) -> None:
    """Planned to end on 5 March; back in service on 2 March already."""
    fitted(stores)
    assert returns_due(date(2026, 3, 4)) == []
    at = stores.scan()["at"]
    energise_job(job="J01", actor=CREW, at=at, happened_at=at)
    assert {one.since for one in returns_due(date(2026, 3, 4))} == {date(2026, 3, 2)}
    assert returns_due(date(2026, 3, 2)) == []


def test_a_job_that_closed_before_anybody_noted_it_is_energised_once_all_the_same(stores: Stores) -> None:
    fitted(stores)
    Job.objects.filter(job="J01").update(ended="complete")
    at = stores.scan()["at"]
    assert energise_job(job="J01", actor=CREW, at=at, happened_at=at) == "closed"
    assert "noted already" in refusal("job-not-ready", energise_job, job="J01", actor=CREW, at=at, happened_at=at)
