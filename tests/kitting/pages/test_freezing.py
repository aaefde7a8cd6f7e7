"""The outage list of a day is frozen; what changes after that has a name and a reason."""

from typing import Any

import pytest
from bag_stores import CLEAN, demo_sheets, planned
from browsing import browser_of, people, send, words
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from module_books import books_of_module
from people import PLANNER, STORES

from jobs.models import Job, ScheduleRevision
from kitting.models import Event, Freeze, Pin, Promise
from kitting.selectors.overrides import overrides

pytestmark = pytest.mark.django_db


def prepared() -> None:
    planned()
    people()


books = books_of_module(demo_sheets, prepared)


def frozen(planner: Client, day: str, *confirmed: str) -> str:
    for job in confirmed:
        send(planner, f"/jobs/{job}/confirm", why="the control room agreed")
    return words(send(planner, "/cutovers/freeze", day=day))


def test_the_outages_of_a_day_are_frozen_once_by_a_planner(planner: Client) -> None:
    assert browser_of(STORES).post("/cutovers/freeze", {"day": "2026-03-18"}).status_code == 403
    assert "Give the day as 2026-03-02." in frozen(planner, "wednesday")
    assert "No open job has its outage on 2026-03-19" in frozen(planner, "2026-03-19")
    assert "Nobody has confirmed the date of J05" in frozen(planner, "2026-03-18")
    Job.objects.create(job="X1", depot="N", cutover="2026-03-18 09:00")
    seen = frozen(planner, "2026-03-18", "J05")
    assert "FROZEN J05: what changes from now on needs a reason. Not frozen, as nobody has confirmed it: X1." in seen
    assert "Nobody has confirmed the date of X1" in frozen(planner, "2026-03-18")
    Job.objects.filter(job="X1").delete()
    assert "is not frozen yet" in frozen(planner, "2026-03-18")

    assert "2026-03-18 07:00 depot H, frozen" in words(planner.get("/cutovers"))
    assert "FROZEN frozen by R. Tolley" in words(planner.get("/jobs/J05"))
    assert Freeze.objects.get().cutover == "2026-03-18 07:00"


def test_a_frozen_job_moves_only_with_a_reason_which_stands_among_the_overrides(planner: Client) -> None:
    frozen(planner, "2026-03-18", "J05")
    version = Job.objects.get(job="J05").version
    fields = {"cutover": "2026-03-20 07:00", "end": "", "version": version}
    looked = words(send(planner, "/jobs/J05/move", **fields))
    silent = words(send(planner, "/jobs/J05/move", **fields, save="yes"))
    still = Job.objects.get(job="J05").cutover
    moved = words(send(planner, "/jobs/J05/move", **fields, save="yes", reason="the hospital asked"))

    assert "Why it changes after the freeze" in looked
    assert "J05 frozen for 2026-03-18 07:00 by R. Tolley" in silent
    assert still == "2026-03-18 07:00"
    assert "MOVED" in moved
    (one,) = [one for one in overrides() if one.what == "changed after the freeze"]
    assert (one.subject, one.by, one.reason) == ("J05", PLANNER.name, "the hospital asked")
    assert Freeze.objects.get().over  # it has another day now, whose list is still open
    other = {**fields, "cutover": "2026-03-21 07:00", "version": version + 1}
    assert "MOVED" in words(send(planner, "/jobs/J05/move", **other, save="yes"))


def test_a_frozen_schedule_is_replaced_only_with_a_reason(planner: Client) -> None:
    frozen(planner, "2026-03-18", "J05")
    text = (CLEAN / "schedule.csv").read_text(encoding="utf-8").splitlines()
    changed = [text[0], *(line for line in text if line.startswith("J05") and not line.startswith("J05,4"))]

    def stored(**said: str) -> str:
        file = SimpleUploadedFile("schedule.csv", "\n".join(changed).encode())
        seen = send(planner, "/files", files=file)
        assert "Why it changes after the freeze: J05" in words(seen)
        return words(send(planner, seen.redirect_chain[-1][0], store="yes", **said))

    assert "needs a reason; it is kept with your name" in stored()
    assert ScheduleRevision.objects.filter(job__job="J05").count() == 1
    assert "STORED" in stored(reason="the fourth run is for next year")
    assert Event.objects.filter(name="changed after the freeze", subject="J05").count() == 1


def test_pins_of_a_file_are_looked_at_against_the_freeze_as_those_of_a_page_are(planner: Client) -> None:
    """The list has one pin more, for a frozen job; the others stand as before and need no reason."""
    frozen(planner, "2026-03-18", "J05")
    heads = "job,line,stock code,lot,depot,quantity,reason,by"

    def looked(*jobs: str) -> Any:
        promises = [Promise.objects.filter(job__job=job, released_at=None).order_by("pk")[0] for job in jobs]
        rows = [f"{one.job},{one.line},{one.item},,,1,the crew knows them,R. Tolley" for one in promises]
        return send(planner, "/files", files=SimpleUploadedFile("pins.csv", "\n".join([heads, *rows]).encode()))

    seen = looked("J08")
    assert "after the freeze" not in words(seen)
    assert "STORED" in words(send(planner, seen.redirect_chain[-1][0], store="yes"))
    seen = looked("J08", "J05")
    assert "Why it changes after the freeze: J05" in words(seen)
    look = seen.redirect_chain[-1][0]
    assert "needs a reason; it is kept with your name" in words(send(planner, look, store="yes"))
    assert not Pin.objects.filter(job__job="J05").exists()
    assert "STORED" in words(send(planner, look, store="yes", reason="asked by the crew"))
    (one,) = [one for one in overrides() if one.what == "changed after the freeze"]
    assert (one.subject, one.by, one.reason) == ("J05", PLANNER.name, "asked by the crew")


def test_what_is_not_frozen_changes_as_before(planner: Client) -> None:
    frozen(planner, "2026-03-18", "J05")
    job = Job.objects.get(job="J08")
    fields = {"cutover": "2026-04-19 22:00", "end": "", "version": job.version}

    assert "Why it changes" not in words(send(planner, "/jobs/J08/move", **fields))
    assert "MOVED" in words(send(planner, "/jobs/J08/move", **fields, save="yes"))
    assert not Event.objects.filter(name="changed after the freeze").exists()
