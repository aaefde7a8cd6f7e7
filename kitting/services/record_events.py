"""Append events to the chain: who did what to what, when, and the digest of the event before."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from django.core.serializers.json import DjangoJSONEncoder
from django.db import connection

from kitting.errors import Refusal
from kitting.models import Event
from kitting.selectors.clock import depot_zones
from kitting.selectors.event_chain import NO_EVENT_BEFORE, event_digest
from kitting.selectors.overrides import OVERRIDING_EVENTS, REASON
from kitting.selectors.rule_revisions import rule_book_on
from kitting.services.devices import acting_device

_CHAIN_LOCK = 4_815_001  # any number of ours: PostgreSQL names its advisory locks so
_BATCH = 1_000
_NO_ZONE = "UTC"  # of books without a depot that has one


@dataclass(frozen=True, slots=True)
class Happening:
    """Something to be recorded.

    Args:
        name: what was done, such as ``plan applied``.
        subject: to what it was done.
        data: before and after, reasons, papers: plain values.
        addressed_to: role that must be told, '' for none.
        depot: depot that it concerns.
    """

    name: str
    subject: str
    data: Mapping[str, object] = field(default_factory=dict)
    addressed_to: str = ""
    depot: str = ""


def lock_chain() -> None:
    """Let no other writer of events in until this transaction ends: SQLite's transactions are alone already."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_CHAIN_LOCK])


def record_events(
    happenings: Iterable[Happening], *, by: str, at: datetime, recorded_at: datetime | None = None
) -> list[Event]:
    """Record what happened, in that order, inside the transaction in which it happened.

    Each event also says on which device it was done and by its clock when, in which zone, and which rules were live.

    Args:
        happenings: what happened.
        by: who did it.
        at: moment at which it was done, by whoever did it.
        recorded_at: moment at which it reached these books; None where that is the same.

    Raises:
        Refusal: ``no-reason``: something was overridden, and nobody says why.
    """
    happenings = list(happenings)
    _need_reasons(happenings)
    lock_chain()
    last = Event.objects.order_by("-number").values_list("number", "digest").first()
    number, digest = last or (0, NO_EVENT_BEFORE)
    reached, device, zones = recorded_at or at, acting_device(), depot_zones()
    behind = device.clock_behind
    elsewhere = next(iter(zones.values()), _NO_ZONE)
    at_home = [zones.get(one.depot, elsewhere) for one in happenings]
    days = {zone: reached.astimezone(ZoneInfo(zone)).date() for zone in at_home}
    rule_books = {day: rule_book_on(day) for day in set(days.values())}
    events = []
    for one, zone in zip(happenings, at_home, strict=True):
        number += 1
        event = Event(
            number=number,
            name=one.name,
            subject=one.subject,
            data=json.loads(json.dumps(dict(one.data), cls=DjangoJSONEncoder)),
            by=by,
            at=at,
            recorded_at=reached,
            addressed_to=one.addressed_to,
            depot=one.depot,
            device=device.name,
            device_at=device.clock(reached),
            clock_behind_s=None if behind is None else round(behind.total_seconds()),
            is_offline=device.is_offline,
            zone=zone,
            rule_book=rule_books[days[zone]],
            previous_digest=digest,
        )
        event.digest = digest = event_digest(event)
        events.append(event)
    return Event.objects.bulk_create(events, batch_size=_BATCH)


def _need_reasons(happenings: Iterable[Happening]) -> None:
    for one in happenings:
        if one.name in OVERRIDING_EVENTS and not str(one.data.get(REASON, "")).strip():
            what = OVERRIDING_EVENTS[one.name]
            raise Refusal("no-reason", f"This overrides a rule ({what} {one.subject}): say why.", {"what": what})
