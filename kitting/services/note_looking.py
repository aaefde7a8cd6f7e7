"""Note that somebody looked at the trace of a lot: who asks where pieces went stands on the record as well."""

from datetime import datetime, timedelta

from inventory.services.actions import use_case
from kitting.models import Event
from kitting.roles import Actor
from kitting.services.record_events import Happening, record_events

LOOKED = "trace looked at"
_AGAIN = timedelta(days=1)  # looking twice on a day is one look


@use_case
def note_looking(*, subject: str, actor: Actor, at: datetime) -> None:
    """Note it, once a day for each person and lot."""
    said = Event.objects.filter(name=LOOKED, subject=subject, by=actor.name, at__gt=at - _AGAIN)
    if not said.exists():
        record_events([Happening(LOOKED, subject)], by=actor.name, at=at)
