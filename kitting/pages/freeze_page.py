"""Freeze the outages of a day."""

from datetime import date

from django.http import HttpResponse
from django.urls import reverse

from kitting.errors import Refusal
from kitting.pages.asked import Asked, attempt, refused
from kitting.services.freeze_outages import freeze_outages


def freeze(asked: Asked) -> HttpResponse:
    """Freeze the list of a day: from then on a change needs a reason."""
    try:
        day = date.fromisoformat(asked.text("day"))
    except ValueError:
        return refused(asked, Refusal("no-day", "Give the day as 2026-03-02.", {}), reverse("cutovers"))

    def deed() -> tuple[str, str]:
        jobs = freeze_outages(day=day, actor=asked.actor, at=asked.at)
        return "FROZEN", f"{', '.join(jobs)}: what changes from now on needs a reason."

    return attempt(asked, deed, reverse("cutovers"))
