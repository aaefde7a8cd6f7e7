"""Who sees to a short line and for how long it is short: the cell that says so, and the form that names somebody."""

from collections.abc import Mapping, Sequence

from django.http import HttpResponse
from django.urls import reverse

from kitting.calculation.shortages import Care
from kitting.pages.asked import Asked, attempt
from kitting.pages.tables import Cell
from kitting.roles import DO
from kitting.selectors.short_lines import possible_owners
from kitting.services.short_lines import own_short_lines


def owner_cell(asked: Asked, care: Care) -> Cell:
    """Owner, with the age of the line below."""
    days = care.age_days(asked.today)
    age = "not known since when" if days is None else "short since today" if not days else f"short for {days} days"
    return Cell(care.words, note=age.replace("for 1 days", "for 1 day"))


def owner_choices(asked: Asked, *, jobs: Sequence[str], lines: Sequence[str] = ()) -> Mapping[str, object]:
    """What may be chosen: whole jobs, and single lines; nothing for who may not choose."""
    if not jobs or not any(asked.actor.may(action, DO) for action in ("order sheet", "job dates")):
        return {}
    found = [*((job, f"all of {job}") for job in jobs), *((line, line) for line in lines)]
    return {"lines": found, "people": possible_owners()}


def short_owner(asked: Asked) -> HttpResponse:
    """Name who sees to a job's short lines, or to one of them."""
    chosen = asked.text("lines")
    job, _, line = chosen.partition("/")
    back = reverse("job", args=[job]) if job and asked.text("page") == "job" else reverse("buying")

    def deed() -> tuple[str, str]:
        owner = asked.text("owner")
        count = own_short_lines(job=job, line=chosen if line else "", owner=owner, actor=asked.actor, at=asked.at)
        return "NOTED", f"{owner or 'Nobody by name'} sees to {chosen} ({count} short)."

    return attempt(asked, deed, back)
