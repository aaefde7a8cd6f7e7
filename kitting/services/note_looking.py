"""Note that somebody looked at the trace of a lot, or at the dates that come near."""

from datetime import datetime, timedelta

from inventory.services.actions import use_case
from kitting.models import Event
from kitting.roles import Actor
from kitting.services.record_events import Happening, record_events

LOOKED = "trace looked at"
DATES, EVERY_LOT = "dates looked at", "dates that come near"
_AGAIN = timedelta(days=1)  # looking twice on a day is one look


@use_case
def note_looking(*, subject: str, actor: Actor, at: datetime) -> None:
    """Note that a person looked at the trace of a lot: who asks where pieces went stands on the record as well.

    Once a day for each person and lot.
    """
    said = Event.objects.filter(name=LOOKED, subject=subject, by=actor.name, at__gt=at - _AGAIN)
    if not said.exists():
        record_events([Happening(LOOKED, subject)], by=actor.name, at=at)


@use_case
def note_dates_seen(*, actor: Actor, at: datetime, since: datetime) -> None:
    """Note that a person looked at the dates that come near, once in the week that began then: the task is over."""
    if not dates_seen(actor, since):
        record_events([Happening(DATES, EVERY_LOT)], by=actor.name, at=at)


def dates_seen(actor: Actor, since: datetime) -> bool:
    """Whether a person looked at the dates that come near in the week that began then."""
    return Event.objects.filter(name=DATES, by=actor.name, at__gte=since).exists()
