"""A schedule that is started from a standard location: a few names, looked at as a file is, then stored."""

from datetime import date
from typing import Any

import pytest
from bag_stores import MORNING, Stores, demo_sheets
from browsing import browser_of, people, send, words
from django.test import Client
from module_books import books_of_module
from people import STANDARDS, STORES

from jobs.models import Job, Position, Run, ScheduleRevision
from kitting.models import Errand, Policy, Recipe
from kitting.services.recipes import keep_recipe

pytestmark = pytest.mark.django_db
PAD = {"location": "three-phase pad", "cable_type": "CT-01", "depot": "N"}


def with_recipes() -> None:
    """The demo with recipes of pads on two systems, and people who may sign in."""
    made = Stores(MORNING, prefix="recipe")
    keep_recipe(name="PAD-12", system="S12", **PAD, **made.scan(STANDARDS))
    keep_recipe(name="PAD-25", system="S25", **{**PAD, "cable_type": "CT-08"}, **made.scan(STANDARDS))
    Policy.objects.update_or_create(policy="demo", defaults={"value": "yes"})  # its clock goes by the last deed
    people()


books = books_of_module(demo_sheets, with_recipes)
LOOP = {
    "job": "J20", "system": "S12", "recipe": "PAD-12", "structures": "PX1, PX2, PX3, PX4", "title": "Quay Loop",
    "depot": "N", "cutover": "2026-05-09 06:00",
}  # fmt: skip


def started(client: Client, **given: str) -> Any:
    """The form is sent, with what differs."""
    return send(client, "/files/start", **{**LOOP, **given})


def test_a_loop_of_four_pads_is_there_by_one_form_and_stored_once_it_was_looked_at(planner: Client) -> None:
    looked = words(started(planner))
    assert "schedule 3 3" in looked
    assert "positions 8 8" in looked
    assert not Job.objects.filter(job="J20").exists()
    file = Errand.objects.latest("pk")
    send(planner, f"/files/{file.pk}", store="yes")
    runs = Run.objects.filter(revision__job__job="J20", revision__live=True).order_by("run")
    assert [f"{run.from_position} to {run.to_position}" for run in runs] == [
        "PX1/b to PX2/a", "PX2/b to PX3/a", "PX3/b to PX4/a",
    ]  # fmt: skip
    assert {str(run.cable_type) for run in runs} == {"CT-01"}
    assert Position.objects.get(structure__structure="PX1", position="a").state == "unused"
    again = words(started(planner, structures="PY1 PY2"))
    assert "J20 has a schedule, revision A" in again
    assert ScheduleRevision.objects.filter(job__job="J20").count() == 1


def test_a_chain_comes_from_a_position_on_the_books(planner: Client) -> None:
    spot = Position.objects.filter(kind="well 200 A").order_by("pk").select_related("structure")[0]
    begin = f"{spot.structure.structure}/{spot.position}"
    assert "There is no position Z9/a" in words(started(planner, begin="Z9/a"))
    looked = words(started(planner, begin=begin))
    assert "schedule 4 4" in looked
    assert "positions 9 9" in looked


def test_a_recipe_that_is_not_live_or_is_for_another_system_is_refused_with_the_live_one(planner: Client) -> None:
    other = started(planner, recipe="PAD-25").content.decode()
    assert "PAD-25 is for system S25, not S12. Live for S12: PAD-12 (three-phase pad)." in other
    assert 'value="PX1, PX2, PX3, PX4"' in other
    Recipe.objects.filter(name="PAD-25").update(why_open="No elbow is left.")
    gone = words(started(planner, recipe="PAD-25", system="S25"))
    assert "PAD-25 is not live: No elbow is left. Live for S25: none." in gone
    Recipe.objects.filter(name="PAD-12").update(to_come_on=date(2026, 3, 1), to_come="rev ABCDEF: 1 MST more")
    assert "RECIPE CHANGED on 2026-03-01" in words(started(planner))


def test_what_is_on_the_books_already_is_not_made_again_and_a_new_job_needs_its_depot(planner: Client) -> None:
    assert "A2 is on the books already" in words(started(planner, structures="A2 PX9"))
    assert "J01 has a schedule, revision A" in words(started(planner, job="J01"))
    assert "the depot of one" in words(started(planner, depot=""))
    assert browser_of(STORES).post("/files/start", LOOP).status_code == 403
    assert "Start a schedule" not in words(browser_of(STORES).get("/files"))
