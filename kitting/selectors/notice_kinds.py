"""How each kind of event is told: at once or with the rest of the day, where something is done, and when it climbs."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from importlib.resources import files
from types import MappingProxyType

from kitting.models import Event

SEEN = "notices seen"
NOW = "now"
_RUNNING = "outage_running"


@dataclass(frozen=True, slots=True)
class Kind:
    """How an event is told.

    Args:
        is_urgent: at once, or with the rest of the day.
        page: where something is done about it.
        do: what to do.
        climbs_after: how long those who were told have before others are; None for ever.
    """

    is_urgent: bool
    page: str
    do: str
    climbs_after: timedelta | None = None


def _kinds() -> Mapping[str, Kind]:
    text = files("kitting").joinpath("notices.csv").read_text(encoding="utf-8")
    found = {}
    for row in csv.DictReader(text.splitlines()):
        climbs = timedelta(minutes=int(row["climbs after (min)"])) if row["climbs after (min)"] else None
        found[row["event"]] = Kind(row["when"] == NOW, row["page"], row["do"], climbs)
    return MappingProxyType(found)


KINDS = _kinds()
_OTHER = Kind(is_urgent=False, page="", do="")


def kind_of(event: Event) -> Kind:
    """How an event is told; what is asked while no outage runs waits for the rest of the day."""
    kind = KINDS.get(event.name, _OTHER)
    return Kind(False, kind.page, kind.do) if event.data.get(_RUNNING) is False else kind
