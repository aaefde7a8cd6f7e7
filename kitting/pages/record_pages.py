"""The record of all that was done: looked through, each event as a page of its own, and as a file."""

import json
from collections.abc import Iterable
from datetime import datetime
from functools import partial

from django.db.models import QuerySet
from django.http import HttpResponse

from kitting.documents.notice_digest import told
from kitting.documents.record_papers import csv_bytes, table_frame
from kitting.errors import Refusal
from kitting.models import Event
from kitting.pages.asked import Asked, page
from kitting.pages.paper_pages import exported
from kitting.pages.tables import Cell, RowsOf, Table, link
from kitting.roles import SEE
from kitting.selectors.bag_contents import bare
from kitting.selectors.sight import events_seen, has_own_ends_only, part_seen
from kitting.services.devices import MOST_DRIFT

NO_DEVICE = "device without a name"
_QUANTITIES = ("counted", "missing", "quantity")  # kept in thousandths where they are no text
_NOTHING: tuple[object, ...] = ([], {}, "", None)  # is left out of a table in words
_TYPED = ("what", "of", "who")
_HEADS = (
    "no.", "what", "of", "depot", "who", "done at", "recorded at", "device", "clock of the device",
    "clock behind by (s)", "offline", "zone", "live rules", "says", "digest before", "digest",
)  # fmt: skip


def record(asked: Asked) -> HttpResponse:
    """What was done and the person may see, the latest first, as far as it matches what is typed."""
    names = asked.actor.may("names", SEE)
    heads = ("No.", "When", "What", "Of", "Who, on which device")
    rows = RowsOf(_found(asked).order_by("-number"), partial(_rows, asked))
    table = Table("The latest first", heads, rows, "Nothing of this kind is on the record.")
    typed = {name: asked.text(name) for name in _TYPED}
    context = {"table": table, "typed": typed, "names": names, "part": part_seen(asked.actor)}
    return page(asked, "record.html", context)


def _rows(asked: Asked, events: Iterable[Event]) -> list[list[Cell]]:
    return [
        [
            link(one.number, "event", one.number),
            Cell(_moment(one.at, asked), note=_clock(one)),
            Cell(one.name, note=told(one.data)),
            Cell(_of(one, asked)),
            Cell(_who(one, asked), note=_device(one)),
        ]
        for one in events
    ]


def record_file(asked: Asked) -> HttpResponse:
    """The same as a file, the first one first, with the digests that prove it; that it was made is noted."""
    found, names = _found(asked).order_by("number"), asked.actor.may("names", SEE)
    rows = [
        (
            one.number, one.name, _of(one, asked), one.depot, _who(one, asked), _exact(one.at), _exact(one.recorded_at),
            _device(one), _exact(one.device_at), one.clock_behind_s, "yes" if one.is_offline else "no", one.zone,
            one.rule_book, json.dumps(one.data, ensure_ascii=False, sort_keys=True) if names else told(one.data),
            one.previous_digest, one.digest,
        )
        for one in found.iterator()
    ]  # fmt: skip
    asked_for = "; ".join(f"{name}: {asked.text(name)}" for name in _TYPED if asked.text(name)) or "all"
    return exported(asked, "record.csv", "record", asked_for, csv_bytes(table_frame(_HEADS, rows)))


def event(asked: Asked, number: int) -> HttpResponse:
    """All that one event says.

    Raises:
        Refusal: ``no-event``; ``not-allowed``: it is of another depot or of other ends.
    """
    one = Event.objects.filter(number=number).first()
    if one is None:
        raise Refusal("no-event", f"There is no event {number} on the record.", {"number": number})
    if not events_seen(asked.actor).filter(number=number).exists():
        message = f"Event {number} is not of {'an end of yours' if has_own_ends_only(asked.actor) else 'your depot'}."
        raise Refusal("not-allowed", message, {"number": number})
    said = [
        ("What", one.name),
        ("Of", _of(one, asked)),
        ("Depot", one.depot or "–"),
        ("Who", _who(one, asked)),
        ("Done at", _moment(one.at, asked)),
        ("Reached the books at", _moment(one.recorded_at, asked)),
        ("Device", _device(one)),
        ("By the clock of the device", _moment(one.device_at, asked) if one.device_at else "it told no time"),
        ("That clock", _clock(one) or "within five minutes of the server's" if one.device_at else "–"),
        ("Without a signal", "yes" if one.is_offline else "no" if one.zone else "not kept"),
        ("Zone of the day", one.zone or "not kept"),
        ("Rules that were live", one.rule_book or ("none loaded" if one.zone else "not kept")),
        ("Told to", one.addressed_to or "nobody"),
    ]
    told_too = _says(one) if asked.actor.may("names", SEE) else [("Says", told(one.data) or "–")]
    says = [*told_too, ("digest", one.digest)]
    return page(asked, "event.html", {"facts": said, "says": says, "number": number})


def _says(one: Event) -> list[tuple[str, str]]:
    """The facts of an event in words: what is in a list or a table follows its name."""
    return [(key.replace("_", " "), _in_words(value, key)) for key, value in one.data.items()]


def _in_words(value: object, key: str) -> str:
    if isinstance(value, dict):
        named = ((name, each, key if key in _QUANTITIES else name) for name, each in value.items())
        return "; ".join(f"{name}: {_in_words(each, of)}" for name, each, of in named if each not in _NOTHING) or "–"
    if isinstance(value, list):
        return ", ".join(_in_words(each, key) for each in value) or "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int) and key in _QUANTITIES:
        return bare(value)
    return "–" if value is None else str(value)


def _found(asked: Asked) -> QuerySet[Event]:
    names = asked.actor.may("names", SEE)
    fields = {"what": "name__icontains", "of": "subject__icontains", **({"who": "by__icontains"} if names else {})}
    typed = {field: asked.text(name) for name, field in fields.items() if asked.text(name)}
    return events_seen(asked.actor).filter(**typed)


def _who(one: Event, asked: Asked) -> str:
    return one.by if one.by == asked.actor.name or asked.actor.may("names", SEE) else "–"


def _of(one: Event, asked: Asked) -> str:
    """What it was done to; that may be the person who did it."""
    return _who(one, asked) if one.subject == one.by else one.subject


def _device(one: Event) -> str:
    """The device by its name; events of before devices were kept say so."""
    name = one.device or (NO_DEVICE if one.zone else "device not kept")
    return f"{name}, without a signal" if one.is_offline else name


def _clock(one: Event) -> str:
    """What is wrong with the clock of the device; '' where nothing is."""
    behind = one.clock_behind_s or 0
    if abs(behind) <= MOST_DRIFT.total_seconds():
        return ""
    return f"CLOCK {abs(behind) // 60} MIN {'SLOW' if behind > 0 else 'FAST'}"


def _moment(at: datetime, asked: Asked) -> str:
    return f"{at.astimezone(asked.zone):%Y-%m-%d %H:%M}"


def _exact(at: datetime | None) -> str:
    return at.isoformat() if at else ""
