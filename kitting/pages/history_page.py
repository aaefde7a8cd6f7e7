"""How ready a job was, and when that turned."""

from datetime import datetime, time

from django.http import HttpResponse
from django.urls import reverse

from kitting.errors import Refusal
from kitting.pages.asked import Asked, page, refused
from kitting.pages.tables import Table, said
from kitting.pages.typed import day_of
from kitting.selectors.job_sheet import job_by_number
from kitting.selectors.readiness import answer_at, readiness


def history(asked: Asked, job: str) -> HttpResponse:
    """How ready a job was at each plan that was applied, when that turned, and what happened to its bags meanwhile."""
    found = job_by_number(job)
    turns = readiness(found)
    rows = [
        [
            f"{one.at.astimezone(asked.zone):%Y-%m-%d %H:%M}",
            one.what,
            said(one.answer),
            one.told or "–",
            one.by,
        ]
        for one in reversed(turns)
    ]
    heads = ("When", "What", "Answer", "Why", "By")
    empty = "This job is not yet planned: no plan that was applied holds it."
    context = {"job": found, "table": Table("What turned, the latest first", heads, rows, empty), "on": "", "then": ""}
    if asked.text("on"):
        try:
            day = day_of(asked, "on")
        except Refusal as refusal:
            return refused(asked, refusal, reverse("history", args=[job]))
        until = datetime.combine(day, time.max, asked.zone)
        context |= {"on": day, "then": answer_at(turns, until)}
    return page(asked, "history.html", context)
