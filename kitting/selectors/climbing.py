"""Urgent notices that nobody saw in time, and who hears of them next."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from kitting.models import Event, Person
from kitting.roles import ADMINISTRATOR, DUTY_SUPERVISOR, Actor
from kitting.selectors.notice_kinds import KINDS, SEEN, kind_of

_KEPT = timedelta(days=7)
_HOURS_FROM = 120  # minutes
_Seen = tuple[datetime, int]  # when, and up to which event


class _Step(NamedTuple):
    """People who hear of an event together, and whether it was told to them in the first place."""

    role: str
    names: set[str]
    is_told: bool


@dataclass(frozen=True, slots=True)
class Climbed:
    """An event that came to somebody because others did not see it.

    Args:
        event: what was told.
        at: when it came to them.
        missed: the roles that had not seen it by then; empty where nobody has the role it was told to.
        heard_at: when somebody saw it or acted on it, None while nobody did.
    """

    event: Event
    at: datetime
    missed: tuple[str, ...]
    heard_at: datetime | None

    def words(self, now: datetime) -> str:
        """Why a person hears of it: ``NOT SEEN by storekeeper of N for 12 min``."""
        where = f" of {self.event.depot}" if self.event.depot else ""
        if not self.missed:
            return f"nobody is {self.event.addressed_to}{where}"
        who = f"{' or '.join(self.missed)}{where}"
        minutes = ((self.heard_at or now) - self.event.recorded_at) // timedelta(minutes=1)
        long = f"{minutes} min" if minutes < _HOURS_FROM else f"{minutes // 60} h"
        return f"not seen by {who} in time; seen after {long}" if self.heard_at else f"NOT SEEN by {who} for {long}"


def climbed(actor: Actor, now: datetime) -> list[Climbed]:
    """What came to a person in the last days because it was not seen; four queries, none for who is never next.

    First hear those to whom it is told, of its depot; then the duty supervisors of the depot, then all of them; an
    administrator where there is nobody of these. A step without people takes no time. Who acts on it has heard.
    """
    if not actor.roles & {DUTY_SUPERVISOR, ADMINISTRATOR}:
        return []
    names = [name for name, kind in KINDS.items() if kind.climbs_after]
    since = now - _KEPT
    told = [*Event.objects.filter(name__in=names, recorded_at__gte=since).exclude(addressed_to="").order_by("number")]
    people = [*Person.objects.filter(is_active=True)]
    seen: dict[str, list[_Seen]] = defaultdict(list)
    said = Event.objects.filter(name=SEEN, at__gte=since).order_by("number")
    for name, at, data in said.values_list("by", "at", "data"):
        seen[name].append((at, int(data["up_to"])))
    acted = _acted(told)
    found = (_climb(actor.name, one, _steps(one, people), seen, acted.get(one.number), now) for one in told)
    return [one for one in found if one]


def _acted(told: Sequence[Event]) -> dict[int, datetime]:
    """By the number of an event when another person first did something about what it tells."""
    later = Event.objects.filter(subject__in={one.subject for one in told})
    deeds: dict[str, list[tuple[int, str, datetime]]] = defaultdict(list)
    for number, subject, by, at in later.order_by("number").values_list("number", "subject", "by", "recorded_at"):
        deeds[subject].append((number, by, at))
    return {
        one.number: at
        for one in told
        for number, by, at in reversed(deeds[one.subject])
        if number > one.number and by != one.by
    }


def _climb(
    name: str, event: Event, steps: Sequence[_Step], seen: Mapping[str, Sequence[_Seen]], acted: datetime | None,
    now: datetime,
) -> Climbed | None:  # fmt: skip
    """How an event came to a person of this name; None where it was told to them, or has not come that far."""
    wait = kind_of(event).climbs_after
    mine = next((at for at, one in enumerate(steps) if name in one.names), None)
    if wait is None or mine is None or steps[mine].is_told:
        return None
    came = event.recorded_at + mine * wait
    heard = [acted] if acted else []
    for number, step in enumerate(steps):
        begin = event.recorded_at + number * wait
        heard += [at for one in step.names for at, up_to in seen[one] if up_to >= event.number and at >= begin]
    first = min(heard, default=None)
    if came > now or (first and first < came):
        return None
    return Climbed(event, came, tuple(dict.fromkeys(one.role for one in steps[:mine])), first)


def _steps(event: Event, people: Sequence[Person]) -> list[_Step]:
    """Who hears of an event, one step after the other, each person once; steps without people are left out."""
    met = {event.by}
    found = []
    ladder = ((event.addressed_to, event.depot), (DUTY_SUPERVISOR, event.depot), (DUTY_SUPERVISOR, ""))
    for number, (role, depot) in enumerate(ladder):
        names = {one.name for one in people if _is_of(one, role, depot)} - met
        met |= names
        found.append(_Step(role, names, number == 0))
    found = [one for one in found if one.names]
    return found or [_Step(ADMINISTRATOR, {one.name for one in people if _is_of(one, ADMINISTRATOR, "")}, False)]


def _is_of(person: Person, role: str, depot: str) -> bool:
    return role in person.roles and (not depot or not person.depots or depot in person.depots)
