"""What a person has to hear: events addressed to their roles, those that change today's work apart from the rest."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib.resources import files
from types import MappingProxyType

from django.db.models import Q

from kitting.models import Event
from kitting.roles import Actor

SEEN = "notices seen"
NOW = "now"
KEPT_DAYS = 30


@dataclass(frozen=True, slots=True)
class Kind:
    """How an event is told: at once or with the rest of the day, the page where something is done, and what to do."""

    is_urgent: bool
    page: str
    do: str


def _kinds() -> Mapping[str, Kind]:
    text = files("kitting").joinpath("notices.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return MappingProxyType({row["event"]: Kind(row["when"] == NOW, row["page"], row["do"]) for row in rows})


KINDS = _kinds()
_OTHER = Kind(is_urgent=False, page="", do="")


@dataclass(frozen=True, slots=True)
class Notice:
    """An event that a person is told of, how, and whether they have seen it."""

    event: Event
    kind: Kind
    is_new: bool


def notices(actor: Actor, now: datetime) -> list[Notice]:
    """What is addressed to a person's roles and depots in the last days, the latest first; two queries.

    What the person did is no news to them. An event that is addressed to several of their roles is told once.
    """
    last = Event.objects.filter(name=SEEN, subject=actor.name).order_by("-number").first()
    seen = int(last.data["up_to"]) if last else 0
    mine = Q(addressed_to__in=actor.roles)
    if actor.depots:
        mine &= Q(depot="") | Q(depot__in=actor.depots)
    found = Event.objects.filter(mine, at__gte=now - timedelta(days=KEPT_DAYS)).exclude(by=actor.name)
    told: dict[tuple[str, str, datetime], Notice] = {}
    for event in found.order_by("-number"):
        key = (event.name, event.subject, event.at)
        told.setdefault(key, Notice(event, KINDS.get(event.name, _OTHER), event.number > seen))
    return [*told.values()]


def new_notices(actor: Actor, now: datetime) -> tuple[int, int]:
    """How many a person has not seen: those that change today's work, and the others."""
    new = [one.kind.is_urgent for one in notices(actor, now) if one.is_new]
    return sum(new), len(new) - sum(new)
