"""The digest of a day: what was told to each role of each depot, as text to read or as CSV."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import tzinfo
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

from kitting.documents.record_papers import csv_bytes, moment_text, table_frame
from kitting.models import Event
from kitting.selectors.bag_contents import bare
from kitting.selectors.notices import Told
from kitting.services.change_orders import WHO_WAITS

_WORTH_TELLING = ("missing", "cause", "why", "reason", "changes", "label", "short", WHO_WAITS)
_HEADS = ("told to", "depot", "when", "at", "what", "of", "says", "what to do")
_ALL_DEPOTS = "all depots"


def told(data: Mapping[str, Any]) -> str:
    """What an event says beside its name, in few words."""
    found = []
    for name in _WORTH_TELLING:
        text = data.get(name)
        if isinstance(text, int) and text:  # thousandths; in words it would be text
            found.append(f"{name} {bare(text)}")
        elif text:
            text = [f"{one}: {what}" for one, what in text.items()] if isinstance(text, dict) else text
            found.append("; ".join(map(str, text)) if isinstance(text, list) else str(text))
    return "; ".join(found)[:300]


def solved(by: Event | None, zone: tzinfo) -> str:
    """Who has settled it, and when: ``solved by C. Silva at 2026-03-02 09:10 CST: count explained``; '' for nobody."""
    return f"solved by {by.by} at {moment_text(by.at.astimezone(zone))}: {by.name}" if by else ""


def digest_text(events: Iterable[Told]) -> str:
    """The digest to read: a heading for each role and depot, two lines an event; '' where nothing was told."""
    lines = []
    for (role, depot), found in groupby(_rows(events), key=lambda row: row[:2]):
        rows = [*found]
        lines.append(f"{role.upper()}, {depot}: {len(rows)}")
        for _, _, when, at, what, subject, says, do in rows:
            lines += [
                f"  {when.upper():<6}  {at}  {what}: {subject}",
                *(f"          {text}" for text in (says, do) if text),
            ]
        lines.append("")
    return "\n".join(lines)


def digest_csv(events: Iterable[Told]) -> bytes:
    """The same as a table, an event a row."""
    return csv_bytes(table_frame(_HEADS, _rows(events)))


def _rows(events: Iterable[Told]) -> Sequence[tuple[str, ...]]:
    return [_row(one, ZoneInfo(one.event.zone or "UTC")) for one in events]


def _row(one: Told, zone: ZoneInfo) -> tuple[str, ...]:
    event = one.event
    return (
        one.role, event.depot or _ALL_DEPOTS, "now" if one.kind.is_urgent else "digest",
        moment_text(event.at.astimezone(zone)), event.name, event.subject, told(event.data),
        solved(one.settled, zone) or one.kind.do,
    )  # fmt: skip
