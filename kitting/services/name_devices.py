"""Give a device that people share a name, by which the record knows it."""

from datetime import datetime

from inventory.services.actions import use_case
from jobs.models import NAME_LENGTH
from kitting.errors import Refusal
from kitting.roles import DO, Actor, require
from kitting.services.devices import COMMAND_LINE, WORKER
from kitting.services.record_events import Happening, record_events

_TAKEN = {COMMAND_LINE, WORKER}


@use_case
def name_device(name: str, *, before: str, actor: Actor, at: datetime) -> str:
    """The name of a device, without blanks around it; that it was given is an event.

    Args:
        name: such as ``counter 1 at N``.
        before: its former name, '' for none.
        actor: an administrator.
        at: moment of the change.

    Raises:
        Refusal: ``not-allowed``; ``no-device-name``: blank, too long, or the name of what is no such device.
    """
    require(actor, "people", DO)
    plain = " ".join(name.split())
    if not plain or len(plain) > NAME_LENGTH or plain.casefold() in _TAKEN:
        message = f"Give this device a name of its own, such as counter 1 at N, in up to {NAME_LENGTH} characters."
        raise Refusal("no-device-name", message, {"name": plain})
    record_events([Happening("device named", plain, {"before": before, "after": plain})], by=actor.name, at=at)
    return plain
