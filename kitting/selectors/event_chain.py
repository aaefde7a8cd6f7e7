"""The chain of events: each carries the digest of the one before, so that a change of the past is seen."""

import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, datetime

from kitting.models import Event

NO_EVENT_BEFORE = "0" * 64
_AT_ONCE = 2_000


@dataclass(frozen=True, slots=True)
class ChainCheck:
    """How far the chain is unbroken, and what is wrong after that ('' where nothing is)."""

    unbroken_to: int
    fault: str = ""


def check_chain() -> ChainCheck:
    """Walk the chain from its first event."""
    number, digest = 0, NO_EVENT_BEFORE
    for event in Event.objects.order_by("number").iterator(chunk_size=_AT_ONCE):
        if event.number != number + 1:
            return ChainCheck(number, f"event {number + 1} is missing")
        if event.previous_digest != digest:
            return ChainCheck(number, f"event {event.number} does not follow the one before it")
        if event_digest(event) != event.digest:
            return ChainCheck(number, f"event {event.number} does not say what it said when it was recorded")
        number, digest = event.number, event.digest
    return ChainCheck(number)


def event_digest(event: Event) -> str:
    """SHA-256 over everything the event says, the digest before it included.

    What events of before devices were kept do not say, their digest does not cover: it is blank there, and an event
    in which any of it is not blank is digested with all of it.
    """
    said = [
        event.number,
        event.name,
        event.subject,
        event.data,
        event.by,
        _moment(event.at),
        _moment(event.recorded_at),
        event.addressed_to,
        event.depot,
        event.previous_digest,
        *_circumstances(event),
    ]
    return hashlib.sha256(json.dumps(said, sort_keys=True, ensure_ascii=False).encode()).hexdigest()


def _circumstances(event: Event) -> list[object]:
    device_at = _moment(event.device_at) if event.device_at else ""
    behind = "" if event.clock_behind_s is None else event.clock_behind_s
    told: list[object] = [event.device, device_at, behind, event.is_offline or "", event.zone, event.rule_book]
    return told if any(one != "" for one in told) else []


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat()
