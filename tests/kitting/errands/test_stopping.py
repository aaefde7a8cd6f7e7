"""A large file that is stopped half way: it shows how far it has come, and nothing of it is stored."""

from datetime import UTC, datetime

import pytest
from bag_stores import demo_sheets
from browsing import browser_of, people, send, words
from module_books import books_of_module
from people import AUDITOR, PLANNER

from jobs.models import Job
from kitting.errands import loading
from kitting.errands.keeping import packed_files
from kitting.errands.loading import LOAD, LOOK
from kitting.errands.planning import PLAN
from kitting.errands.working import do_next
from kitting.errors import Refusal
from kitting.models import Errand
from kitting.models.errands import DONE, RUNNING, STOPPED, WAITING
from kitting.services.ask_errands import STORED, ask_errand, note_stage, stop_errand

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
ROWS = 12_000
books = books_of_module(demo_sheets, people)


def asked(kind: str, rows: int = ROWS) -> Errand:
    text = "job,title,depot\n" + "".join(f"X{number},Some title,N\n" for number in range(rows))
    content = packed_files([("jobs.csv", text.encode())])
    return ask_errand(kind=kind, by=PLANNER.name, at=AT, given={}, file_name="jobs.csv", file=content)


@pytest.mark.parametrize("kind", [LOOK, LOAD])
def test_a_file_that_is_stopped_half_way_leaves_nothing_behind(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    errand, before, seen = asked(kind), Job.objects.count(), []

    def noted(one: Errand, stage: str) -> None:
        seen.append(stage)
        if len(seen) == 2:
            stop_errand(one, by=PLANNER.name)
        note_stage(one, stage)

    monkeypatch.setattr(loading, "note_stage", noted)
    assert do_next()

    errand.refresh_from_db()
    assert seen == [f"jobs.csv: row 5000 of {ROWS + 2}", f"jobs.csv: row 10000 of {ROWS + 2}"]
    assert (errand.state, errand.message, errand.result) == (STOPPED, "Stopped by R. Tolley.", {})
    assert Job.objects.count() == before
    assert not do_next()


def test_a_file_that_nobody_stops_is_stored(monkeypatch: pytest.MonkeyPatch) -> None:
    errand, before, seen = asked(LOAD, 3), Job.objects.count(), []
    monkeypatch.setattr(loading, "note_stage", lambda one, stage: (seen.append(stage), note_stage(one, stage)))
    do_next()

    errand.refresh_from_db()
    assert (errand.state, errand.message, Job.objects.count()) == (DONE, "", before + 3)
    assert seen[-2:] == ["storing", STORED]


def test_what_is_stopped_while_it_waits_is_not_begun_and_what_is_stored_can_not_be_stopped() -> None:
    waiting, stored, done = asked(LOOK, 1), asked(LOAD, 1), asked(LOAD, 1)
    Errand.objects.filter(pk=stored.pk).update(state=RUNNING, stage=STORED, beat=datetime.now(UTC))
    Errand.objects.filter(pk=done.pk).update(state=DONE)

    stop_errand(waiting, by=PLANNER.name)
    for errand in (stored, done, waiting):
        with pytest.raises(Refusal, match="ended already"):
            stop_errand(errand, by=PLANNER.name)
    assert not do_next()


def test_whoever_may_send_files_stops_them_on_the_page_and_nobody_stops_a_plan() -> None:
    errand = asked(LOOK, 1)
    plan = ask_errand(kind=PLAN, by=PLANNER.name, at=AT, given={"as_of": "2026-03-02"})
    planner = browser_of(PLANNER)

    assert "Stop it: nothing is stored" in words(planner.get(f"/errands/{errand.pk}"))
    assert "Stop it" not in words(browser_of(AUDITOR).get(f"/errands/{errand.pk}"))
    assert browser_of(AUDITOR).post(f"/errands/{errand.pk}/stop").status_code == 403
    assert "can't be stopped" in words(send(planner, f"/errands/{plan.pk}/stop"))
    assert Errand.objects.get(pk=plan.pk).state == WAITING
    assert "STOPPED jobs.csv is not read any further" in words(send(planner, f"/errands/{errand.pk}/stop"))
    assert "Stopped by R. Tolley." in words(planner.get(f"/errands/{errand.pk}", follow=True))
    assert "ended already" in words(send(planner, f"/errands/{errand.pk}/stop"))
