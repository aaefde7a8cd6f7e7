"""Note what a device carries, and tell stores and crews of one that fell silent with work on it."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from inventory.services.actions import use_case
from kitting.models import DeviceLoad
from kitting.roles import CREW_LEAD, STOREKEEPER
from kitting.selectors.clock import local_zone
from kitting.selectors.device_loads import SILENT_AFTER, DeviceStand, open_words, stands_of
from kitting.services.devices import WORKER
from kitting.services.record_events import Happening, record_events


def note_load(
    *, number: str, device: str, bags: Mapping[str, str], counts: Sequence[int], by: str, at: datetime
) -> None:
    """Note what a person has just loaded on a device: the state of each bag by its code, and numbers of count lists."""
    DeviceLoad.objects.update_or_create(
        number=number, by=by,
        defaults={"device": device, "bags": dict(bags), "counts": [*counts], "loaded_at": at, "heard_at": at,
                  "told_at": None},
    )  # fmt: skip


def note_heard(*, number: str, by: str, at: datetime) -> None:
    """Note that a device sent what a person had done with it."""
    DeviceLoad.objects.filter(number=number, by=by).update(heard_at=at, told_at=None)


@use_case
def tell_silent_devices(*, at: datetime) -> list[str]:
    """Tell of each device that was not heard for a day while something is open on it, once; their names.

    Storekeepers and crews of the depot of what is open hear of it.
    """
    due = DeviceLoad.objects.select_for_update().filter(told_at=None, heard_at__lt=at - SILENT_AFTER)
    silent = [one for one in stands_of([*due.order_by("pk")], at) if one.is_silent]
    happenings = [
        Happening("device silent", str(one.load), _told(one, depot), addressed_to=role, depot=depot)
        for one in silent
        for depot in one.depots
        for role in (STOREKEEPER, CREW_LEAD)
    ]
    if happenings:
        record_events(happenings, by=WORKER, at=at)
        DeviceLoad.objects.filter(pk__in=[one.load.pk for one in silent]).update(told_at=at)
    return [str(one.load) for one in silent]


def _told(one: DeviceStand, depot: str) -> dict[str, object]:
    heard = f"{one.load.heard_at.astimezone(local_zone([depot])):%Y-%m-%d %H:%M}"
    return {
        "device": one.load.device, "loaded by": one.load.by, "last heard": heard,
        "bags": [*one.bags.get(depot, ())], "count lists": [*one.counts.get(depot, ())],
        "why": f"not heard since {heard}; open on it: {open_words(one, depot)}",
    }  # fmt: skip
