"""How each kind of event is told: at once or with the rest of the day, where something is done, and when it climbs."""

import csv
from collections.abc import Mapping, Set
from dataclasses import dataclass, replace
from datetime import timedelta
from importlib.resources import files
from types import MappingProxyType

from kitting.models import Event
from kitting.roles import AUDITOR, PLANNER, STANDARDS_ENGINEER
from kitting.selectors.overrides import OVERRIDING_EVENTS

SEEN = "notices seen"
NOW = "now"
IS_NEAR = "near"  # the outage that it is about; False where it waits
_RUNNING = "outage_running"


@dataclass(frozen=True, slots=True)
class Kind:
    """How an event is told.

    Args:
        is_urgent: at once, or with the rest of the day.
        page: where something is done about it.
        do: what to do.
        climbs_after: how long those who were told have before others are; None for ever.
        also_now, also_later: roles that hear of it beside whom it is addressed to: at once, or with the rest of the
            day.
        settled_by: names of events after which nothing is left to do.
    """

    is_urgent: bool
    page: str
    do: str
    climbs_after: timedelta | None = None
    also_now: frozenset[str] = frozenset()
    also_later: frozenset[str] = frozenset()
    settled_by: frozenset[str] = frozenset()


def _kinds() -> Mapping[str, Kind]:
    text = files("kitting").joinpath("notices.csv").read_text(encoding="utf-8")
    found = {}
    for row in csv.DictReader(text.splitlines()):
        climbs = timedelta(minutes=int(row["climbs after (min)"])) if row["climbs after (min)"] else None
        lists = ("also now", "also with the day", "settled by")
        also = [frozenset(filter(None, row[column].split("; "))) for column in lists]
        found[row["event"]] = Kind(row["when"] == NOW, row["page"], row["do"], climbs, *also)
    return MappingProxyType(found)


KINDS = _kinds()
# Who looks into what others overrode hears of it with the rest of the day, whomever else it is addressed to.
_OVERSEE = frozenset({PLANNER, STANDARDS_ENGINEER, AUDITOR})
_OVERRIDES = frozenset({*OVERRIDING_EVENTS, "reserve released", "hold released", "bag broken"})
_OVERRIDE = Kind(is_urgent=False, page="exceptions", do="see whether it was right to do so")
_OTHER = Kind(is_urgent=False, page="", do="")


def kind_of(event: Event) -> Kind:
    """How an event is told; what no running or near outage hangs on waits for the rest of the day."""
    kind = KINDS.get(event.name, _OTHER)
    waits = event.data.get(_RUNNING) is False or event.data.get(IS_NEAR) is False
    return Kind(False, kind.page, kind.do) if waits else kind


def also_told(roles: Set[str]) -> set[str]:
    """The names of events of which roles hear though they are addressed to others, or to nobody."""
    found = {name for name, kind in KINDS.items() if roles & (kind.also_now | kind.also_later)}
    return found | _OVERRIDES if roles & _OVERSEE else found


def roles_told(event: Event) -> set[str]:
    """Every role that hears of an event."""
    kind = KINDS.get(event.name, _OTHER)
    beside = _OVERSEE if event.name in _OVERRIDES else frozenset()
    return {*filter(None, [event.addressed_to]), *kind.also_now, *kind.also_later, *beside}


def kind_for(event: Event, roles: Set[str]) -> Kind:
    """How an event is told to roles: as to whom it is addressed to, or as to those who hear of it beside them."""
    kind = KINDS.get(event.name, _OTHER)
    if event.addressed_to in roles or not roles & roles_told(event):
        return kind_of(event)
    if not roles & (kind.also_now | kind.also_later):
        return _OVERRIDE
    do = f"{event.addressed_to or 'nobody'} was told to act: {kind.do}"
    return replace(kind, is_urgent=bool(roles & kind.also_now), do=do)
