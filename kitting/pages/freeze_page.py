"""Freeze the outages of a day."""

from django.http import HttpResponse
from django.urls import reverse

from kitting.pages.asked import Asked, attempt
from kitting.pages.typed import back_with_typed, day_of
from kitting.services.freeze_outages import freeze_outages


def freeze(asked: Asked) -> HttpResponse:
    """Freeze the list of a day: from then on a change needs a reason."""

    def deed() -> tuple[str, str]:
        return "FROZEN", freeze_outages(day=day_of(asked, "day"), actor=asked.actor, at=asked.at).sentence

    return attempt(asked, deed, reverse("cutovers"), back=back_with_typed(asked, reverse("cutovers")))
