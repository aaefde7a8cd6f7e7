"""Until when visiting crews may look and turn in, and what they are told once that is over."""

from datetime import datetime

from django.db.models import F

from kitting.models import Person
from kitting.roles import Actor
from kitting.selectors.clock import local_zone


def has_access(actor: Actor, at: datetime) -> bool:
    """Whether somebody may act at a moment: a visiting crew until its end, anybody else as long as they sign in."""
    return not actor.is_visiting or (actor.until is not None and at < actor.until)


def access_refusal(actor: Actor, at: datetime) -> str:
    """Why somebody has no access at a moment, in words; '' where they have.

    Only visiting crews' access ends by itself; one without an end has none. Whoever else is no longer to sign in is
    shut out by an administrator.
    """
    if has_access(actor, at):
        return ""
    ask = "Nothing is booked. Ask an administrator to extend it."
    if actor.until is None:
        return f"NO ACCESS: nobody has said until when {actor.name} visits. {ask}"
    local = actor.until.astimezone(local_zone(sorted(actor.depots)))
    return f"ACCESS ENDED: that of {actor.name} was until {local:%Y-%m-%d %H:%M %Z}. {ask}"


def visitors() -> list[Person]:
    """Visiting crews, those whose access lasts longest first; one query."""
    found = Person.objects.order_by(F("access_until").desc(nulls_last=True), "name")
    return [one for one in found if one.actor().is_visiting]
