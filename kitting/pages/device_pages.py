"""The device in somebody's hand: its name, by which the record knows it, and what its clock says."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from django.db.models import Max
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from kitting.errors import Refusal
from kitting.models import Event
from kitting.pages.asked import A_YEAR, CLOCK, Asked, done, page, refused
from kitting.pages.tables import Cell, Table
from kitting.roles import DO
from kitting.selectors.device_loads import DeviceStand, device_stands, open_words
from kitting.services.devices import Device
from kitting.services.name_devices import name_device

DEVICE_COOKIE = "device"
_FARTHEST = timedelta(days=36_500)  # a clock that is farther off tells no time


def device_of(request: HttpRequest) -> Device:
    """The device that a request comes from: the name that it was given, and its clock where a form tells it."""
    name = request.get_signed_cookie(DEVICE_COOKIE, default="") or ""
    try:
        clock = datetime.fromisoformat(request.POST.get(CLOCK, ""))
        behind = datetime.now(UTC) - clock
    except (ValueError, TypeError, OverflowError):  # nothing, no moment, or one without a zone
        return Device(name)
    return Device(name, behind) if abs(behind) < _FARTHEST else Device(name)


def device(asked: Asked) -> HttpResponse:
    """What this device is called, a form to name it, and when which device last did something."""
    if asked.request.method == "POST":
        return _named(asked)
    latest = Event.objects.exclude(device="").values("device").annotate(last=Max("recorded_at")).order_by("device")
    rows = [[one["device"], _moment(asked, one["last"])] for one in latest]
    table = Table("Devices on the record", ("Device", "Last did something"), rows, "No device has done anything yet.")
    context = {
        "name": device_of(asked.request).name, "tables": [devices_table(asked, device_stands(asked.at)), table],
        "may_name": asked.actor.may("people", DO),
    }  # fmt: skip
    return page(asked, "device.html", context)


def devices_table(asked: Asked, stands: Sequence[DeviceStand]) -> Table:
    """What devices carry to where there is no signal, and when each was heard last."""
    rows = [
        [
            Cell(one.load.device, note="SILENT" if one.is_silent else ""),
            Cell(one.load.by, note=f"loaded {_moment(asked, one.load.loaded_at)}"),
            _moment(asked, one.load.heard_at),
            "; ".join(f"{depot}: {open_words(one, depot)}" for depot in one.depots) or "nothing",
        ]
        for one in stands
    ]
    heads = ("Device", "Loaded by", "Heard last", "Still open on it")
    empty = "No device has carried anything to where there is no signal."
    return Table("Devices that carry work without a signal", heads, rows, empty)


def _moment(asked: Asked, at: datetime) -> str:
    return f"{at.astimezone(asked.zone):%Y-%m-%d %H:%M}"


def _named(asked: Asked) -> HttpResponse:
    here, before = reverse("device"), device_of(asked.request).name
    try:
        name = name_device(asked.text("name"), before=before, actor=asked.actor, at=asked.at)
    except Refusal as refusal:
        return refused(asked, refusal, here)
    answer = done(asked, "NAMED", f"What is done on this device from now on is of {name}.", here)
    answer.set_signed_cookie(DEVICE_COOKIE, name, max_age=A_YEAR, httponly=True, samesite="Strict")
    return answer
