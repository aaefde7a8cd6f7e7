"""What a person has to hear: events addressed to their roles, those that change today's work apart from the rest."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.db.models import Q

from kitting.models import Event
from kitting.roles import Actor
from kitting.selectors.climbing import climbed
from kitting.selectors.notice_kinds import SEEN, Kind, kind_of

KEPT_DAYS = 30
_NEVER = datetime.min.replace(tzinfo=UTC)
_Key = tuple[str, str, datetime]


@dataclass(frozen=True, slots=True)
class Notice:
    """An event that a person is told of, how, and whether they have seen it; ``not_seen``: by whom else it was not."""

    event: Event
    kind: Kind
    is_new: bool
    not_seen: str = ""


def notices(actor: Actor, now: datetime) -> list[Notice]:
    """What is addressed to a person's roles and depots in the last days, or came to them because nobody else saw it.

    The latest first; two queries, and those of ``climbed``. What the person did is no news to them. An event that is
    addressed to several of their roles is told once.
    """
    last = Event.objects.filter(name=SEEN, subject=actor.name).order_by("-number").first()
    seen, seen_at = (int(last.data["up_to"]), last.at) if last else (0, _NEVER)
    mine = Q(addressed_to__in=actor.roles)
    if actor.depots:
        mine &= Q(depot="") | Q(depot__in=actor.depots)
    found = Event.objects.filter(mine, at__gte=now - timedelta(days=KEPT_DAYS)).exclude(by=actor.name)
    told: dict[_Key, Notice] = {}
    for event in found.order_by("-number"):
        told.setdefault(_key(event), Notice(event, kind_of(event), event.number > seen))
    for one in climbed(actor, now):
        own = told.get(_key(one.event))
        is_new = one.heard_at is None and (one.event.number > seen or one.at > seen_at)
        words = one.words(now)
        if own:
            is_new, words = is_new or own.is_new, "; ".join(filter(None, (own.not_seen, words)))
        told[_key(one.event)] = Notice(own.event if own else one.event, kind_of(one.event), is_new, words)
    return sorted(told.values(), key=lambda one: -one.event.number)


def _key(event: Event) -> _Key:
    return (event.name, event.subject, event.at)


def told_since(since: datetime, until: datetime) -> list[Event]:
    """What was told in a time: by role and depot, what is urgent first; one query."""
    found = Event.objects.filter(recorded_at__gt=since, recorded_at__lte=until).exclude(addressed_to="")
    return sorted(found, key=lambda one: (one.addressed_to, one.depot, not kind_of(one).is_urgent, one.number))


def new_notices(actor: Actor, now: datetime) -> list[Notice]:
    """What a person has not seen."""
    return [one for one in notices(actor, now) if one.is_new]
