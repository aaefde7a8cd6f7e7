"""What a person has to hear: events addressed to their roles, those that change today's work apart from the rest."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from django.db.models import Q

from kitting.models import Event
from kitting.roles import Actor
from kitting.selectors.climbing import climbed
from kitting.selectors.notice_kinds import SEEN, Kind, also_told, kind_for, kind_of, roles_told
from kitting.selectors.settled_notices import settled_by

KEPT_DAYS = 30
_NEVER = datetime.min.replace(tzinfo=UTC)
_Key = tuple[str, str, datetime]


@dataclass(frozen=True, slots=True)
class Notice:
    """An event that a person is told of, how, and whether they have seen it; ``not_seen``: by whom else it was not.

    ``settled`` is what has settled it since, None where it is still to be done.
    """

    event: Event
    kind: Kind
    is_new: bool
    not_seen: str = ""
    settled: Event | None = None


def notices(actor: Actor, now: datetime) -> list[Notice]:
    """What is told to a person's roles and depots in the last days, or came to them because nobody else saw it.

    The latest first; three queries, and those of ``climbed``. What the person did is no news to them. An event that is
    told to several of their roles is told once, as to the role that hears of it first.
    """
    last = Event.objects.filter(name=SEEN, subject=actor.name).order_by("-number").first()
    seen, seen_at = (int(last.data["up_to"]), last.at) if last else (0, _NEVER)
    mine = Q(addressed_to__in=actor.roles) | Q(name__in=also_told(actor.roles))
    if actor.depots:
        mine &= Q(depot="") | Q(depot__in=actor.depots)
    found = Event.objects.filter(mine, at__gte=now - timedelta(days=KEPT_DAYS)).exclude(by=actor.name)
    told: dict[_Key, Notice] = {}
    for event in found.order_by("-number"):
        one, before = Notice(event, kind_for(event, actor.roles), event.number > seen), told.get(_key(event))
        if before is None or (one.kind.is_urgent and not before.kind.is_urgent):
            told[_key(event)] = one
    for late in climbed(actor, now):
        own = told.get(_key(late.event))
        is_new = late.heard_at is None and (late.event.number > seen or late.at > seen_at)
        words = late.words(now)
        if own:
            is_new, words = is_new or own.is_new, "; ".join(filter(None, (own.not_seen, words)))
        told[_key(late.event)] = Notice(own.event if own else late.event, kind_of(late.event), is_new, words)
    settled = settled_by(one.event for one in told.values())
    known = (replace(one, settled=settled.get(one.event.number)) for one in told.values())
    return sorted(known, key=lambda one: -one.event.number)


def _key(event: Event) -> _Key:
    return (event.name, event.subject, event.at)


@dataclass(frozen=True, slots=True)
class Told:
    """An event as it is told to a role, and what has settled it since."""

    role: str
    event: Event
    kind: Kind
    settled: Event | None = None


def told_since(since: datetime, until: datetime) -> list[Told]:
    """What was told in a time, to each role once: by role and depot, what is urgent first; two queries."""
    found: dict[tuple[str, _Key], Told] = {}
    for event in Event.objects.filter(recorded_at__gt=since, recorded_at__lte=until).order_by("number"):
        for role in roles_told(event):
            if role == event.addressed_to or (role, _key(event)) not in found:
                found[role, _key(event)] = Told(role, event, kind_for(event, {role}))
    settled = settled_by(one.event for one in found.values())
    told = [replace(one, settled=settled.get(one.event.number)) for one in found.values()]
    return sorted(told, key=lambda one: (one.role, one.event.depot, not one.kind.is_urgent, one.event.number))


def new_notices(actor: Actor, now: datetime) -> list[Notice]:
    """What a person has not seen."""
    return [one for one in notices(actor, now) if one.is_new]
