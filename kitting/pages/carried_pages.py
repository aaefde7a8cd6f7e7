"""Work without a signal: what a device carries, and the scans it kept, sent once it can be heard again."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.http import HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from jobs.models import NAME_LENGTH
from kitting.calculation.bag_states import BEGIN, CHECK, INSTALL, ISSUE, PICK, STAGE, TURN_IN, WRITE_OFF
from kitting.calculation.short_codes import verified
from kitting.errors import Refusal
from kitting.models import KeptScan
from kitting.models.devices import DEVICE_NUMBER_LENGTH
from kitting.pages.asked import Asked, page
from kitting.pages.device_pages import device_of
from kitting.selectors.carried import carried, workable
from kitting.selectors.old_labels import label_number
from kitting.services.device_loads import note_heard, note_load
from kitting.services.replay_scans import Recorded, replay

_MOST_SCANS, _MOST_PIECES, _LONGEST, _LONGEST_NUMBER = 2_000, 10**9, 500, 80
_SHORT = 4  # of a device's number, where nobody has named it
_FIRST_YEAR, _LAST_YEAR = 1970, 2100  # a device whose clock was never set begins in 1970
_UNREADABLE = (KeyError, TypeError, ValueError, AttributeError)


def carried_page(asked: Asked) -> HttpResponse:
    """The page itself: a shell that a script fills from what the device keeps, so that it opens without a signal."""
    return page(asked, "carried.html", {})


def worker(_asked: Asked) -> HttpResponse:
    """The script that hands the device its kept copy of the page where there is no signal."""
    return HttpResponse(render_to_string("kitting/carried_worker.js"), content_type="text/javascript")


def carried_token(asked: Asked) -> HttpResponse:
    """What a device needs before it may send anything: it has no form that holds it."""
    return JsonResponse({"csrf": get_token(asked.request)})


def carried_data(asked: Asked) -> HttpResponse:
    """What the device carries from now on, and a note of it, so that a device which falls silent is missed."""
    try:
        given = json.loads(asked.request.body)
        number, name, also = _device(given), _name(asked, given), [_text(one) for one in given["also"]]
    except (*_UNREADABLE, RecursionError) as problem:
        return JsonResponse({"problem": f"This page is out of date ({problem}): open it again."}, status=400)
    codes = []
    for text in also:
        try:
            codes.append(verified(label_number(text)))
        except Refusal:
            continue  # it was scanned on a device; another device's page may have put anything there
    told = carried(asked.actor, asked.today, codes)
    counts = [one["number"] for one in told["counts"]]
    note_load(number=number, device=name, bags=workable(told), counts=counts, by=asked.actor.name, at=asked.at)
    person = {"name": asked.actor.name, "sign_in": asked.person.sign_in}
    as_of = f"{asked.at.astimezone(asked.zone):%Y-%m-%d %H:%M}"
    return JsonResponse({**told, "person": person, "as_of": as_of})


def _device(given: Mapping[str, Any]) -> str:
    """The number that a device's browser made for it."""
    number = _text(given["number"])
    if not 0 < len(number) <= DEVICE_NUMBER_LENGTH:
        raise ValueError(f"no number of a device: {number!r:.60}")
    return number


def _name(asked: Asked, given: Mapping[str, Any]) -> str:
    """What a device is called: as people say, as an administrator named it, else by the beginning of its number."""
    number = _device(given)
    return _text(given["device"])[:NAME_LENGTH] or device_of(asked.request).name or f"device {number[:_SHORT].upper()}"


def carried_scans(asked: Asked) -> HttpResponse:
    """Book what a device kept; each scan by the person who made it, who must be the one that is signed in.

    A scan that can't be read stops no other: it is kept for a person as it was sent, under the name of who sent it.
    """
    try:
        sent = _Sent.read(asked.request.body)
    except (*_UNREADABLE, RecursionError) as problem:
        told = f"These are no scans of ours ({problem}); the device keeps them."
        return JsonResponse({"problem": told}, status=400)
    shift = asked.at - timezone.now()  # of the books' clock: a demo plays on invented days
    scans = [
        Recorded(
            one.name, one.content, one.action, one.device_at + shift if one.device_at else asked.at, asked.actor,
            one.unread,
        )
        for one in sent.scans
        if one.by in (asked.person.sign_in, "")
    ]  # fmt: skip
    if sent.number:
        note_heard(number=sent.number, by=asked.actor.name, at=asked.at)
    done = replay(device=sent.device, scans=scans, device_now=sent.device_now + shift, at=asked.at)
    why = dict(KeptScan.objects.filter(action__in=done.kept).values_list("action", "why"))
    others = [one.action for one in sent.scans if one.by not in (asked.person.sign_in, "")]
    answer = {"applied": done.applied, "known": done.known, "kept": why, "others": others}
    return JsonResponse({**answer, "without_number": sent.without_number})


@dataclass(frozen=True, slots=True)
class _Scan:
    """A scan as a device sends it; ``unread`` says why it can't be read, and then its content is all that was sent.

    Of one that can't be read only name, moment and sender are taken, '' or None where they are none: to show them.
    """

    name: str
    content: Mapping[str, object]
    action: str
    device_at: datetime | None
    by: str
    unread: str = ""


@dataclass(frozen=True, slots=True)
class _Sent:
    """What a device sends at once; ``number`` is that of the device, '' where its page is an older one."""

    device: str
    number: str
    device_now: datetime
    scans: tuple[_Scan, ...]
    without_number: int

    @classmethod
    def read(cls, body: bytes) -> "_Sent":
        """What was sent.

        Raises:
            KeyError, TypeError, ValueError, AttributeError: it is no JSON, or not of this shape.
        """
        given = json.loads(body)
        scans = given["scans"]
        if not isinstance(scans, list) or len(scans) > _MOST_SCANS:
            raise ValueError(f"more than {_MOST_SCANS} scans at once")
        read = [found for found in map(_scan, scans) if found]
        device, number = _text(given["device"])[:NAME_LENGTH], _text(given.get("number", ""))
        return cls(device, number, _moment(given["device_now"]), tuple(read), len(scans) - len(read))


def _scan(given: object) -> _Scan | None:
    """A scan, read or not; None where it has no number by which the device could be told of it."""
    if not isinstance(given, dict):
        return None
    number = _or_none(_text, given.get("action"))
    if not number or len(number) > _LONGEST_NUMBER:
        return None
    name, at, by = (_or_none(read, given.get(field)) for field, read in _AROUND.items())
    try:
        content = _content(given)
    except _UNREADABLE as problem:
        told = f"It can't be read ({problem}): do by hand what it says, and settle it."
        return _Scan(name or "", {"sent": json.dumps(given)}, number, at, by or "", told)
    return _Scan(name, content, number, at, by)


def _content(given: Mapping[str, object]) -> dict[str, object]:
    """The content of a scan of which all else can be read too.

    Raises:
        TypeError, ValueError: something is missing, too much, or of another kind.
    """
    missing = [field for field in (*_AROUND, "content") if field not in given]
    if missing:
        raise ValueError(f"without {', '.join(missing)}")
    for field, read in _AROUND.items():
        read(given[field])
    if given["name"] not in _CONTENTS:
        raise ValueError(f"no such scan: {given['name']}")
    return _record(given["content"], _CONTENTS[str(given["name"])])


def _or_none(read: "Reader", value: object) -> Any:
    """What a value reads, None where it can't be read."""
    try:
        return read(value)
    except _UNREADABLE:
        return None


def _text(value: object) -> str:
    if not isinstance(value, str) or len(value) > _LONGEST:
        raise TypeError(f"no text: {value!r:.40}")
    if "\0" in value or value != value.encode(errors="replace").decode():
        raise ValueError(f"signs that can't be kept: {value!r:.40}")
    return value


def _moment(value: object) -> datetime:
    found = parse_datetime(_text(value))
    if found is None or found.tzinfo is None or not _FIRST_YEAR <= found.year <= _LAST_YEAR:
        raise ValueError(f"no moment with its zone: {value!r:.40}")
    return found


def _number(value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= _MOST_PIECES:
        raise TypeError(f"no number of pieces: {value!r:.40}")
    return value


def _yes(value: object) -> bool:
    if not isinstance(value, bool):
        raise TypeError(f"neither true nor false: {value!r:.40}")
    return value


def _place(value: object) -> list[str] | None:
    if value is None:
        return None
    if not isinstance(value, list) or len(value) != len(("depot", "code", "kind")):
        raise TypeError(f"no place: {value!r:.40}")
    return [_text(part) for part in value]


def _counted(value: object) -> dict[str, int]:
    if not isinstance(value, dict):
        raise TypeError(f"no count: {value!r:.40}")
    return {_text(code): _number(number) for code, number in value.items()}


def _pieces(value: object) -> list[dict[str, object]]:
    if not isinstance(value, list):
        raise TypeError(f"no pieces: {value!r:.40}")
    return [_record(one, _PIECE) for one in value]


Reader = Callable[[object], Any]
_AROUND: Mapping[str, Reader] = {"name": _text, "device_at": _moment, "by": _text}  # of a scan, beside its number


def _record(given: object, fields: Mapping[str, Reader]) -> dict[str, object]:
    """All fields of a scan and no others: nobody may name another actor, moment or approver."""
    if not isinstance(given, dict) or {*given} != {*fields}:
        raise ValueError(f"not just these fields: {', '.join(fields)}")
    return {name: fields[name](value) for name, value in given.items()}


_PIECE: Mapping[str, Reader] = {
    "line": _text, "stock_code": _text, "lot": _text, "quantity": _number, "phase": _text, "gauge": _text,
    "remark": _text, "position": _text,
}  # fmt: skip
_OF_BAG: Mapping[str, Reader] = {"bag": _text}
_LOT: Mapping[str, Reader] = {**_OF_BAG, "stock_code": _text, "lot": _text, "quantity": _number}
# By the name that replayed scans have.
_CONTENTS: Mapping[str, Mapping[str, Reader]] = {
    PICK: {**_LOT, "place": _place, "as_spare": _yes},
    "finish short": {**_OF_BAG, "cause": _text, "why": _text},
    CHECK: {**_OF_BAG, "counted": _counted},
    STAGE: {**_OF_BAG, "rack": _text},
    ISSUE: {**_OF_BAG, "crew": _text, "truck": _text, "signature": _text},
    BEGIN: _OF_BAG,
    INSTALL: {**_OF_BAG, "pieces": _pieces},
    TURN_IN: {**_LOT, "condition": _text, "door": _text, "place": _place, "why": _text},
    WRITE_OFF: {**_LOT, "deed": _text, "why": _text},
    "count": {"count_list": _number, "line": _number, "counted": _number},
}
