"""What has settled a notice: the first later event of the same thing that its row in ``notices.csv`` names."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from django.db.models import Q

from kitting.models import Event
from kitting.selectors.notice_kinds import KINDS
from kitting.selectors.transfer_asks import ASKED, ask_number

_PLANNED = "plan applied"  # settles what waits for a plan, whatever it is about
_RECALLED, _RELEASED = "lot recalled", "hold released"
_COUNT, _LINE = "count ", "line"  # how a count and its lines are called; the number of one


def settled_by(told: Iterable[Event]) -> Mapping[int, Event]:
    """By the number of an event that is told, the one that settled it; one query."""
    open_ = [one for one in told if one.name in KINDS and KINDS[one.name].settled_by]
    if not open_:
        return {}
    names = {name for one in open_ for name in KINDS[one.name].settled_by}
    about = Q(subject__in={thing for one in open_ for thing in _about(one)}) | Q(name__in=(_PLANNED, _RELEASED))
    later = Event.objects.filter(about, name__in=names, number__gt=min(one.number for one in open_)).order_by("number")
    by_thing: dict[str, list[Event]] = defaultdict(list)
    for event in later:
        for thing in _things(event):
            by_thing[thing].append(event)
    found = {
        one.number: _first(one, [event for thing in (_PLANNED, *_about(one)) for event in by_thing[thing]])
        for one in open_
    }
    return {number: event for number, event in found.items() if event}


def _first(one: Event, later: Sequence[Event]) -> Event | None:
    names = KINDS[one.name].settled_by
    fits = (event for event in later if event.number > one.number and event.name in names and _is_of(event, one))
    return min(fits, key=lambda event: event.number, default=None)


def _is_of(event: Event, one: Event) -> bool:
    """Whether it is about the same line, where both name one."""
    lines = {two.data[_LINE] for two in (event, one) if _LINE in two.data}
    return len(lines) < 2


def _about(one: Event) -> tuple[str, ...]:
    """What it is about: ``hold 3`` of a recalled lot, and of a line of a count also the whole list, ``count 3``."""
    if one.name == ASKED:
        return (ask_number(one.number),)
    whole = " ".join(one.subject.split()[:2])
    if one.name == _RECALLED:
        return (whole,)
    return tuple(dict.fromkeys((one.subject, whole))) if one.subject.startswith(_COUNT) else (one.subject,)


def _things(event: Event) -> list[str]:
    if event.name == _PLANNED:
        return [_PLANNED]
    hold = event.data.get("hold") if event.name == _RELEASED else None
    return [event.subject, *([f"hold {hold}"] if hold else [])]
